package season_test

import (
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/season"
)

// Permits, line clearance, nest surveys and closures: METHOD section 9, step 7;
// the distance to lines that needs qualified workers: section 8, 29 CFR 1910.269.
func TestGates(t *testing.T) {
	p := &practice.Default().Windows
	for _, c := range []struct {
		name     string
		k        season.GateCase
		from, to string
		want     string
	}{
		{"a tree over grass", season.GateCase{}, "2027-10-01", "2027-10-31", "permit"},
		{"a whole year, not urgent: its open days are out of nesting", season.GateCase{}, "2027-01-01", "2027-12-31", "permit"},
		{"planned in the nesting window against its being closed", season.GateCase{}, "2027-05-01", "2027-05-31", "permit, nest survey"},
		{"urgent in the nesting window", season.GateCase{Case: season.Case{Urgent: true}}, "2027-02-20", "2027-03-01", "permit, nest survey"},
		{"urgent before the nesting window", season.GateCase{Case: season.Case{Urgent: true}}, "2027-02-20", "2027-02-28", "permit"},
		{"a line beneath", season.GateCase{Case: season.Case{Over: []inventory.TargetKind{inventory.UtilityLine}}}, "2027-10-01", "2027-10-31", "permit, line clearance"},
		{"a line in reach", season.GateCase{LineInReach: true}, "2027-10-01", "2027-10-31", "permit, line clearance"},
		{"over a road and a stop", season.GateCase{Case: season.Case{Over: []inventory.TargetKind{inventory.TransitStop, inventory.Road}}}, "2027-10-01", "2027-10-31", "permit, road closure"},
		{"over a stop", season.GateCase{Case: season.Case{Over: []inventory.TargetKind{inventory.TransitStop}}}, "2027-10-01", "2027-10-31", "permit, road closure"},
		{"over parking", season.GateCase{Case: season.Case{Over: []inventory.TargetKind{inventory.Parking}}}, "2027-10-01", "2027-10-31", "permit"},
	} {
		c.k.From, c.k.To = day(t, c.from), day(t, c.to)
		var names []string
		for _, g := range season.Gates(c.k, p) {
			names = append(names, g.Name)
			if g.Why == "" || g.Cleared {
				t.Errorf("%s: %+v, expected a reason, and not cleared", c.name, g)
			}
		}
		if got := strings.Join(names, ", "); got != c.want {
			t.Errorf("%s: %s, expected %s", c.name, got, c.want)
		}
	}
	gates := season.Gates(season.GateCase{Case: season.Case{Urgent: true}, From: day(t, "2027-02-20"), To: day(t, "2027-03-02")}, p)
	if want := "(1 Mar 2027 to 2 Mar 2027)"; !strings.Contains(gates[1].Why, want) {
		t.Errorf("%q does not say %s", gates[1].Why, want)
	}
}
