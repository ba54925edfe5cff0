package api_test

import (
	"context"
	"encoding/csv"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// answer is a listing in JSON.
type answer struct {
	Rows           []map[string]any
	Links          []link
	Cautions       string
	Changes        []string
	NumberMatched  *int
	NumberReturned int
	Total          map[string]any
}

func (s *service) answer(t testing.TB, path string) answer {
	t.Helper()
	r := s.get(t, path)
	if r.status != 200 || r.header.Get("Content-Type") != "application/json" {
		t.Fatal(path, r.status, string(r.body))
	}
	a := parse[answer](t, r.body)
	if !strings.Contains(a.Cautions, "arborist") {
		t.Errorf("%s: no cautions in %.300s", path, r.body)
	}
	return a
}

// table asks for a listing as CSV and sets it beside the rows of JSON or the
// properties of GeoJSON.
func (s *service) table(t *testing.T, path string, rows []map[string]any) {
	t.Helper()
	joint := "?"
	if strings.Contains(path, "?") {
		joint = "&"
	}
	r := s.get(t, path+joint+"f=csv")
	cells, err := csv.NewReader(strings.NewReader(string(r.body))).ReadAll()
	if err != nil || len(cells) != len(rows)+1 || !strings.HasPrefix(r.header.Get("Content-Type"), "text/csv") || !strings.Contains(r.header.Get("Link"), `rel="alternate"`) {
		t.Fatal(path, err, len(cells), len(rows), r.status, r.header)
	}
	for i, row := range rows {
		if last := len(cells[0]) - 1; cells[0][last] != "caution" || cells[i+1][last] != question.Caution {
			t.Fatalf("%s: row %d ends in %s: %q", path, i, cells[0][last], cells[i+1][last])
		}
		for k, name := range cells[0][:len(cells[0])-1] {
			v, ok := row[name]
			if !ok && name != "longitude" && name != "latitude" {
				t.Fatalf("%s: there is no %s in %v", path, name, row)
			}
			want := fmt.Sprint(v)
			if f, ok := v.(float64); ok {
				var got float64
				if _, err := fmt.Sscan(cells[i+1][k], &got); err != nil || got != f {
					t.Fatalf("%s: row %d: %s is %q, want %v", path, i, name, cells[i+1][k], f)
				}
				continue
			}
			if ok && v == nil {
				want = ""
			}
			if list, ok := v.([]any); ok {
				want = strings.Trim(fmt.Sprint(list), "[]")
			}
			if ok && cells[i+1][k] != want {
				t.Fatalf("%s: row %d: %s is %q, want %q", path, i, name, cells[i+1][k], want)
			}
		}
	}
}

func properties(features []feature) []map[string]any {
	out := make([]map[string]any, len(features))
	for i, f := range features {
		out[i] = f.Properties
	}
	return out
}

func sum(rows []map[string]any, name string) float64 {
	total := 0.0
	for _, row := range rows {
		total += row[name].(float64)
	}
	return total
}

func closeTo(a, b, share float64) bool {
	return math.Abs(a-b) <= share*math.Max(math.Abs(a), math.Abs(b))
}

// problem wants an error that names a parameter.
func (s *service) problem(t *testing.T, path string, status int, parameter string) {
	t.Helper()
	r := s.get(t, path)
	p := parse[map[string]any](t, r.body)
	if r.status != status || p["status"] != float64(status) || fmt.Sprint(p["parameter"]) != parameter || r.header.Get("Content-Type") != "application/problem+json" || r.header.Get("ETag") != "" {
		t.Errorf("%s: %d %s, want %d for %s", path, r.status, r.body, status, parameter)
	}
}

func TestRankingForms(t *testing.T) {
	s := serve(t, nil)
	c := s.features(t, "/ranking?cut=topping&limit=30")
	s.table(t, "/ranking?cut=topping&limit=30", properties(c.Features))
	if r := s.get(t, "/ranking?limit=1"); !strings.Contains(string(r.body), "arborist") {
		t.Error("no cautions")
	}
	s.exec(t, `UPDATE trees SET tag = '=1+1' WHERE tag = 'T66'`)
	if r := s.get(t, "/ranking?f=csv&limit=1000"); !strings.Contains(string(r.body), ",'=1+1,") {
		t.Error("a tag that a spreadsheet would work out is not quoted")
	}
}

func TestDraws(t *testing.T) {
	s := serve(t, nil)
	rows := properties(s.features(t, "/ranking?limit=1000&draws=200&top=25").Features)
	// Each draw has as many trees among the first 25 as there are places.
	if got := sum(rows, "top_share"); math.Abs(got-25) > 0.0005*float64(len(rows)) {
		t.Errorf("the shares add up to %v, want 25", got)
	}
	for _, row := range rows {
		low, high := row["rank_low"].(float64), row["rank_high"].(float64)
		if low < 1 || high > float64(len(rows)) || low > high {
			t.Fatalf("%v: %v to %v of %d", row["tag"], low, high, len(rows))
		}
	}
	same := properties(s.features(t, "/ranking?limit=1000&draws=200&top=25&seed=1").Features)
	other := properties(s.features(t, "/ranking?limit=1000&draws=200&top=25&seed=18446744073709551615").Features)
	if fmt.Sprint(rows) != fmt.Sprint(same) || fmt.Sprint(rows) == fmt.Sprint(other) {
		t.Error("the seed does not settle the draws")
	}
	if row := s.features(t, "/ranking?limit=1").Features[0].Properties; row["rank_low"] != nil {
		t.Error("intervals that nobody asked for", row)
	}
	for _, c := range []struct{ query, parameter string }{
		{"draws=0", "draws"}, {"draws=2001", "draws"}, {"draws=many", "draws"}, {"seed=1", "seed"}, {"top=5", "top"}, {"draws=10&seed=-1", "seed"}, {"draws=10&top=0", "top"}, {"season=monsoon", "season"},
		{"since=0", "since"}, {"f=svg", "f"},
	} {
		s.problem(t, "/ranking?"+c.query, 400, c.parameter)
	}
}

func TestSeason(t *testing.T) {
	s := serve(t, nil)
	year := s.features(t, "/ranking?limit=1000")
	states := s.features(t, "/collections/trees/items?limit=300").Features
	for _, season := range []profile.Season{profile.LeafOn, profile.LeafOff} {
		got := s.features(t, "/ranking?draws=20&limit=1000&season="+string(season))
		// The same as a service that has the season for its own.
		own := serve(t, func(c *api.Config) { c.Profile = c.Profile.In(season) })
		want := own.features(t, "/ranking?draws=20&limit=1000")
		if fmt.Sprint(properties(got.Features)) != fmt.Sprint(properties(want.Features)) || len(got.Features) < 200 {
			for i := range min(len(got.Features), len(want.Features)) {
				for k, v := range got.Features[i].Properties {
					if fmt.Sprint(v) != fmt.Sprint(want.Features[i].Properties[k]) {
						t.Fatalf("%s: place %d: %s is %v, want %v", season, i+1, k, v, want.Features[i].Properties[k])
					}
				}
			}
		}
		if fmt.Sprint(properties(got.Features)) == fmt.Sprint(properties(year.Features)) {
			t.Errorf("%s is no other than the year", season)
		}
	}
	if fmt.Sprint(properties(s.features(t, "/ranking?limit=1000&season=year").Features)) != fmt.Sprint(properties(year.Features)) {
		t.Error("the year is another one than the default")
	}
	if fmt.Sprint(properties(s.features(t, "/collections/trees/items?limit=300").Features)) != fmt.Sprint(properties(states)) {
		t.Error("a season that was asked for is in force")
	}
}

// vast says that a site has more trees than it has.
type vast struct {
	api.Store
	trees int64
}

func (v vast) GetRun(ctx context.Context, site inventory.Site) (inventory.Run, bool, error) {
	run, fresh, err := v.Store.GetRun(ctx, site)
	run.Trees = v.trees
	return run, fresh, err
}

func (v vast) GetRanking(ctx context.Context, client inventory.ClientID, id int64) (ranking.Record, []byte, []ranking.RankedRow, error) {
	r, body, rows, err := v.Store.GetRanking(ctx, client, id)
	r.Trees = v.trees
	return r, body, rows, err
}

func TestTooLarge(t *testing.T) {
	own := serve(t, nil)
	own.run(t)
	for _, c := range []struct {
		trees           int64
		path, parameter string
	}{
		{300_001, "/ranking?draws=10", "draws"}, {300_001, "/ranking?season=leaf-on", "season"}, {200_000, "/ranking?draws=1001", "draws"},
		{2_000_001, "/places", "site"}, {2_000_001, "/what-if?change=tree+T30+removed", "site"},
		{300_001, "/ranking", ""}, {300_000, "/ranking?season=leaf-on", ""}, {200_000, "/ranking?draws=1000", ""}, {2_000_000, "/places", ""}, {50_000_000, "/ranking", ""},
	} {
		s := serveOn(t, own, func(config *api.Config) { config.Store = vast{config.Store, c.trees} })
		if c.parameter != "" {
			s.problem(t, c.path, 422, c.parameter)
			if r := s.get(t, c.path); !strings.Contains(string(r.body), "command underbough") {
				t.Errorf("%s does not say where to ask: %s", c.path, r.body)
			}
		} else if r := s.get(t, c.path); r.status != 200 {
			t.Error(c.trees, c.path, r.status, string(r.body))
		}
	}
}

// busy says when it begins to go through a site, and does so until it is let go.
type busy struct {
	api.Store
	begun, on chan struct{}
}

func (b busy) Sweep(ctx context.Context, _ ranking.Sweep, _ func(ranking.Lot) (any, error), _ func(any) error) (int64, int64, error) {
	b.begun <- struct{}{}
	select {
	case <-b.on:
		return 0, 0, nil
	case <-ctx.Done():
		return 0, 0, ctx.Err()
	}
}

func TestSweepsTakeTurns(t *testing.T) {
	own := serve(t, nil)
	own.run(t)
	b := busy{begun: make(chan struct{}), on: make(chan struct{})}
	s := serveOn(t, own, func(c *api.Config) {
		b.Store = c.Store
		c.Store = b
	})
	ask := func(path string) chan int {
		status := make(chan int, 1)
		go func() {
			r, err := http.Get(s.web.URL + path)
			if err != nil {
				status <- 0
				return
			}
			r.Body.Close()
			status <- r.StatusCode
		}()
		return status
	}
	first := ask("/places")
	<-b.begun
	second := ask("/ranking?draws=10")
	if r := s.get(t, "/ranking?limit=1"); r.status != 200 {
		t.Error("what is in force waits too:", r.status)
	}
	select {
	case <-b.begun:
		t.Error("two at a time")
	case <-time.After(300 * time.Millisecond):
	}
	b.on <- struct{}{}
	if status := <-first; status != 200 {
		t.Error(status)
	}
	<-b.begun
	b.on <- struct{}{}
	if status := <-second; status != 200 {
		t.Error(status)
	}
	t.Run("who waits too long is told so", func(t *testing.T) {
		s := serveOn(t, own, func(c *api.Config) {
			b.Store = c.Store
			c.Store, c.RequestTimeout = b, 500*time.Millisecond
		})
		go func() { <-b.begun }()
		if r := s.get(t, "/places"); r.status != 503 || r.header.Get("Retry-After") == "" {
			t.Error(r.status, string(r.body))
		}
	})
}

// TestWhatIf supposes a change, then makes it and ranks again.
func TestWhatIf(t *testing.T) {
	for _, c := range []struct {
		changes []string
		sql     string
		least   int
	}{
		{[]string{"tree T30 removed"}, `UPDATE trees SET status = 'removed' WHERE tag = 'T30'`, 1},
		{[]string{"target 2 people_per_hour=400"}, `UPDATE targets SET people_per_hour = 400 WHERE target_id = 2`, 20},
		{[]string{"target 2 gone", "tree T66 removed"}, `DELETE FROM targets WHERE target_id = 2; UPDATE trees SET status = 'removed' WHERE tag = 'T66'`, 20},
		{[]string{"target 1 stalls=4 share_occupied=0.9"}, `UPDATE targets SET stalls = 4, share_occupied = 0.9 WHERE target_id = 1`, 10},
	} {
		t.Run(strings.Join(c.changes, ", "), func(t *testing.T) {
			s := serve(t, nil)
			path := "/what-if?" + url.Values{"change": c.changes}.Encode()
			ranked := func() map[string]map[string]any {
				by := map[string]map[string]any{}
				for _, row := range properties(s.features(t, "/ranking?limit=1000").Features) {
					by[fmt.Sprint(row["tag"])] = row
				}
				return by
			}
			before := ranked()
			a := s.answer(t, path)
			if len(a.Rows) < c.least || !slices.Equal(a.Changes, c.changes) || *a.NumberMatched != len(a.Rows) {
				t.Fatalf("%d moves, %v", len(a.Rows), a.Changes)
			}
			s.table(t, path, a.Rows)
			if fmt.Sprint(ranked()) != fmt.Sprint(before) {
				t.Fatal("something was changed")
			}
			if f := s.features(t, path+"&f=geojson").Features; len(f) != len(a.Rows) || f[0].Geometry.Type != "Point" || fmt.Sprint(f[0].ID) != fmt.Sprint(a.Rows[0]["tree_id"]) {
				t.Error(len(f))
			}
			s.exec(t, c.sql)
			after := ranked()
			listed := map[string]bool{}
			for _, m := range a.Rows {
				tag := m["tag"].(string)
				listed[tag] = true
				was, is := before[tag], after[tag]
				if m["rank_before"] != was["rank"] || !closeTo(m["harm_index_before"].(float64), was["harm_index"].(float64), 1e-4) || m["rating_before"] != was["rating"] {
					t.Errorf("%v was %v", m, was)
				}
				if is == nil {
					if m["removed"] != true || m["rank_after"] != nil || m["harm_index_after"] != nil {
						t.Error(m)
					}
					continue
				}
				if m["rank_after"] != is["rank"] || !closeTo(m["harm_index_after"].(float64), is["harm_index"].(float64), 1e-4) || !closeTo(m["people_after"].(float64), is["people"].(float64), 1e-4) {
					t.Errorf("supposed %v, came out as rank %v, harm %v, people %v", m, is["rank"], is["harm_index"], is["people"])
				}
			}
			for tag, was := range before {
				if is := after[tag]; !listed[tag] && (is == nil || is["harm_index"] != was["harm_index"] || is["people"] != was["people"]) {
					t.Errorf("%s differs and is not listed", tag)
				}
			}
		})
	}
	s := serve(t, nil)
	for _, c := range []struct {
		query     string
		status    int
		parameter string
	}{
		{"", 400, "change"}, {"change=", 400, "change"}, {"change=fell+T30", 400, "change"}, {"change=tree+T30+removed&change=x", 400, "change"},
		{"change=tree+nobody+removed", 404, "change"}, {"change=target+999+gone", 404, "change"}, {"change=tree+T30+removed&by=luck", 400, "by"},
		{"change=tree+T30+removed&draws=5", 400, "draws"}, {strings.Repeat("change=tree+T30+removed&", 21), 400, "change"},
	} {
		s.problem(t, "/what-if?"+c.query, c.status, c.parameter)
	}
}

func TestPlaces(t *testing.T) {
	s := serve(t, nil)
	s.exec(t, `INSERT INTO targets (client_id, site_id, target_id, name, kind, people_present, geometry) VALUES
		(1, 1, 980, 'Far square', 'plaza', 12, ST_GeomFromText('POLYGON((25.5 54.7,25.501 54.7,25.501 54.7005,25.5 54.7005,25.5 54.7))', 4326)),
		(1, 1, 981, 'Far seat', 'seating', 3, ST_SetSRID(ST_MakePoint(25.6, 54.7), 4326))`)
	a := s.answer(t, "/places")
	s.table(t, "/places", a.Rows)
	if len(a.Rows) != 8 || *a.NumberMatched != 8 {
		t.Fatal(len(a.Rows))
	}
	t.Run("the harm at all places is that of all trees", func(t *testing.T) {
		trees := properties(s.features(t, "/ranking?limit=1000").Features)
		if got, want := sum(a.Rows, "harm_index"), sum(trees, "harm_index"); !closeTo(got, want, 1e-4) || want == 0 {
			t.Errorf("%v at places, %v by trees", got, want)
		}
	})
	t.Run("trees over and in reach are those of the overlaps", func(t *testing.T) {
		for _, row := range a.Rows {
			count := func(query string) int {
				seen := map[any]bool{}
				for _, f := range s.features(t, fmt.Sprintf("/collections/overlaps/items?limit=10000&target_id=%v%s", row["target_id"], query)).Features {
					seen[f.Properties["tree_id"]] = true
				}
				return len(seen)
			}
			if over, reach := count("&part=crown,limb"), count(""); row["trees_over"] != float64(over) || row["trees_in_reach"] != float64(reach) || row["covered"] != (reach > 0) {
				t.Errorf("%v: overlaps say %d over, %d in reach", row, over, reach)
			}
			ids, harm := row["tree_ids"].([]any), row["tree_harm_index"].([]any)
			if len(ids) != len(harm) || len(ids) > 5 || !slices.IsSortedFunc(harm, func(a, b any) int { return int(math.Copysign(1, b.(float64)-a.(float64))) }) && len(harm) > 1 && harm[0] != harm[1] {
				t.Errorf("%v: %v", ids, harm)
			}
		}
	})
	t.Run("busy places without inventory", func(t *testing.T) {
		u := s.answer(t, "/places?uncovered=true").Rows
		if len(u) != 2 || u[0]["name"] != "Far square" || !closeTo(u[0]["people"].(float64), 12, 1e-4) || u[1]["name"] != "Far seat" || !closeTo(u[1]["people"].(float64), 3, 1e-4) {
			t.Error(u)
		}
		if c := s.answer(t, "/places?uncovered=false").Rows; len(c) != 6 {
			t.Error(len(c))
		}
	})
	t.Run("by kind, and as points", func(t *testing.T) {
		f := s.features(t, "/places?kind=seating,plaza&limit=2&f=geojson")
		if len(f.Features) != 2 || *f.NumberMatched != 3 || f.Features[0].Geometry.Type != "Point" {
			t.Error(len(f.Features), *f.NumberMatched)
		}
	})
	for query, parameter := range map[string]string{"kind=lava": "kind", "uncovered=yes": "uncovered", "limit=0": "limit", "site=Nowhere": "site", "over=parking": "over", "f=html": "f"} {
		s.problem(t, "/places?"+query, 400, parameter)
	}
}

func TestGrid(t *testing.T) {
	s := serve(t, nil)
	trees := s.features(t, "/ranking?limit=1000").Features
	for _, c := range []struct {
		query string
		area  float64
	}{
		{"cells=square&size=20", 400},
		{"cells=hexagon&size=20", 20 * 20 * math.Sqrt(3) / 2},
		{"cells=hexagon", 100 * 100 * math.Sqrt(3) / 2},
	} {
		t.Run(c.query, func(t *testing.T) {
			r := s.get(t, "/grid?"+c.query)
			got := parse[collection](t, r.body)
			total := parse[answer](t, r.body).Total
			rows := properties(got.Features)
			s.table(t, "/grid?"+c.query, rows)
			for _, name := range []string{"harm_index", "people", "vehicles"} {
				want := sum(properties(trees), name)
				if !closeTo(sum(rows, name), want, 1e-4) || !closeTo(total[name].(float64), want, 1e-4) || want == 0 {
					t.Errorf("%s: %v in cells, %v in all, %v by trees", name, sum(rows, name), total[name], want)
				}
			}
			if total["trees"] != float64(len(trees)) || sum(rows, "trees") != float64(len(trees)) {
				t.Errorf("%v trees, want %d", total["trees"], len(trees))
			}
			for _, f := range got.Features {
				if area := planeArea(t, f.Geometry); !closeTo(area, c.area, 2e-3) {
					t.Errorf("a cell of %v m², want %v", area, c.area)
				}
				inside := 0
				ring := parse[[][][2]float64](t, f.Geometry.Coordinates)[0]
				for _, tree := range trees {
					if contains(ring, parse[[2]float64](t, tree.Geometry.Coordinates)) {
						inside++
					}
				}
				if f.Properties["trees"] != float64(inside) {
					t.Errorf("cell %v,%v says %v trees, %d stand in it", f.Properties["column"], f.Properties["row"], f.Properties["trees"], inside)
				}
			}
		})
	}
	all, first := s.features(t, "/grid?size=20"), s.features(t, "/grid?size=20&limit=5")
	if len(all.Features) <= 5 || len(first.Features) != 5 || !reflect.DeepEqual(first.Features, all.Features[:5]) {
		t.Errorf("%d cells of %d with limit=5", len(first.Features), len(all.Features))
	}
	for query, parameter := range map[string]string{"cells=round": "cells", "size=4": "size", "size=NaN": "size", "size=1e9": "size", "limit=0": "limit", "f=html": "f"} {
		s.problem(t, "/grid?"+query, 400, parameter)
	}
}

// contains counts the crossings of a ray to the east.
func contains(ring [][2]float64, p [2]float64) bool {
	in := false
	for i := 1; i < len(ring); i++ {
		a, b := ring[i-1], ring[i]
		if (a[1] > p[1]) != (b[1] > p[1]) && p[0] < a[0]+(p[1]-a[1])/(b[1]-a[1])*(b[0]-a[0]) {
			in = !in
		}
	}
	return in
}
