package postgres_test

import (
	"cmp"
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/filter"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
)

// served reads features, the values copied.
func served(t *testing.T, db *postgres.DB, q inventory.FeatureQuery) (list []inventory.Feature) {
	t.Helper()
	q.Client = 1
	err := db.FindFeatures(t.Context(), q, func(f *inventory.Feature) error {
		held := *f
		held.Values = slices.Clone(f.Values)
		for i := range held.Values {
			v := &held.Values[i]
			v.Bytes = slices.Clone(v.Bytes)
			var list [][]byte
			for _, w := range v.List {
				list = append(list, slices.Clone(w))
			}
			v.List = list
		}
		list = append(list, held)
		return nil
	})
	if err != nil {
		t.Fatalf("%v: %v", q, err)
	}
	return list
}

func collection(t *testing.T, id string) *inventory.Collection {
	t.Helper()
	c, err := inventory.GetCollection(id)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// compareValues orders two values of a property as a page is ordered: nulls last.
func compareValues(p *inventory.Property, a, b *inventory.Value, descending bool) int {
	if a.Null || b.Null {
		return cmp.Compare(map[bool]int{true: 1}[a.Null], map[bool]int{true: 1}[b.Null])
	}
	n := 0
	switch p.Type {
	case inventory.Integer, inventory.Boolean:
		n = cmp.Compare(a.Int, b.Int)
	case inventory.Number:
		n = cmp.Compare(rounded(a.Float, p.Decimals), rounded(b.Float, p.Decimals))
	case inventory.Date, inventory.Timestamp:
		n = a.Time.Truncate(time.Millisecond).Compare(b.Time.Truncate(time.Millisecond))
	default:
		n = strings.Compare(string(a.Bytes), string(b.Bytes))
	}
	if descending {
		return -n
	}
	return n
}

func rounded(v float64, decimals int) string { return fmt.Sprintf("%020.*f", decimals, v) }

// By every property and either way, pages follow one another without a gap or a
// repeat, in order, nulls last, and equals in the order of ids.
func TestSortedPages(t *testing.T) {
	db := open(t)
	site := town(t, db, 60)
	if _, err := db.Recompute(t.Context(), site, profile.Default(), day); err != nil {
		t.Fatal(err)
	}
	c := collection(t, "trees")
	all := len(served(t, db, inventory.FeatureQuery{Collection: c}))
	for at := range c.Properties {
		p := &c.Properties[at]
		if p.Type == inventory.Object || p.Type == inventory.TextList {
			continue
		}
		for _, descending := range []bool{false, true} {
			q := inventory.FeatureQuery{Collection: c, Order: []inventory.SortKey{{Property: p.Name, Descending: descending}}, Limit: 7}
			var walked []inventory.Feature
			for {
				page := served(t, db, q)
				walked = append(walked, page...)
				if len(page) < q.Limit {
					break
				}
				q.After = inventory.Some(page[len(page)-1].At)
			}
			if len(walked) != all {
				t.Errorf("by %s: %d features, expected %d", p.Name, len(walked), all)
			}
			for i := 1; i < len(walked); i++ {
				a, b := &walked[i-1], &walked[i]
				if n := compareValues(p, &a.Values[at], &b.Values[at], descending); n > 0 || n == 0 && a.ID >= b.ID {
					t.Fatalf("by %s, descending %v: feature %d (%v) before %d (%v)", p.Name, descending, a.ID, a.Values[at], b.ID, b.Values[at])
				}
			}
		}
	}
}

// A walk through pages meets every feature that stood all the while, once, whatever
// is added, changed and taken away meanwhile.
func TestPagesWhileOthersEdit(t *testing.T) {
	db := open(t)
	site := town(t, db, 120)
	if _, err := db.Recompute(t.Context(), site, profile.Default(), day); err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(5, 6))
	gone := make(map[int64]bool)
	for _, order := range [][]inventory.SortKey{nil, {{Property: "tag"}}, {{Property: "status", Descending: true}, {Property: "crown_radius_m"}}} {
		q := inventory.FeatureQuery{Collection: collection(t, "trees"), Order: order, Limit: 10}
		stood := make(map[int64]int)
		for _, f := range served(t, db, inventory.FeatureQuery{Collection: q.Collection}) {
			stood[f.ID] = 0
		}
		for {
			page := served(t, db, q)
			for _, f := range page {
				if _, ok := stood[f.ID]; ok {
					stood[f.ID]++
				}
			}
			if len(page) < q.Limit {
				break
			}
			q.After = inventory.Some(page[len(page)-1].At)
			victim := int64(1 + r.IntN(120))
			for _, sql := range []string{
				fmt.Sprintf(`DELETE FROM trees WHERE tree_id = %d`, victim),
				`INSERT INTO trees (client_id, site_id, tag, crown_radius_m, geometry) VALUES (1, 1, '5', 3, ST_SetSRID(ST_MakePoint(8.505, 47.303), 4326))`,
				`UPDATE trees SET height_m = 10 + random() WHERE tree_id % 3 = 0`,
			} {
				if _, err := db.Pool().Exec(t.Context(), sql); err != nil {
					t.Fatal(err)
				}
			}
			gone[victim] = true
		}
		for id, n := range stood {
			if n != 1 && !gone[id] || n > 1 {
				t.Errorf("order %v: tree %d came %d times", order, id, n)
			}
		}
	}
}

// What is served of a tree is what the assessment of it says, and a filter for
// just that finds it.
func TestDerivedPropertiesAreServedAndFound(t *testing.T) {
	ctx, p := t.Context(), profile.Default()
	db := open(t)
	site := town(t, db, 80)
	if _, err := db.Recompute(ctx, site, p, day); err != nil {
		t.Fatal(err)
	}
	rows, _, err := db.Rank(ctx, ranking.Query{Client: 1, Site: site.ID, By: ranking.ByHarm})
	if err != nil {
		t.Fatal(err)
	}
	c := collection(t, "trees")
	at := func(name string) int {
		return slices.IndexFunc(c.Properties, func(p inventory.Property) bool { return p.Name == name })
	}
	trees := make(map[int64]inventory.Feature)
	for _, f := range served(t, db, inventory.FeatureQuery{Collection: c}) {
		trees[f.ID] = f
	}
	for _, row := range rows {
		f := trees[int64(row.Tree)]
		above := int64(1)
		for _, other := range rows {
			if other.Harm > row.Harm {
				above++
			}
		}
		length, area := 0.0, 0.0
		var over []string
		for _, u := range row.Over {
			length, area, over = length+u.LengthM, area+u.AreaM2, append(over, string(u.Kind))
		}
		var words []string
		for _, w := range f.Values[at("over")].List {
			words = append(words, string(w))
		}
		want := fmt.Sprintln(above, row.Likelihood, row.Rule, row.Score.Rating, row.HeightFrom, over, fmt.Sprintf("%.2f %.2f %.6f", length, area, row.Harm*1000))
		got := fmt.Sprintln(f.Values[at("rank")].Int, string(f.Values[at("likelihood")].Bytes), string(f.Values[at("rule")].Bytes), string(f.Values[at("rating")].Bytes),
			string(f.Values[at("height_from")].Bytes), words, fmt.Sprintf("%.2f %.2f %.6f", f.Values[at("over_length_m")].Float, f.Values[at("over_area_m2")].Float, f.Values[at("harm_index")].Float))
		if got != want {
			t.Errorf("tree %d is served as %s, assessed as %s", row.Tree, got, want)
		}
	}
	// Every property's served value, as a filter, finds the feature again.
	one := trees[int64(rows[0].Tree)]
	for i := range c.Properties {
		p, v := &c.Properties[i], &one.Values[i]
		if v.Null || p.Type == inventory.Object {
			continue
		}
		var e filter.Expr
		switch p.Type {
		case inventory.Integer:
			e = &filter.Number{Value: float64(v.Int)}
		case inventory.Boolean:
			e = &filter.Bool{Value: v.Int != 0}
		case inventory.Number:
			e = &filter.Number{Value: parsed(t, v.Float, p.Decimals)}
		case inventory.Date:
			e = &filter.Date{Value: v.Time}
		case inventory.Timestamp:
			e = &filter.Timestamp{Value: v.Time.Truncate(1e6)}
		case inventory.Text:
			e = &filter.String{Value: string(v.Bytes)}
		}
		where := filter.In(p.Name, e)
		if p.Type == inventory.TextList {
			var words []string
			for _, w := range v.List {
				words = append(words, string(w))
			}
			if len(words) == 0 {
				continue
			}
			where = filter.Overlaps(p.Name, words...)
		}
		q := inventory.FeatureQuery{Collection: c, Filter: where}
		if list := served(t, db, q); !slices.ContainsFunc(list, func(f inventory.Feature) bool { return f.ID == one.ID }) {
			t.Errorf("%s: the filter %s does not find the tree", p.Name, filter.Text(where))
		}
		if n, err := db.CountFeatures(context.WithoutCancel(ctx), inventory.FeatureQuery{Client: 1, Collection: c, Filter: where}, 0); err != nil || n == 0 {
			t.Errorf("%s: counted %d, %v", p.Name, n, err)
		}
	}
}

func parsed(t *testing.T, v float64, decimals int) (out float64) {
	t.Helper()
	if _, err := fmt.Sscan(fmt.Sprintf("%.*f", decimals, v), &out); err != nil {
		t.Fatal(err)
	}
	return out
}

// The crown and the zone of a tree in filters are those that the engine works
// with: laid out by it, and measured by PostGIS on the spheroid.
func TestShapesInFilters(t *testing.T) {
	ctx, p := t.Context(), profile.Default()
	db := open(t)
	site := town(t, db, 40)
	for _, sql := range []string{
		`UPDATE trees SET lean_deg = 30, lean_bearing_deg = 70 WHERE tree_id = 3`,
		`UPDATE trees SET brittle = true, height_m = 20 WHERE tree_id = 4`,
		`UPDATE trees SET crown = ST_MakeEnvelope(ST_X(geometry) - 0.0001, ST_Y(geometry) - 0.0001, ST_X(geometry) + 0.0002, ST_Y(geometry) + 0.0001, 4326) WHERE tree_id = 5`,
	} {
		if _, err := db.Pool().Exec(ctx, sql); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := db.Recompute(ctx, site, p, day); err != nil {
		t.Fatal(err)
	}
	facts, err := db.FindFacts(ctx, ranking.FactsQuery{Client: 1, Limit: 1000})
	if err != nil {
		t.Fatal(err)
	}
	sizer := ranking.NewSizer(p, day)
	for i := range facts {
		f := &facts[i]
		_, zones := sizer.Zones(nil, f)
		for shape, zone := range map[string]exposure.TreeZone{"zone": zones[exposure.WholeTree], "crown": zones[exposure.ZoneIndexCrown]} {
			area := zone.Zone.Area()
			var got float64
			sql := map[string]string{
				"zone":  `SELECT ST_Area(ground(t.geometry, e.ground_m, e.ground_bearing_deg, e.ground_width_deg)::geography)`,
				"crown": `SELECT ST_Area(coalesce(t.crown, ground(t.geometry, e.crown_radius_m, 0, 360))::geography)`,
			}[shape] + ` FROM trees t JOIN exposures e USING (client_id, tree_id) WHERE t.tree_id = $1`
			if err := db.Pool().QueryRow(ctx, sql, f.Tree.ID).Scan(&got); err != nil {
				t.Fatal(err)
			}
			// 64 corners to the circle have 0.16 % less than its area.
			if got < area*0.997 || got > area*1.0005 {
				t.Errorf("tree %d, %s: %.3f m2 by PostGIS, %.3f by the engine", f.Tree.ID, shape, got, area)
			}
		}
		// A point just inside the zone's rim, by the geodesic, is in it, one beyond
		// is not.
		reach := zones[exposure.WholeTree].Zone.Radius
		bearing := 0.0
		if f.Tree.ID == 3 {
			bearing = 70
		}
		for _, c := range []struct {
			share float64
			want  bool
		}{{0.99, true}, {1.01, false}} {
			var x, y float64
			if err := db.Pool().QueryRow(ctx, `SELECT ST_X(p::geometry), ST_Y(p::geometry) FROM (SELECT ST_Project(ST_SetSRID(ST_MakePoint($1, $2), 4326)::geography, $3, radians($4::float8)) p) q`,
				f.Tree.Point[0], f.Tree.Point[1], reach*c.share, bearing).Scan(&x, &y); err != nil {
				t.Fatal(err)
			}
			e, err := filter.ParseText(fmt.Sprintf("S_INTERSECTS(zone, POINT(%.12f %.12f))", x, y))
			if err != nil {
				t.Fatal(err)
			}
			list := served(t, db, inventory.FeatureQuery{Collection: collection(t, "trees"), Filter: e})
			if slices.ContainsFunc(list, func(g inventory.Feature) bool { return g.ID == int64(f.Tree.ID) }) != c.want {
				t.Errorf("tree %d: a point at %.2f of its reach of %.2f m, found %v", f.Tree.ID, c.share, reach, !c.want)
			}
		}
	}
}

// After each edit the ranks that are served are those that PostgreSQL counts, by a
// list that is mended rather than read again.
func TestRanksFollowEdits(t *testing.T) {
	ctx, p := t.Context(), profile.Default()
	db := open(t)
	site := town(t, db, 60)
	if _, err := db.Recompute(ctx, site, p, day); err != nil {
		t.Fatal(err)
	}
	c := collection(t, "trees")
	rank := slices.IndexFunc(c.Properties, func(p inventory.Property) bool { return p.Name == "rank" })
	check := func(after string) {
		t.Helper()
		want := make(map[int64]int64)
		rows, err := db.Pool().Query(ctx, `SELECT e.tree_id, rank() OVER (ORDER BY e.harm DESC) FROM exposures e JOIN sites s USING (client_id, generation)`)
		if err != nil {
			t.Fatal(err)
		}
		var id, place int64
		if _, err := pgx.ForEachRow(rows, []any{&id, &place}, func() error { want[id] = place; return nil }); err != nil {
			t.Fatal(err)
		}
		for _, f := range served(t, db, inventory.FeatureQuery{Collection: c}) {
			if got := f.Values[rank]; got.Null == (want[f.ID] != 0) || got.Int != want[f.ID] && !got.Null {
				t.Errorf("after %s tree %d has rank %d, want %d", after, f.ID, got.Int, want[f.ID])
			}
		}
	}
	check("the run")
	for _, sql := range []string{
		`UPDATE trees SET height_m = 30, crown_radius_m = 11 WHERE tree_id = 5`,
		`DELETE FROM trees WHERE tree_id = 7`,
		`UPDATE targets SET people_per_hour = 900 WHERE kind = 'walkway'`,
		`INSERT INTO trees (client_id, site_id, tag, height_m, geometry) SELECT 1, 1, 'new', 15, geometry FROM trees WHERE tree_id = 9`,
		`UPDATE trees SET status = 'stump' WHERE tree_id = 3`,
		`DELETE FROM targets WHERE target_id = 1`,
	} {
		_, done, err := db.Edit(ctx, site, p, day, func(ctx context.Context, tx pgx.Tx) error {
			_, err := tx.Exec(ctx, sql)
			return err
		})
		if err != nil || !done {
			t.Fatal(done, err)
		}
		if read := db.HarmsRead(); read != 1 {
			t.Errorf("after %s the harms were read for the %d. time", sql, read)
		}
		check(sql)
	}
}
