package api_test

import (
	"fmt"
	"math"
	"net/url"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// weeks is an answer of /hours/trees or /hours/places.
type weeks struct {
	Note, Cautions string
	AsOf           string `json:"as_of"`
	More           bool
	Weeks          []struct {
		Name    *string
		Counted *int64 `json:"counted_at"`
		Factors []float64
	}
	Trees, Places []sharedWeek
}

type sharedWeek struct {
	Tree    int64 `json:"tree_id"`
	Target  int64 `json:"target_id"`
	Tag     string
	Part    string
	People  float64
	Weeks   []int
	Persons []float64
}

func (s *service) weeks(t *testing.T, path string) weeks {
	t.Helper()
	return parse[weeks](t, s.got(t, path))
}

// at is how many persons there are in an hour of the week.
func (w *weeks) at(v *sharedWeek, hour int) (sum float64) {
	for i, k := range v.Weeks {
		sum += v.Persons[i] * w.Weeks[k].Factors[hour]
	}
	return sum
}

// The weeks of many trees are those that each has when it is asked for by itself,
// and people what it is ranked with.
func TestTreeWeeks(t *testing.T) {
	s := serve(t, func(c *api.Config) { c.Now = time.Now })
	s.withStreet(t)
	// T5's limb hangs over what is counted, too.
	s.exec(t, `UPDATE targets SET geometry = ST_GeomFromText('POLYGON((25.2824 54.6803,25.2826 54.6803,25.2826 54.6805,25.2824 54.6805,25.2824 54.6803))', 4326) WHERE name = 'Mixed'`)
	w := s.weeks(t, "/hours/trees")
	standing := s.features(t, "/collections/trees/items?limit=1000&filter="+url.QueryEscape("status IN ('alive', 'dead')"))
	if len(w.Trees) != len(standing.Features) || w.More || w.Cautions == "" || len(w.Weeks) < 3 {
		t.Fatalf("%d trees of %d, more %v, %d weeks", len(w.Trees), len(standing.Features), w.More, len(w.Weeks))
	}
	counted := 0
	for _, k := range w.Weeks {
		if (k.Name == nil) == (k.Counted == nil) {
			t.Errorf("a week is called %v and counted at %v", k.Name, k.Counted)
		}
		if k.Counted != nil {
			counted++
		}
		mean := 0.0
		for _, f := range k.Factors {
			mean += f / 168
		}
		if len(k.Factors) != 168 || math.Abs(mean-1) > 1e-4 {
			t.Errorf("week %v has a mean of %v over %d hours", k.Name, mean, len(k.Factors))
		}
	}
	if counted != 1 {
		t.Errorf("%d counted weeks, expected one", counted)
	}
	people := map[float64]float64{}
	for _, f := range standing.Features {
		people[f.ID.(float64)] = f.Properties["people"].(float64)
	}
	busy := 0
	for i := range w.Trees {
		v := &w.Trees[i]
		if want := people[float64(v.Tree)]; math.Abs(v.People-want) > 1e-4*want+5.1e-7 { // which is served to six decimals
			t.Errorf("tree %d: %v people, it is ranked with %v", v.Tree, v.People, want)
		}
		// The ends of the grid have a week of each kind; all 260 would take long.
		if v.Tree%7 != 0 && v.Tag != "ALONE" && v.Tag != "T87" {
			continue
		}
		alone := s.week(t, "tag="+v.Tag)
		if alone.Part != v.Part {
			t.Errorf("tree %s: under the %s, by itself under the %s", v.Tag, v.Part, alone.Part)
		}
		for hour := range 168 {
			if got, want := w.at(v, hour), alone.persons(hour); math.Abs(got-want) > 2e-4*want+1e-9 {
				t.Fatalf("tree %s at %d: %v, by itself %v", v.Tag, hour, got, want)
			}
		}
		if alone.Peak.People > 0 {
			busy++
		}
		// A seat that 4 people are recorded on, and nothing else.
		if v.Tag == "ALONE" && (len(v.Persons) != 1 || math.Abs(v.Persons[0]-4) > 1e-9) {
			t.Errorf("the seat alone has %v", v.Persons)
		}
	}
	if busy < 10 {
		t.Errorf("only %d of the trees looked at have anybody beneath", busy)
	}
	t.Run("of some", func(t *testing.T) {
		harm := s.features(t, "/collections/trees/items?limit=5&sortby=-harm_index&filter="+url.QueryEscape("species = 'Tilia cordata' AND status IN ('alive', 'dead')"))
		some := s.weeks(t, "/hours/trees?limit=5&filter="+url.QueryEscape("species = 'Tilia cordata'"))
		got := map[int64]bool{}
		for _, v := range some.Trees {
			got[v.Tree] = true
		}
		if !some.More || len(got) != 5 {
			t.Errorf("%d trees, more %v", len(got), some.More)
		}
		for _, f := range harm.Features {
			if !got[int64(f.ID.(float64))] {
				t.Errorf("tree %v is among the five with most harm and missing", f.ID)
			}
		}
		box := s.weeks(t, "/hours/trees?bbox=25.39,54.69,25.41,54.71")
		if len(box.Trees) != 1 || box.Trees[0].Tag != "ALONE" {
			t.Errorf("in the box there are %v", box.Trees)
		}
		if none := s.weeks(t, "/hours/trees?bbox=1,1,2,2"); len(none.Trees) != 0 || none.More {
			t.Errorf("far away there are %v", none.Trees)
		}
	})
	t.Run("as of", func(t *testing.T) {
		s.exec(t, `UPDATE targets SET people_present = 9 WHERE target_id = 960`)
		if v := s.weeks(t, "/hours/trees?bbox=25.39,54.69,25.41,54.71").Trees[0]; math.Abs(v.Persons[0]-9) > 1e-9 {
			t.Errorf("after the edit %v", v.Persons)
		}
		instant := s.instant(t)
		s.exec(t, `UPDATE targets SET people_present = 2 WHERE target_id = 960`)
		if v := s.weeks(t, "/hours/trees?bbox=25.39,54.69,25.41,54.71&as_of="+instant).Trees[0]; math.Abs(v.Persons[0]-9) > 1e-9 {
			t.Errorf("as of before the second edit %v", v.Persons)
		}
	})
	for _, c := range [][2]string{{"limit=0", "limit"}, {"limit=5001", "limit"}, {"bbox=1,2", "bbox"}, {"filter=nothing+%3D+1", "filter"}, {"site=Nowhere", "site"}, {"tag=T1", "tag"}, {"f=csv", "f"}} {
		s.problem(t, "/hours/trees?"+c[0], 400, c[1])
	}
}

// Places carry what the list of places says of them.
func TestPlaceWeeks(t *testing.T) {
	s := serve(t, nil)
	s.withStreet(t)
	w := s.weeks(t, "/hours/places")
	rows := s.answer(t, "/places").Rows
	if len(w.Places) != len(rows) {
		t.Fatalf("%d places of %d", len(w.Places), len(rows))
	}
	of := map[int64]*sharedWeek{}
	for i := range w.Places {
		of[w.Places[i].Target] = &w.Places[i]
	}
	for _, r := range rows {
		v := of[int64(r["target_id"].(float64))]
		if want := r["people"].(float64); math.Abs(v.People-want) > 1e-4*want {
			t.Errorf("%v: %v people, the list says %v", r["name"], v.People, want)
		}
		most, at := 0.0, 0
		for hour := range 168 {
			if n := w.at(v, hour); n > most*(1+1e-6) {
				most, at = n, hour
			}
		}
		// No week of the built-in profile is busier than the ordinary one.
		if want := r["busiest_people"].(float64); math.Abs(most-want) > 2e-4*want || want > 0 && at != int(r["busiest_hour"].(float64)) {
			t.Errorf("%v: %v at %d, the list says %v at %v", r["name"], most, at, want, r["busiest_hour"])
		}
	}
	if box := s.weeks(t, "/hours/places?bbox=25.39,54.69,25.41,54.71"); len(box.Places) != 1 || box.Places[0].Target != 960 {
		t.Errorf("in the box there are %v", box.Places)
	}
	s.problem(t, "/hours/places?bbox=nowhere", 400, "bbox")
	s.problem(t, "/hours/places?filter=true", 400, "filter")
	// More than are answered at once.
	s.exec(t, `INSERT INTO targets (client_id, site_id, target_id, kind, geometry) SELECT 1, 1, 10000 + n, 'seating', ST_SetSRID(ST_MakePoint(25.5 + n * 0.000001, 54.5), 4326) FROM generate_series(1, 20001) n`)
	s.problem(t, "/hours/places", 400, "bbox")
	if box := s.weeks(t, "/hours/places?bbox=25.39,54.69,25.41,54.71"); len(box.Places) != 1 {
		t.Errorf("in the box there are %d", len(box.Places))
	}
}

// A place opened says what the list says, and of its trees what the overlaps say.
func TestPlace(t *testing.T) {
	s := serve(t, nil)
	s.withStreet(t)
	type tree struct {
		Tree  int64 `json:"tree_id"`
		Tag   string
		Harm  float64 `json:"harm_index"`
		Over  bool
		Parts []struct {
			Part     string
			Cut      *int64  `json:"cut_id"`
			AreaM2   float64 `json:"area_m2"`
			LengthM  float64 `json:"length_m"`
			Points   int
			People   float64
			Vehicles float64
			Harm     float64 `json:"harm_index"`
		}
	}
	type place struct {
		week
		Worst   []string `json:"worst_hours"`
		Harm    float64  `json:"harm_index"`
		Over    int      `json:"trees_over"`
		InReach int      `json:"trees_in_reach"`
		Trees   []tree
	}
	for _, r := range s.answer(t, "/places").Rows {
		id := int64(r["target_id"].(float64))
		p := parse[place](t, s.got(t, fmt.Sprint("/places/", id)))
		want := func(name string) float64 { return r[name].(float64) }
		if !closeTo(p.Harm, want("harm_index"), 2e-4) || p.Over != int(want("trees_over")) || p.InReach != int(want("trees_in_reach")) || len(p.Trees) != p.InReach {
			t.Errorf("%v: harm %v, %d over, %d of %d in reach, the list says %v, %v, %v", r["name"], p.Harm, p.Over, len(p.Trees), p.InReach, r["harm_index"], r["trees_over"], r["trees_in_reach"])
		}
		for i, first := range r["tree_ids"].([]any) {
			if v := p.Trees[i]; v.Tree != int64(first.(float64)) || !closeTo(v.Harm, r["tree_harm_index"].([]any)[i].(float64), 1e-4) {
				t.Errorf("%v: tree %d with %v is number %d, the list says %v with %v", r["name"], v.Tree, v.Harm, i, first, r["tree_harm_index"].([]any)[i])
			}
		}
		sum := 0.0
		found := map[string][4]float64{}
		for _, v := range p.Trees {
			sum += v.Harm
			parts := 0.0
			for _, part := range v.Parts {
				parts += part.Harm
				cut := int64(0)
				if part.Cut != nil {
					cut = *part.Cut
				}
				found[fmt.Sprint(v.Tree, part.Part, cut)] = [4]float64{part.AreaM2, part.LengthM, float64(part.Points), part.People}
			}
			if !closeTo(parts, v.Harm, 2e-4) {
				t.Errorf("%v: tree %s: parts come to %v of %v", r["name"], v.Tag, parts, v.Harm)
			}
		}
		if !closeTo(sum, p.Harm, 2e-4) {
			t.Errorf("%v: trees come to %v of %v", r["name"], sum, p.Harm)
		}
		overlaps := s.walk(t, fmt.Sprintf("/collections/overlaps/items?limit=1000&target_id=%d", id), nil)
		if len(overlaps) != len(found) {
			t.Errorf("%v: %d overlaps, expected %d", r["name"], len(found), len(overlaps))
		}
		for _, o := range overlaps {
			cut, _ := o.Properties["cut_id"].(float64)
			got := found[fmt.Sprint(o.Properties["tree_id"], o.Properties["part"], int64(cut))]
			for i, name := range []string{"area_m2", "length_m", "points", "people"} {
				if v := o.Properties[name].(float64); math.Abs(got[i]-v) > 1e-3*v+0.01 {
					t.Errorf("%v under tree %v, %v: %s %v, the overlap says %v", r["name"], o.Properties["tree_id"], o.Properties["part"], name, got[i], v)
				}
			}
		}
		// The week, and its worst hours counted by hand below for the lot.
		if !closeTo(p.Peak.People, want("busiest_people"), 1e-4) && want("busiest_people") > 0 {
			t.Errorf("%v: peak %v, the list says %v", r["name"], p.Peak.People, r["busiest_people"])
		}
		if (len(p.Worst) > 0) != (p.Peak.People > 0) {
			t.Errorf("%v: worst hours %q of a peak of %v", r["name"], p.Worst, p.Peak.People)
		}
	}
	// The path against PostGIS: what of it lies within the radius of a round crown.
	p := parse[place](t, s.got(t, "/places/2"))
	metres := map[string]float64{}
	for _, line := range pgtest.Query(t, s.url, `SELECT t.tag || ' ' || ST_Length(ST_Intersection(ST_Buffer(t.geometry::geography, t.crown_radius_m, 64), g.geometry::geography)) FROM trees t, targets g WHERE g.name = 'Path' AND t.crown_radius_m IS NOT NULL`) {
		tag, m, _ := strings.Cut(line, " ")
		metres[tag], _ = strconv.ParseFloat(m, 64)
	}
	n := 0
	for _, v := range p.Trees {
		for _, part := range v.Parts {
			if part.Part != "crown" {
				continue
			}
			want, measured := metres[v.Tag]
			if !measured {
				continue
			}
			n++
			if math.Abs(want-part.LengthM) > 0.02*want+0.05 {
				t.Errorf("%s over the path: %v m, PostGIS says %v", v.Tag, part.LengthM, want)
			}
		}
	}
	if n < 5 {
		t.Errorf("only %d crowns over the path were compared", n)
	}
	for _, path := range []string{"/places/999999", "/places/0", "/places/x", "/places/01"} {
		if r := s.get(t, path); r.status != 404 {
			t.Errorf("%s: %d", path, r.status)
		}
	}
	s.problem(t, "/places/1?limit=3", 400, "limit")
}
