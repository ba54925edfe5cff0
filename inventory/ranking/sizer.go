package ranking

import (
	"time"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/allometry"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/mechanics"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/risk"
)

// Sizer works out the sizes and zones of trees, one after the other with one
// set of working memory.
type Sizer struct {
	profile  *profile.Profile
	screener *risk.Screener
	regrowth []float64
}

// NewSizer returns a sizer that counts the years since a cut to asOf.
func NewSizer(p *profile.Profile, asOf time.Time) *Sizer {
	return &Sizer{profile: p, screener: risk.NewScreener(p, asOf)}
}

// Zones appends a tree's zones to dst: the whole tree, the crown, and a limb for
// each weakening cut. Shoots that nobody measured are taken to have grown since.
func (s *Sizer) Zones(dst []exposure.TreeZone, f *Facts) (exposure.Dimensions, []exposure.TreeZone) {
	d := exposure.Size(&f.Tree, f.Cuts, &s.profile.Sizing)
	return d, s.ZonesOfSize(dst, f, &d)
}

// ZonesOfSize does it for other sizes than the tree's own.
func (s *Sizer) ZonesOfSize(dst []exposure.TreeZone, f *Facts, d *exposure.Dimensions) []exposure.TreeZone {
	s.regrowth = s.regrowth[:0]
	for i := range f.Cuts {
		length := 0.0
		if c := &f.Cuts[i]; exposure.Weakens(c.Kind) && c.Bearing.OK && c.Reach.OK && !c.RegrowthLength.OK {
			length = s.Regrowth(f, c).Length
		}
		s.regrowth = append(s.regrowth, length)
	}
	return exposure.Zones(dst, &f.Tree, f.Cuts, s.regrowth, d, &s.profile.Sizing)
}

// Regrowth returns the shoots at a cut of the tree, measured or estimated.
func (s *Sizer) Regrowth(f *Facts, c *inventory.Cut) mechanics.Regrowth {
	var years inventory.Opt[float64]
	if y, ok := s.screener.Years(c); ok {
		years = inventory.Some(y)
	}
	return mechanics.EstimateRegrowth(*c, years, allometry.Find(f.Tree.Species).Group(), s.profile.Mechanics)
}

// ZoneBoxes returns the boxes that targets under any of a tree's zones lie in.
func ZoneBoxes(site inventory.SiteID, at orb.Point, zones []exposure.TreeZone) []SiteBox {
	var boxes []SiteBox
	for i, z := range zones {
		// The crown's disc and most limbs lie inside the tree's own.
		if i > 0 && z.Zone.Radius <= zones[0].Zone.Radius && zones[0].Zone.IsDisc() {
			continue
		}
		for _, b := range boxesOf(z.Zone, at) {
			boxes = append(boxes, SiteBox{Site: site, Bound: b})
		}
	}
	return boxes
}

// boxesOf returns the boxes that targets under a zone lie in; two where it
// crosses the antimeridian.
func boxesOf(z geo.Zone, at orb.Point) []orb.Bound {
	b := z.Bound(at)
	b.Min[1], b.Max[1] = max(b.Min[1], -90), min(b.Max[1], 90)
	west, east := b, b
	switch {
	case b.Min[0] < -180:
		west.Min[0], west.Max[0] = b.Min[0]+360, 180
		east.Min[0] = -180
	case b.Max[0] > 180:
		west.Max[0] = 180
		east.Min[0], east.Max[0] = -180, b.Max[0]-360
	default:
		return []orb.Bound{b}
	}
	return []orb.Bound{west, east}
}
