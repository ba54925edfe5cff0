package importers_test

import (
	"strings"
	"testing"

	"github.com/underbough/underbough/importers"
	"github.com/underbough/underbough/inventory"
)

func TestLean(t *testing.T) {
	w := newTown(t)
	w.want(file{text: table("tag,lean_deg,lean_direction,brittle", "1,12.5,NE,yes", "2,90,200,n", "3,,,", "4,91,,", "5,-3,,", "6,slight,,", "7,,Q,", "8,,,rather", "9,3 deg,360,")},
		9, 4, 0, 0, 0, 5)
	w.is(`SELECT tag, lean_deg, lean_bearing_deg, brittle FROM trees ORDER BY tag`, "1|12.5|45|t", "2|90|200|f", "3|∅|∅|∅", "9|3|0|∅")
	held := w.held()
	for i, want := range []string{"4|lean_deg|91 is impossible: it is above 90 deg", "5|lean_deg|-3 is impossible", `6|lean_deg|"slight" is not a number`, `7|lean_direction|"Q" is not a number`, `8|brittle|"rather" is neither yes nor no`} {
		if i >= len(held) || !strings.HasPrefix(held[i], want) {
			t.Errorf("held: %q, want %s", held, want)
		}
	}
	// A column that only says lean may hold words: its unit must be given.
	if m, unclear := importers.Guess(inventory.RoleTrees, []string{"Lean"}); len(m) != 0 || len(unclear) != 1 || !strings.Contains(unclear[0].String(), "--map lean=Lean:UNIT") {
		t.Error(m, unclear)
	}
	// What only one file knows stays when another one comes.
	w.want(file{text: table("tag,species", "1,Acer")}, 1, 0, 1, 0, 0, 0)
	w.is(`SELECT lean_deg, brittle FROM trees WHERE tag = '1'`, "12.5|t")
}

// Radii to the four sides come in any unit, and 0 is one: nothing reaches out
// there. 10 ft are 3.048 m by definition.
func TestCrownRadii(t *testing.T) {
	w := newTown(t)
	w.want(file{text: table("tag,crown_n_ft,crown_east_m,crown_radius_south_cm,crown_w_m", "1,10,2.5,0,7", "2,,2.5,,", "3,1,1,1,", "4,1,1,1,90", "5,-1,1,1,1", "6,1,wide,1,1")}, 6, 3, 0, 0, 0, 3)
	sides := `SELECT tag, crown_north_m, crown_east_m, crown_south_m, crown_west_m, crown_radius_m FROM trees ORDER BY tag`
	w.is(sides, "1|3.048|2.5|0|7|∅", "2|∅|2.5|∅|∅|∅", "3|0.3048|1|0.01|∅|∅")
	held := w.held()
	for i, want := range []string{"4|crown_w_m|90 is impossible: it is above", "5|crown_n_ft|-1 is impossible", `6|crown_east_m|"wide" is not a number`} {
		if i >= len(held) || !strings.HasPrefix(held[i], want) {
			t.Errorf("held: %q, want %s", held, want)
		}
	}
	if m, unclear := importers.Guess(inventory.RoleTrees, []string{"crown_n"}); len(m) != 0 || len(unclear) != 1 {
		t.Error("a radius without its unit was taken", m, unclear)
	}
	// A later file, which is merged, changes what it gives and no more.
	w.want(file{text: table("tag,crown_n_m", "1,4", "2,5")}, 2, 0, 2, 0, 0, 0)
	w.is(sides, "1|4|2.5|0|7|∅", "2|5|2.5|∅|∅|∅", "3|0.3048|1|0.01|∅|∅")
}

func TestBareShare(t *testing.T) {
	w := newTown(t)
	f := file{text: collection(treeAt(1, `"tag":"1","cuts":[{"kind":"lion-tailing","bare_share_pct":65}]`), treeAt(2, `"tag":"2","cuts":[{"kind":"lion-tailing","bare_share_pct":165}]`))}
	w.want(f, 2, 1, 0, 0, 0, 1)
	w.want(file{role: inventory.RoleCuts, text: "id,tree_tag,kind,bare\nK,1,lion-tailing,0.4\n", rules: []string{"bare_share=bare:1"}}, 1, 1, 0, 0, 0, 0)
	w.is(`SELECT bare_share FROM cuts ORDER BY 1`, "0.4", "0.65")
	if held := w.held(); len(held) != 1 || !strings.HasPrefix(held[0], "2|cuts[0].bare_share_pct|165 is impossible: it is above 100 %") {
		t.Error(held)
	}
}

func TestCavities(t *testing.T) {
	w := newTown(t)
	w.load(file{text: table("tag", "1")})
	f := file{role: inventory.RoleVisits, text: "tree_tag,visited_on,stem_diameter_cm,cavity_diameter_in,sound_wall_mm,opening_pct,other_points\n" +
		"1,2025-03-01,80,20,120,15,2\n1,2025-03-02,80,0,,,0\n1,2025-03-03,40,20,,,\n1,2025-03-04,40,,210,,\n1,2025-03-05,,,,101,\n1,2025-03-06,,,,,3\n1,2025-03-07,,,,,1.5\n1,2025-03-08,,,-1,,\n1,2025-03-09,40,,200,,\n"}
	w.want(f, 9, 3, 0, 0, 0, 6)
	w.is(`SELECT visited_on, stem_diameter_m, round(decay_diameter_m::numeric, 6), sound_wall_m, opening_share, other_points FROM visits ORDER BY 1`,
		"2025-03-01|0.8|0.508000|0.12|0.15|2", "2025-03-02|0.8|0.000000|∅|∅|0", "2025-03-09|0.4|∅|0.2|∅|∅")
	held := w.held()
	for i, want := range []string{
		"3|cavity_diameter_in|the decay (0.508 m) is wider than the stem (0.4 m)", "4|sound_wall_mm|the sound wall (0.21 m) is thicker than half the stem", "5|opening_pct|101 is impossible",
		"6|other_points|3 is impossible", "7|other_points|1.5 is not a whole number", "8|sound_wall_mm|-1 is impossible",
	} {
		if i >= len(held) || !strings.HasPrefix(held[i], want) {
			t.Errorf("held: %q, want %s", held, want)
		}
	}
	w.unmoved(func() { w.want(f, 9, 0, 0, 3, 0, 6) })
}
