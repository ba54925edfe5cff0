package main

import (
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// A path far from every tree.
const farPath = `{"type":"FeatureCollection","features":[
{"type":"Feature","id":1,"properties":{"name":"Far path","people_per_hour":90},"geometry":{"type":"LineString","coordinates":[[8.6,47.2],[8.601,47.2]]}}]}`

// rows is what a ranking answers in JSON, as far as these tests look.
type rows struct {
	Total    int
	Cautions string
	Rows     []struct {
		Rank                int
		Tag                 string
		Rating              string
		Likelihood          string
		HarmIndex           float64  `json:"harm_index"`
		People              float64  `json:"people"`
		Busiest             float64  `json:"busiest_people"`
		RankLow             *int     `json:"rank_low"`
		RankHigh            *int     `json:"rank_high"`
		TopShare            *float64 `json:"top_share"`
		Longitude, Latitude float64
	}
}

func (s shell) rank(args ...string) (r rows) {
	s.t.Helper()
	fromJSON(s.t, s.ok(append([]string{"rank", "--limit", "0", "--day", "2026-06-01", "--format", "json"}, args...)...), &r)
	if r.Cautions != cautions {
		s.t.Errorf("cautions: %q", r.Cautions)
	}
	return r
}

func close5(a, b float64) bool { return math.Abs(a-b) <= 2e-4*math.Max(math.Abs(a), math.Abs(b)) }

func TestRankDraws(t *testing.T) {
	s := onDatabase(t)
	load(s)
	args := []string{"rank", "--draws", "200", "--seed", "3", "--top", "2", "--day", "2026-06-01"}
	r := s.rank("--draws", "200", "--seed", "3", "--top", "2")
	sum := 0.0
	for _, row := range r.Rows {
		if row.RankLow == nil || *row.RankLow < 1 || *row.RankHigh > 5 || *row.RankLow > *row.RankHigh {
			t.Fatalf("%+v", row)
		}
		sum += *row.TopShare
	}
	// In each draw two trees are the first two.
	if len(r.Rows) != 5 || math.Abs(sum-2) > 0.003 {
		t.Errorf("%d trees, shares of the first two add up to %v", len(r.Rows), sum)
	}
	table := s.ok(args...)
	if again := s.ok(args...); again != table {
		t.Errorf("the same seed gives another table:\n%s%s", table, again)
	}
	for _, want := range []string{"rank 5-95 %", "top 2", fmt.Sprintf("%d-%d", *r.Rows[0].RankLow, *r.Rows[0].RankHigh), "200 draws (seed 3)"} {
		if !strings.Contains(table, want) {
			t.Errorf("%q is not in\n%s", want, table)
		}
	}
	if plain := s.rank(); plain.Rows[0].RankLow != nil {
		t.Error("intervals that nobody asked for")
	}
}

// In leaf, branches fail three times as often as out of leaf (Luley et al.
// 2002); the places here are used alike all year, and no tree is evergreen.
func TestRankSeason(t *testing.T) {
	s := onDatabase(t)
	load(s)
	on, off, year := s.rank("--season", "leaf-on"), s.rank("--season", "leaf-off"), s.rank("--season", "year")
	none := s.rank()
	for i := range on.Rows {
		if on.Rows[i].HarmIndex == 0 {
			continue
		}
		if !close5(on.Rows[i].HarmIndex, 3*off.Rows[i].HarmIndex) || on.Rows[i].Tag != off.Rows[i].Tag {
			t.Errorf("%+v in leaf, %+v out of leaf", on.Rows[i], off.Rows[i])
		}
		if h := year.Rows[i].HarmIndex; !(h < on.Rows[i].HarmIndex && h > off.Rows[i].HarmIndex) || h != none.Rows[i].HarmIndex {
			t.Errorf("the year, %v, is not between", h)
		}
	}
	if on.Rows[0].HarmIndex == 0 {
		t.Error("nothing to compare")
	}
}

func TestProfiles(t *testing.T) {
	s := onDatabase(t)
	load(s)
	for _, row := range s.rank("--profile", "points").Rows {
		if !strings.HasSuffix(row.Rating, " points") && row.Rating != "no target" {
			t.Errorf("%s rates %q", row.Tag, row.Rating)
		}
	}
	text := s.ok("profile", "points")
	if !strings.Contains(text, "\n  method: points") || s.ok("profile") != s.ok("profile", "print", "default") {
		t.Error("the built-in profiles are not printed")
	}
	s.write("mine.yaml", strings.Replace(text, "name: points", "name: mine", 1))
	if out := s.ok("profile", "check", "mine.yaml"); !strings.Contains(out, "profile mine, version 1, is complete") || !strings.Contains(out, "6.9 branch failures") {
		t.Errorf("check: %s", out)
	}
	s.ok("rank", "--profile", "mine.yaml")
	wrong := strings.Replace(text, "gust_mps: {value: 25,", "gust_mps: {value: 15,", 1)
	s.write("wrong.yaml", wrong)
	line := 1 + strings.Count(wrong[:strings.Index(wrong, "gust_mps: {value: 15")], "\n")
	a := s.run("profile", "check", "wrong.yaml")
	if want := fmt.Sprintf("wrong.yaml: profile: line %d: mechanics.gust_mps", line); a.status != 2 || !strings.Contains(a.stderr, want) {
		t.Errorf("expected %q: %+v", want, a)
	}
	var schema map[string]any
	if fromJSON(t, s.ok("profile", "schema"), &schema); schema["$schema"] != "https://json-schema.org/draft/2020-12/schema" {
		t.Errorf("schema: %v", schema["$schema"])
	}
}

func TestWhatIf(t *testing.T) {
	s := onDatabase(t)
	load(s)
	before := s.rank()
	var answer struct {
		Stored bool
		Rows   []struct {
			Tag       string
			Rank      int
			RankThen  *int     `json:"rank_then"`
			Harm      float64  `json:"harm_index"`
			HarmThen  *float64 `json:"harm_index_then"`
			Gone      bool     `json:"gone_then"`
			Why       string
			People    float64
			PeopleNow *float64 `json:"people_then"`
		}
	}
	first, second := before.Rows[0].Tag, before.Rows[1].Tag
	fromJSON(t, s.ok("rank", "--day", "2026-06-01", "--what-if", "tree "+first+" removed", "--format", "json"), &answer)
	if len(answer.Rows) != 1 || answer.Rows[0].Tag != first || !answer.Rows[0].Gone || answer.Rows[0].RankThen != nil || answer.Stored {
		t.Errorf("%+v", answer)
	}
	// With the lot gone nothing is left to strike, and the order is that of tags.
	fromJSON(t, s.ok("rank", "--day", "2026-06-01", "--what-if", "target "+s.lotID()+" gone", "--format", "json"), &answer)
	for _, r := range answer.Rows {
		if r.HarmThen == nil || *r.HarmThen != 0 || r.Harm == 0 || !strings.Contains(r.Why, "over parking → nothing") {
			t.Errorf("%+v", r)
		}
		if r.Tag == "T1" && *r.RankThen != 1 {
			t.Errorf("T1 would be %d", *r.RankThen)
		}
	}
	if len(answer.Rows) != 4 {
		t.Errorf("%d trees stand over the lot, expected 4", len(answer.Rows))
	}
	table := s.ok("rank", "--what-if", "tree "+first+" removed", "--what-if", "target "+s.lotID()+" moved 5,0")
	for _, want := range []string{"nothing is stored", "gone", second, cautions} {
		if !strings.Contains(table, want) {
			t.Errorf("%q is not in\n%s", want, table)
		}
	}
	if after := s.rank(); fmt.Sprint(after) != fmt.Sprint(before) {
		t.Errorf("something was stored: %+v, before %+v", after, before)
	}
}

// lotID is the number of the parking lot, as explain lists it.
func (s shell) lotID() string {
	s.t.Helper()
	var x struct {
		Parts []struct {
			Targets []struct {
				TargetID int64 `json:"target_id"`
			}
		}
	}
	fromJSON(s.t, s.ok("explain", "T1", "--format", "json"), &x)
	return strconv.FormatInt(x.Parts[0].Targets[0].TargetID, 10)
}

func TestExplain(t *testing.T) {
	s := onDatabase(t)
	load(s)
	text := s.ok("explain", "T1", "--day", "2026-06-01")
	for _, want := range []string{
		"Tree T1 (Acer platanoides) was topped in 2012, 14 years ago (4 such cuts), through wood of 20 cm.",
		"of parking (Market lot).", "not an inspection.",
		"failure possible: inferred and judged by nobody: regrowth on an old cut: topped 2012 (14 years ago, limit 5)",
		"height 18.0 m, measured", "the whole crown's as the limb's bearing is not recorded",
		"(estimated)", "bending stress", "(rests on an estimate)", "It takes for granted:", "Slope is ignored", cautions,
	} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in\n%s", want, text)
		}
	}
	var x struct {
		Reason string
		Harm   float64 `json:"harm_index"`
		Parts  []struct {
			HarmPeople   float64 `json:"harm_people_index"`
			HarmProperty float64 `json:"harm_property_index"`
		}
	}
	fromJSON(t, s.ok("explain", "T1", "--day", "2026-06-01", "--format", "json"), &x)
	if !strings.HasPrefix(text, x.Reason+"\n") {
		t.Errorf("the reason in JSON: %s", x.Reason)
	}
	// A vehicle weighs as much as 0.02 persons by the built-in profile.
	sum := 0.0
	for _, p := range x.Parts {
		sum += p.HarmPeople + 0.02*p.HarmProperty
	}
	if !close5(sum, x.Harm) {
		t.Errorf("the parts add up to %v, the tree is %v", sum, x.Harm)
	}
}

func TestPlaces(t *testing.T) {
	s := onDatabase(t)
	load(s)
	s.write("path.geojson", farPath)
	s.ok("import", "path.geojson", "--site", "Birch Street", "--as", "targets", "--kind", "walkway")
	var places struct {
		Total int
		Rows  []struct {
			Name    string
			Kind    string
			Harm    float64 `json:"harm_index"`
			Share   float64 `json:"share_of_site"`
			People  float64
			Covered bool
			Trees   []string  `json:"tree_tags"`
			Harms   []float64 `json:"tree_harm_index"`
			Reach   int       `json:"trees_in_reach"`
		}
	}
	fromJSON(t, s.ok("places", "--day", "2026-06-01", "--format", "json"), &places)
	lot := places.Rows[0]
	// Harm seen from the places is harm seen from the trees.
	sum, first := 0.0, ""
	for i, r := range s.rank().Rows {
		sum += r.HarmIndex
		if i == 0 {
			first = r.Tag
		}
	}
	if places.Total != 2 || lot.Name != "Market lot" || !close5(lot.Harm, sum) || lot.Share != 1 || lot.Reach != 4 || lot.Trees[0] != first {
		t.Errorf("%+v; the trees add up to %v", places, sum)
	}
	total := 0.0
	for _, harm := range lot.Harms {
		total += harm
	}
	if math.Abs(total/lot.Harm-1) > 1e-3 {
		t.Errorf("all four trees carry %v of the lot's %v", total, lot.Harm)
	}
	fromJSON(t, s.ok("places", "--uncovered", "--format", "json"), &places)
	// 90 an hour over 75.8 m at 1.2 m/s (pyproj: the geodesic of 0.001° at 47.2°
	// north is 75.78 m).
	if path := places.Rows[0]; places.Total != 1 || path.Name != "Far path" || path.Covered || math.Abs(path.People-90.0/3600*75.78/1.2) > 0.002 {
		t.Errorf("%+v", places)
	}
	if text := s.ok("places", "--kind", "parking"); !strings.Contains(text, "Market lot") || strings.Contains(text, "Far path") || !strings.Contains(text, first+" ") || !strings.Contains(text, cautions) {
		t.Errorf("%s", text)
	}
	if text := s.ok("places", "--uncovered", "--kind", "parking"); !strings.Contains(text, "None: every such place") {
		t.Errorf("%s", text)
	}
}

func TestGrid(t *testing.T) {
	s := onDatabase(t)
	load(s)
	s.ok("import", "trees.geojson", "--site", "Elm Street", "--as", "trees")
	trees := s.rank("--site", "Birch Street")
	for _, shape := range []string{"hexagon", "square"} {
		var grid struct {
			Type  string
			Sites []struct {
				Site  string
				Trees int
				Harm  float64 `json:"harm_index"`
			}
			Features []struct {
				Geometry struct {
					Type        string
					Coordinates orb.Polygon
				}
				Properties struct {
					Site  string
					Trees int
					Harm  float64 `json:"harm_index"`
				}
			}
			Cautions string
		}
		fromJSON(t, s.ok("grid", "--cells", shape, "--size", "30", "--day", "2026-06-01"), &grid)
		if grid.Type != "FeatureCollection" || len(grid.Sites) != 2 || grid.Cautions != cautions {
			t.Fatalf("%+v", grid)
		}
		found, harm := 0, 0.0
		for _, f := range grid.Features {
			if f.Properties.Site != "Birch Street" {
				continue
			}
			in, sum := 0, 0.0
			for _, tree := range trees.Rows {
				if planar.PolygonContains(f.Geometry.Coordinates, orb.Point{tree.Longitude, tree.Latitude}) {
					in, sum = in+1, sum+tree.HarmIndex
				}
			}
			if in != f.Properties.Trees || !close5(sum, f.Properties.Harm) || f.Geometry.Type != "Polygon" {
				t.Errorf("%s with %d trees in it and harm %v says %+v", shape, in, sum, f.Properties)
			}
			found, harm = found+in, harm+sum
		}
		if one := grid.Sites[0]; found != len(trees.Rows) || one.Trees != found || !close5(one.Harm, harm) {
			t.Errorf("%s: %d trees, harm %v in cells; %+v in all", shape, found, harm, grid.Sites)
		}
	}
	text := s.ok("grid", "--format", "table", "--limit", "1")
	for _, want := range []string{"Birch Street: 5 standing trees", "Elm Street: 5 standing trees", "All 2 sites: 10 standing trees", cautions} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in\n%s", want, text)
		}
	}
	records, err := csv.NewReader(strings.NewReader(s.ok("grid", "--format", "csv", "--site", "Birch Street"))).ReadAll()
	if err != nil || !slices.Contains(records[0], "harm_index") || len(records) < 3 {
		t.Errorf("%v, %v", records, err)
	}
}

func TestQuestionErrors(t *testing.T) {
	s := onDatabase(t)
	load(s)
	for _, c := range []struct {
		args []string
		want []string
	}{
		{[]string{"rank", "--season", "winter"}, []string{"winter", "leaf-off"}},
		{[]string{"rank", "--draws=-1"}, []string{"--draws -1", "500"}},
		{[]string{"rank", "--draws", "10", "--top", "0"}, []string{"--top 0"}},
		{[]string{"rank", "--limit=-3"}, []string{"--limit -3"}},
		{[]string{"rank", "--profile", "nonsense"}, []string{"nonsense", "default, points"}},
		{[]string{"rank", "--what-if", "tree T1 burnt"}, []string{"tree T1 burnt", "removed"}},
		{[]string{"rank", "--what-if", "tree T99 removed"}, []string{"T99", "0 trees"}},
		{[]string{"rank", "--what-if", "target 9999 gone"}, []string{"9999", "explain"}},
		{[]string{"rank", "--what-if", "tree T1 removed", "--cut", "topping"}, []string{"leave out", "--cut"}},
		{[]string{"rank", "--what-if", "tree T1 removed", "--format", "geojson"}, []string{"geojson", "json"}},
		{[]string{"hours", "T99"}, []string{"T99"}},
		{[]string{"hours", "T5", "--part", "limb"}, []string{"T5", "no limb"}},
		{[]string{"hours", "T1", "--window", "20"}, []string{"20 hours", "shorter"}},
		{[]string{"hours", "T1", "--window", "200"}, []string{"200"}},
		{[]string{"hours", "T1", "--from", "20", "--to", "20"}, []string{"20", "two hours apart"}},
		{[]string{"rank", "--draws", "-1"}, []string{"--draws -1", "0 or more"}},
		{[]string{"rank", "--limit", "-3"}, []string{"--limit -3", "0 or more"}},
		{[]string{"places", "--limit", "-3"}, []string{"--limit -3", "0 or more"}},
		{[]string{"ranking", "show", "1", "--limit", "-3"}, []string{"--limit -3", "0 or more"}},
		{[]string{"rank", "--day", "1899-12-31"}, []string{"1899-12-31", "1900 to 2200"}},
		{[]string{"explain", "T1", "--day", "2201-01-01"}, []string{"2201-01-01", "1900 to 2200"}},
		{[]string{"hours", "T1", "--days", "moon-fri"}, []string{"moon", "mon"}},
		{[]string{"places", "--kind", "parkng"}, []string{"parkng", "parking"}},
		{[]string{"grid", "--size", "1"}, []string{"1 m", "5"}},
		{[]string{"grid", "--cells", "triangle"}, []string{"triangle", "hexagon"}},
		{[]string{"grid", "--site", "Nowhere"}, []string{"Nowhere"}},
		{[]string{"ranking", "run"}, []string{"--name"}},
		{[]string{"ranking", "show", "77"}, []string{"77"}},
		{[]string{"ranking", "rerun", "77"}, []string{"77"}},
		{[]string{"ranking", "compare", "1", "2"}, []string{"there is no ranking 1"}},
		{[]string{"profile", "nonsense"}, []string{"nonsense", "points"}},
		{[]string{"profile", "check", "none.yaml"}, []string{"none.yaml"}},
	} {
		t.Run(strings.Join(c.args, " "), func(t *testing.T) {
			s := s
			s.t = t
			a := s.run(c.args...)
			if a.status != 2 || a.stdout != "" || !strings.HasPrefix(a.stderr, "underbough: ") {
				t.Errorf("%+v", a)
			}
			for _, want := range c.want {
				if !strings.Contains(a.stderr, want) {
					t.Errorf("%q is not in: %s", want, a.stderr)
				}
			}
		})
	}
}
