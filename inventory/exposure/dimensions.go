package exposure

import (
	"math"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/allometry"
	"github.com/underbough/underbough/inventory/profile"
)

// Origin says where a size comes from.
type Origin uint8

// The origins of a size: measured on the tree, or estimated from the stem's
// diameter by equations of the species, its genus, its group of trees, or of
// trees at large.
const (
	Measured Origin = iota
	FromSpecies
	FromGenus
	FromGroup
	FromGeneral
)

func (o Origin) String() string {
	return [...]string{"measured", "species", "genus", "group", "general"}[o]
}

// ToppedHeight goes with an estimated height where HeightTopped is set.
const ToppedHeight = "estimated; the tree was topped, so likely less"

// Dimensions are the sizes that zones are made from, metres. A measured size
// is never replaced; a missing one is estimated and marked.
type Dimensions struct {
	Height, CrownRadius   float64
	HeightFrom, CrownFrom Origin
	// One standard error of an estimate for a single tree; 0 for a measure, whose
	// error is not recorded.
	HeightSE, CrownRadiusSE float64
	// DBHAssumed is set where a size was estimated from the profile's diameter
	// for trees without one.
	DBHAssumed bool
	// Extrapolated is set where an estimate lies outside the diameters that its
	// equation was made from.
	Extrapolated bool
	// HeightTopped is set where the height is estimated and a topping cut is
	// recorded: a topped tree is lower than any equation says, which errs on the
	// side of a larger zone.
	HeightTopped bool
}

// HeightEstimated reports whether the height was not measured.
func (d *Dimensions) HeightEstimated() bool { return d.HeightFrom != Measured }

// CrownRadiusEstimated reports whether neither the crown's radius was measured
// nor its outline surveyed.
func (d *Dimensions) CrownRadiusEstimated() bool { return d.CrownFrom != Measured }

// Size returns a tree's dimensions. What was not measured comes from published
// allometry by the stem's diameter; the radius of a surveyed crown is that of
// the disc of equal area.
func Size(t *inventory.Tree, cuts []inventory.Cut, s *profile.Sizing) Dimensions {
	d := Dimensions{Height: t.Height.V, CrownRadius: t.CrownRadius.V}
	needCrown := !t.CrownRadius.OK
	if needCrown && t.Crown != nil {
		if area := geo.Size(t.Crown).AreaM2; area > 0 {
			d.CrownRadius, needCrown = math.Sqrt(area/math.Pi), false
		}
	}
	if t.Height.OK && !needCrown {
		return d
	}
	kind := allometry.Find(t.Species)
	dbh, spread := t.DBH.V, 0.0
	if !t.DBH.OK {
		dbh, spread, d.DBHAssumed = s.UnknownDBH.Value, s.UnknownDBHSE.Value, true
	}
	if !t.Height.OK {
		e := kind.Height(dbh)
		d.Height, d.HeightFrom, d.HeightSE = e.Value, origin(e.From), e.SE
		d.Extrapolated = e.Extrapolated
		d.HeightTopped = topped(cuts)
		if spread > 0 {
			d.HeightSE = widened(e.SE, kind.Height, dbh, spread)
		}
	}
	if needCrown {
		e := kind.CrownDiameter(dbh)
		d.CrownRadius = min(max(e.Value/2, s.MinCrownRadius.Value), s.MaxCrownRadius.Value)
		d.CrownFrom, d.CrownRadiusSE = origin(e.From), e.SE/2
		d.Extrapolated = d.Extrapolated || e.Extrapolated
		if spread > 0 {
			d.CrownRadiusSE = widened(e.SE, kind.CrownDiameter, dbh, spread) / 2
		}
	}
	return d
}

// widened adds to the standard error of an estimate what a diameter known only
// to within spread brings.
func widened(se float64, estimate func(float64) allometry.Estimate, dbh, spread float64) float64 {
	low := max(dbh-spread, dbh/10)
	slope := (estimate(dbh+spread).Value - estimate(low).Value) / (dbh + spread - low)
	return math.Hypot(se, slope*spread)
}

func origin(s allometry.Source) Origin {
	switch s {
	case allometry.Species:
		return FromSpecies
	case allometry.Genus:
		return FromGenus
	case allometry.Group:
		return FromGroup
	}
	return FromGeneral
}

func topped(cuts []inventory.Cut) bool {
	for i := range cuts {
		if cuts[i].Kind == inventory.CutTopping {
			return true
		}
	}
	return false
}
