package postgres_test

import (
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/question"
)

// A crown measured to its four sides is read back whole, and its radius is their
// mean for one tree as for a run over all; a radius that was measured stays.
func TestCrownRadii(t *testing.T) {
	ctx, p := t.Context(), profile.Default()
	db := open(t)
	site := town(t, db, 20)
	for _, sql := range []string{
		`UPDATE trees SET tag = 'SIDES', status = 'alive', crown = NULL, crown_radius_m = NULL, crown_north_m = 1, crown_east_m = 2.5, crown_south_m = 0, crown_west_m = 7 WHERE tree_id = 1`,
		`UPDATE trees SET tag = 'RADIUS', status = 'alive', crown = NULL, crown_radius_m = 6, crown_north_m = 1, crown_east_m = 2, crown_south_m = 3, crown_west_m = 4 WHERE tree_id = 2`,
	} {
		if _, err := db.Pool().Exec(ctx, sql); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := db.Recompute(ctx, site, p, day); err != nil {
		t.Fatal(err)
	}
	some := inventory.Some[float64]
	for _, c := range []struct {
		tag    string
		sides  [4]inventory.Opt[float64]
		radius float64
	}{{"SIDES", [4]inventory.Opt[float64]{some(1), some(2.5), some(0), some(7)}, 2.625}, {"RADIUS", [4]inventory.Opt[float64]{some(1), some(2), some(3), some(4)}, 6}} {
		e, err := question.Explain(ctx, db, site, c.tag, p, day)
		if err != nil {
			t.Fatal(err)
		}
		if d := e.Assessment.Dimensions; e.Facts.Tree.CrownRadii != c.sides || d.CrownRadius != c.radius || d.CrownFrom != exposure.Measured {
			t.Errorf("%s: sides %v, radius %v from %v; expected %v and %v measured", c.tag, e.Facts.Tree.CrownRadii, d.CrownRadius, d.CrownFrom, c.sides, c.radius)
		}
		var radius float64
		if err := db.Pool().QueryRow(ctx, `SELECT e.crown_radius_m FROM exposures e JOIN trees t USING (client_id, tree_id) WHERE t.tag = $1`, c.tag).Scan(&radius); err != nil || radius != c.radius {
			t.Errorf("%s: the run took a radius of %v (%v), expected %v", c.tag, radius, err, c.radius)
		}
	}
}
