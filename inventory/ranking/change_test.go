package ranking_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
)

func TestParseChangeSaysWhatThereIs(t *testing.T) {
	for text, want := range map[string]string{
		"remove tree 4":                     "does not begin with",
		"tree T-1 felled":                   "can be removed",
		"cut x shortened 10%":               "is not a number",
		"cut 4 shortened 0%":                "by a share",
		"cut 4 shortened 130%":              "by a share",
		"target 4 moved 5":                  "metres to the east",
		"target 4 moved 5,NaN":              "metres to the east",
		"target 4 crowd=3":                  "no occupancy is named crowd",
		"target 4 share_occupied=2":         "share from 0 to 1",
		"target 4 people_per_hour":          "is not NAME=NUMBER",
		"target 4 people_per_hour=-1":       "is not NAME=NUMBER",
		"target 0 gone":                     "is not a number",
		"target 4 people_per_hour=3 gone=1": "no occupancy is named gone",
	} {
		_, err := ranking.ParseChange(text)
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "shortened 30%") {
			t.Errorf("%q: %v, expected %q and the forms there are", text, err, want)
		}
	}
	for _, text := range []string{"tree T-1 removed", `tree OAK 12 "a" é removed`, "cut 4 shortened 30%", "cut 4 shortened 0.3", "target 4 moved -5, 3.5", "target 4 gone", "target 4 people_per_hour=40 share_occupied=0.2"} {
		_, err := ranking.ParseChange(text)
		if err != nil {
			t.Errorf("%q: %v", text, err)
		}
	}
}

func change(t *testing.T, text string) *ranking.Change {
	t.Helper()
	c, err := ranking.ParseChange(text)
	if err != nil {
		t.Fatal(err)
	}
	return &c
}

// A moved target lies as far off as was asked, by the library's own distance on
// the sphere, and keeps its shape.
func TestMovedTarget(t *testing.T) {
	line := inventory.Target{ID: 4, Kind: inventory.Walkway, Geometry: orb.LineString{at(0, 0), at(30, 0)}}
	before := line.Geometry.(orb.LineString)
	if !change(t, "target 4 moved 30,40").ApplyTarget(&line) {
		t.Fatal("gone")
	}
	after := line.Geometry.(orb.LineString)
	for i := range after {
		if d := geo.DistanceM(before[i], after[i]); math.Abs(d-50) > 0.05 {
			t.Errorf("point %d moved %v m, expected 50", i, d)
		}
	}
	if d := geo.DistanceM(after[0], after[1]); math.Abs(d-30) > 0.01 {
		t.Errorf("the line is %v m long, was 30", d)
	}
	if before[0] != at(0, 0) {
		t.Error("the target's own shape was changed")
	}
}

func TestChangedOccupancyReplacesACount(t *testing.T) {
	w := inventory.Target{ID: 4, Kind: inventory.Walkway, PeopleCounted: &inventory.CountedWeek{}, VehiclesCounted: &inventory.CountedWeek{}}
	w.PeoplePresent = inventory.Some(3.0)
	change(t, "target 4 people_per_hour=40").ApplyTarget(&w)
	if w.PeoplePerHour != inventory.Some(40.0) || w.PeoplePresent.OK || w.PeopleCounted != nil || w.VehiclesCounted == nil {
		t.Errorf("%+v", w)
	}
	if change(t, "target 4 gone").ApplyTarget(&w) {
		t.Error("not gone")
	}
}

// A limb of 3 m with shoots of 4 m, shortened by a half, loses 3.5 m of shoots;
// by 80 %, all shoots and 1.6 m of wood. (Arithmetic.)
func TestShortenedLimb(t *testing.T) {
	sizer := ranking.NewSizer(profile.Default(), time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC))
	for share, want := range map[string][2]float64{"50%": {0.5, 3}, "80%": {0, 1.4}, "100%": {0, 0}} {
		f := ranking.Facts{Tree: tree(), Cuts: []inventory.Cut{{ID: 7, Kind: inventory.CutTopping, Reach: inventory.Some(3.0), RegrowthLength: inventory.Some(4.0)}}}
		if !change(t, "cut 7 shortened "+share).ApplyTree(&f, sizer) {
			t.Fatal("gone")
		}
		if c := f.Cuts[0]; math.Abs(c.RegrowthLength.V-want[0]) > 1e-12 || math.Abs(c.Reach.V-want[1]) > 1e-12 {
			t.Errorf("shortened by %s: shoots %v m on %v m, expected %v", share, c.RegrowthLength.V, c.Reach.V, want)
		}
	}
}

func TestCompareRowsSaysWhoMovedAndWhy(t *testing.T) {
	row := func(place int, tree inventory.TreeID, text string) ranking.RankedRow {
		return ranking.RankedRow{Place: place, Tree: tree, Row: []byte(text)}
	}
	before := []ranking.RankedRow{
		row(1, 1, `{"tag":"A","people":1.5,"likelihood":"possible","harm_index":3}`),
		row(2, 2, `{"tag":"B","people":1,"likelihood":"possible","harm_index":2}`),
		row(3, 3, `{"tag":"C","people":0.5,"likelihood":"possible","harm_index":1}`),
		row(4, 4, `{"tag":"D","people":0.1,"likelihood":"possible","harm_index":0.5}`),
	}
	after := []ranking.RankedRow{
		row(1, 3, `{"tag":"C","people":0.5,"likelihood":"probable","harm_index":9}`),
		row(2, 1, `{"tag":"A","people":1.50000001,"likelihood":"possible","harm_index":3}`),
		row(3, 5, `{"source_id":"E","people":1,"likelihood":"possible","harm_index":2}`),
		row(4, 4, `{"tag":"D","people":0.1,"likelihood":"possible","harm_index":0.5}`),
	}
	moves, err := ranking.CompareRows(before, after)
	if err != nil {
		t.Fatal(err)
	}
	got := ""
	for _, m := range moves {
		got += m.Label + " " + strings.Join(m.Why, "; ") + "\n"
	}
	want := "B not in the later ranking\nE not in the earlier ranking\nC failure possible → probable\nA the same itself; others moved past it\n"
	if got != want {
		t.Errorf("moves\n%sexpected\n%s", got, want)
	}
	if moves[2].By() != 2 || moves[3].By() != -1 || moves[0].By() != 0 {
		t.Errorf("moved by %d, %d, %d", moves[2].By(), moves[3].By(), moves[0].By())
	}
}
