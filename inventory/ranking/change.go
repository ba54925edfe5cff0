package ranking

import (
	"math"
	"regexp"
	"strconv"
	"strings"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/project"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
)

// Change is one thing that might be done or turn out otherwise: what would the
// order be then?
type Change struct {
	Text string

	Tag     string           // of the tree that is removed, or its source id
	Tree    inventory.TreeID // that this is, once it is found
	Cut     inventory.CutID
	Shorten float64 // share of the limb's length taken off
	Target  inventory.TargetID
	East    float64 // metres that the target moves
	North   float64
	Set     map[string]float64 // occupancy of the target, by property
	Gone    bool               // the target is taken away
}

// ChangeForms says how a change is written.
const ChangeForms = `"tree TAG removed", "cut ID shortened 30%", "target ID moved EAST,NORTH" in metres, "target ID gone", or "target ID people_per_hour=40 share_occupied=0.2"`

var (
	treeForm   = regexp.MustCompile(`^tree\s+(\S.*?)\s+(\S+)$`) // a tag may hold spaces
	changeForm = regexp.MustCompile(`^(cut|target)\s+(\S+)\s+(.+)$`)
)

// ParseChange reads a change.
func ParseChange(text string) (Change, error) {
	c := Change{Text: text}
	bad := func(why string) (Change, error) {
		return c, inventory.Errorf(inventory.Invalid, "what-if %q: %s; expected %s", text, why, ChangeForms)
	}
	if m := treeForm.FindStringSubmatch(strings.TrimSpace(text)); m != nil {
		if c.Tag = m[1]; m[2] != "removed" {
			return bad("a tree can be removed")
		}
		return c, nil
	}
	m := changeForm.FindStringSubmatch(strings.TrimSpace(text))
	if m == nil {
		return bad("it does not begin with tree, cut or target and which")
	}
	what, which, rest := m[1], m[2], strings.TrimSpace(m[3])
	id, err := strconv.ParseInt(which, 10, 64)
	if err != nil || id <= 0 {
		return bad(what + " " + which + " is not a number")
	}
	if what == "cut" {
		c.Cut = inventory.CutID(id)
		share, ok := strings.CutPrefix(rest, "shortened ")
		v, err := strconv.ParseFloat(strings.TrimSuffix(strings.TrimSpace(share), "%"), 64)
		if strings.HasSuffix(share, "%") {
			v /= 100
		}
		if !ok || err != nil || !(v > 0 && v <= 1) {
			return bad("a cut's limb can be shortened by a share, 1 to 100 %")
		}
		c.Shorten = v
		return c, nil
	}
	c.Target = inventory.TargetID(id)
	if rest == "gone" {
		c.Gone = true
		return c, nil
	}
	if by, ok := strings.CutPrefix(rest, "moved "); ok {
		east, north, found := strings.Cut(by, ",")
		e, err1 := strconv.ParseFloat(strings.TrimSpace(east), 64)
		n, err2 := strconv.ParseFloat(strings.TrimSpace(north), 64)
		if !found || err1 != nil || err2 != nil || math.Abs(e) > 10_000 || math.Abs(n) > 10_000 || math.IsNaN(e+n) {
			return bad("a target can be moved by metres to the east and to the north, up to 10,000")
		}
		c.East, c.North = e, n
		return c, nil
	}
	c.Set = make(map[string]float64)
	for _, word := range strings.Fields(rest) {
		name, value, _ := strings.Cut(word, "=")
		v, err := strconv.ParseFloat(value, 64)
		if err != nil || !(v >= 0 && v <= 1e9) {
			return bad(word + " is not NAME=NUMBER")
		}
		if name == "share_occupied" && v > 1 {
			return bad("share_occupied is a share from 0 to 1")
		}
		if !setOccupancy(&inventory.Occupancy{}, name, v) {
			return bad("no occupancy is named " + name)
		}
		c.Set[name] = v
	}
	return c, nil
}

func setOccupancy(o *inventory.Occupancy, name string, v float64) bool {
	to := map[string]*inventory.Opt[float64]{
		"people_per_hour": &o.PeoplePerHour, "people_present": &o.PeoplePresent, "dwell_minutes": &o.DwellMinutes, "vehicles_per_day": &o.VehiclesPerDay,
		"stalls": &o.Stalls, "share_occupied": &o.ShareOccupied, "turnover_per_day": &o.TurnoverPerDay,
	}[name]
	if to == nil {
		return false
	}
	*to = inventory.Some(v)
	return true
}

// ApplyTarget changes a target; it reports false where the target is gone. A
// figure that is set replaces what was counted there.
func (c *Change) ApplyTarget(t *inventory.Target) bool {
	if c.Gone {
		return false
	}
	for name, v := range c.Set {
		setOccupancy(&t.Occupancy, name, v)
		switch name {
		case "people_per_hour":
			t.PeoplePresent, t.PeopleCounted = inventory.Opt[float64]{}, nil
		case "people_present":
			t.PeopleCounted = nil
		case "vehicles_per_day", "turnover_per_day":
			t.VehiclesCounted = nil
		}
	}
	if c.East != 0 || c.North != 0 {
		t.Geometry = moved(t.Geometry, c.East, c.North)
	}
	return true
}

func moved(g orb.Geometry, east, north float64) orb.Geometry {
	plane := geo.NewPlane(g.Bound().Center())
	return project.Geometry(orb.Clone(g), func(p orb.Point) orb.Point {
		x, y := plane.ToPlane(p)
		return plane.ToPoint(x+east, y+north)
	})
}

// ApplyTree changes what is known of a tree; it reports false where the tree is
// gone. A shortened limb loses its shoots first and then wood; sizer says how
// long shoots are that nobody measured.
func (c *Change) ApplyTree(f *Facts, sizer *Sizer) bool {
	if c.Tree != 0 && f.Tree.ID == c.Tree {
		return false
	}
	for i := range f.Cuts {
		if cut := &f.Cuts[i]; cut.ID == c.Cut && c.Cut != 0 {
			shoots := cut.RegrowthLength.Or(sizer.Regrowth(f, cut).Length)
			off := c.Shorten * (cut.Reach.Or(0) + shoots)
			cut.RegrowthLength = inventory.Some(max(0, shoots-off))
			if cut.Reach.OK {
				cut.Reach = inventory.Some(max(0, cut.Reach.V-max(0, off-shoots)))
			}
		}
	}
	return true
}
