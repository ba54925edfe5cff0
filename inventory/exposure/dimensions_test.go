package exposure_test

import (
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/allometry"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
)

func size(t inventory.Tree, cuts ...inventory.Cut) exposure.Dimensions {
	return exposure.Size(&t, cuts, &profile.Default().Sizing)
}

func TestMeasuredSizesStand(t *testing.T) {
	topping := inventory.Cut{Kind: inventory.CutTopping}
	d := size(inventory.Tree{DBH: inventory.Some(0.9), Height: inventory.Some(4.0), CrownRadius: inventory.Some(1.1)}, topping)
	if d != (exposure.Dimensions{Height: 4, CrownRadius: 1.1}) {
		t.Errorf("%+v, expected the measures as they are", d)
	}
	// One measured, the other not: a crown beyond the profile's limits stands too.
	d = size(inventory.Tree{DBH: inventory.Some(0.9), CrownRadius: inventory.Some(40.0)})
	if d.CrownRadius != 40 || d.CrownRadiusEstimated() || !d.HeightEstimated() {
		t.Errorf("%+v, expected the crown as measured and the height estimated", d)
	}
}

// What allometry says of the species is carried over with its error and level.
func TestMissingSizesComeFromAllometry(t *testing.T) {
	for _, species := range []string{"Acer platanoides", "Quercus garryana", "", "no such tree"} {
		for _, dbh := range []float64{0.05, 0.2, 0.4, 0.6} {
			d := size(inventory.Tree{Species: species, DBH: inventory.Some(dbh)})
			h, c := allometry.Find(species).Height(dbh), allometry.Find(species).CrownDiameter(dbh)
			near(t, species+" height", d.Height, h.Value, 0)
			near(t, species+" height's error", d.HeightSE, h.SE, 0)
			near(t, species+" crown", d.CrownRadius, max(c.Value/2, 0.5), 0)
			near(t, species+" crown's error", d.CrownRadiusSE, c.SE/2, 0)
			if d.HeightFrom.String() != h.From.String() || d.CrownFrom.String() != c.From.String() || d.Extrapolated != (h.Extrapolated || c.Extrapolated) {
				t.Errorf("%q: height from %v, crown from %v, expected %v and %v", species, d.HeightFrom, d.CrownFrom, h.From, c.From)
			}
		}
	}
}

func TestUnknownDiameterWidensTheError(t *testing.T) {
	known, unknown := size(inventory.Tree{DBH: inventory.Some(0.25)}), size(inventory.Tree{})
	if !unknown.DBHAssumed || known.DBHAssumed {
		t.Error("the assumed diameter is not marked")
	}
	if unknown.Height != known.Height || unknown.CrownRadius != known.CrownRadius {
		t.Errorf("%+v, expected the sizes of the profile's 0.25 m: %+v", unknown, known)
	}
	if unknown.CrownRadiusSE <= known.CrownRadiusSE || unknown.HeightSE < known.HeightSE {
		t.Errorf("errors %v and %v with the diameter unknown, %v and %v with it known", unknown.HeightSE, unknown.CrownRadiusSE, known.HeightSE, known.CrownRadiusSE)
	}
}

func TestToppedTreeIsMarked(t *testing.T) {
	topping, removal := inventory.Cut{Kind: inventory.CutTopping}, inventory.Cut{Kind: inventory.CutRemoval}
	tree := inventory.Tree{DBH: inventory.Some(0.4)}
	if d := size(tree, removal, topping); !d.HeightTopped {
		t.Error("the estimated height of a topped tree is not marked")
	}
	if d := size(tree, removal); d.HeightTopped {
		t.Error("a removal is taken for a topping")
	}
	tree.Height = inventory.Some(7.0)
	if d := size(tree, topping); d.HeightTopped {
		t.Error("a measured height is marked as doubtful")
	}
}

// Coombes, Martin and Slater 2019: crown diameter 24 to 27 times the stem's over
// 400 trees; a stem of 0.40 m carries 9.6 to 10.8 m. A tree of unknown species
// must come near it.
func TestCrownOfAnUnknownSpecies(t *testing.T) {
	if w := 2 * size(inventory.Tree{DBH: inventory.Some(0.40)}).CrownRadius; w < 9.6*0.8 || w > 10.8*1.2 {
		t.Errorf("crown diameter %v, published 9.6 to 10.8", w)
	}
}

func TestCrownLimits(t *testing.T) {
	s := profile.Default().Sizing
	if r := size(inventory.Tree{DBH: inventory.Some(3.0)}).CrownRadius; r > s.MaxCrownRadius.Value {
		t.Errorf("crown radius %v over the profile's limit", r)
	}
	if r := size(inventory.Tree{DBH: inventory.Some(0.001)}).CrownRadius; r < s.MinCrownRadius.Value {
		t.Errorf("crown radius %v under the profile's limit", r)
	}
}
