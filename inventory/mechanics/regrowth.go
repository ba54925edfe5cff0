package mechanics

import (
	"math"
	"strings"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
)

// Regrowth is the shoots that have grown back from one cut.
type Regrowth struct {
	Length       float64 // of the longest, metres
	BaseDiameter float64 // of the thickest at its base, metres
	Count        int     // 1 where nobody counted
	// What nobody measured.
	LengthEstimated, DiameterEstimated bool
}

// EstimateRegrowth returns the shoots of a cut: what was measured as it was, and
// for a topping or heading cut what was not from the years since the cut and the
// group of its species. Without the year the shoots are taken as grown up. A
// base is no thicker than the stub it stands on. group is as package allometry
// has it, such as "broadleaf deciduous, large"; empty for unknown.
func EstimateRegrowth(cut inventory.Cut, years inventory.Opt[float64], group string, p profile.Mechanics) Regrowth {
	r := Regrowth{Length: cut.RegrowthLength.V, BaseDiameter: cut.RegrowthDiameter.V, Count: cut.RegrowthCount.Or(1)}
	if r.Count == 0 {
		return Regrowth{}
	}
	if !cut.RegrowthLength.OK {
		if cut.Kind != inventory.CutTopping && cut.Kind != inventory.CutHeading {
			return Regrowth{}
		}
		r.Length, r.LengthEstimated = p.MaxEstimate.Value, true
		rate := ShootGrowth(group, p)
		if years.OK {
			r.Length = min(r.Length, GrownLength(rate, years.V, int(p.HalvingYear.Value)))
		} else {
			r.Length = min(r.Length, GrownLength(rate, math.Inf(1), int(p.HalvingYear.Value)))
		}
	}
	if !cut.RegrowthDiameter.OK {
		r.BaseDiameter, r.DiameterEstimated = r.Length/p.ShootSlenderness.Value, true
		if cut.Diameter.OK {
			r.BaseDiameter = min(r.BaseDiameter, cut.Diameter.V)
		}
	}
	return r
}

// ShootGrowth is by how much the shoots of a group of species lengthen in the
// first year after a cut, metres.
func ShootGrowth(group string, p profile.Mechanics) float64 {
	g := &p.Growth
	group = strings.ToLower(group)
	switch {
	case strings.Contains(group, "conifer"):
		return g.Conifer.Value
	case !strings.HasPrefix(group, "broadleaf"):
		return g.Unknown.Value
	case strings.HasSuffix(group, "large"):
		return g.BroadleafLarge.Value
	case strings.HasSuffix(group, "medium"):
		return g.BroadleafMedium.Value
	case strings.HasSuffix(group, "small"):
		return g.BroadleafSmall.Value
	}
	return g.Unknown.Value
}

// GrownLength is what shoots reach that grow by rate metres a year, and from
// year halvingFrom on by half of the year before; within a year evenly.
func GrownLength(rate, years float64, halvingFrom int) float64 {
	full := float64(halvingFrom - 1)
	if !(years > 0) {
		return 0
	}
	if years <= full {
		return rate * years
	}
	if math.IsInf(years, 1) {
		return rate * (full + 1)
	}
	whole := math.Floor(years - full)
	left := math.Pow(0.5, whole) // of the rate, in the last whole year
	return rate * (full + 1 - left + (years-full-whole)*left/2)
}

// Shortened returns the shoots cut back by a share of their length; a share
// outside 0 to 1 counts as the nearer end.
func Shortened(r Regrowth, share float64) Regrowth {
	r.Length *= 1 - min(max(share, 0), 1)
	return r
}
