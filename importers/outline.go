package importers

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/paulmach/orb"
	orbgeo "github.com/paulmach/orb/geo"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/importers/csv"
	"github.com/underbough/underbough/importers/geojson"
	"github.com/underbough/underbough/importers/source"
	"github.com/underbough/underbough/inventory"
)

// outlineNames are the names of columns that hold the outline of a crown. The
// loose ones are in use for other things too, such as a word for the state of
// the crown or the tree's own point: what is no polygon there is none of ours.
var (
	outlineNames = append([]string{"crown_outline", "crown_polygon", "crown_geometry", "crown_wkt"}, looseNames[1:]...)
	looseNames   = []string{"crown", "wkt", "geom", "geometry", "the_geom"}
)

func isLoose(column string) bool { return slices.Contains(looseNames, normal(column)) }

// drawn reports whether a value looks like a polygon or several.
func drawn(v source.Value) bool {
	s := strings.TrimSpace(v.Text)
	if strings.HasPrefix(s, "{") {
		return strings.Contains(s, `"coordinates"`)
	}
	if _, rest, ok := strings.Cut(s, ";"); ok {
		s = strings.TrimSpace(rest)
	}
	s = strings.ToUpper(s[:min(len(s), len("MULTIPOLYGON"))])
	return strings.HasPrefix(s, "POLYGON") || s == "MULTIPOLYGON"
}

// outline reads a polygon or several, as a GeoJSON geometry or as well-known
// text, and says what was mended on the way.
func (c *compiled) outline(v source.Value) (g orb.Geometry, repair string, p *source.Problem) {
	s := strings.TrimSpace(v.Text)
	if missing(s) {
		return nil, "", nil
	}
	var err error
	if strings.HasPrefix(s, "{") {
		g, repair, err = geojson.ReadGeometry(s)
	} else {
		g, err = csv.ReadWKT(s)
	}
	if err == nil {
		err = checkOutline(g)
	}
	if err != nil {
		return nil, "", c.problem("%v", err)
	}
	return g, repair, nil
}

// The measures that no crown has: how far its middle can be from the stem, and
// how far across it can be, metres. The second is twice the largest radius that
// the inventory holds.
const (
	farthestCrown = 30.0
	widestCrown   = 98.0
)

func checkOutline(g orb.Geometry) error {
	switch g.(type) {
	case orb.Polygon, orb.MultiPolygon:
	default:
		return fmt.Errorf("a %s: expected the outline of a crown, a Polygon or MultiPolygon", g.GeoJSONType())
	}
	if err := geo.CheckGeometry(g); err != nil {
		return err
	}
	b := g.Bound()
	across := max(orbgeo.Distance(b.LeftTop(), orb.Point{b.Max[0], b.Max[1]}), orbgeo.Distance(b.Min, orb.Point{b.Min[0], b.Max[1]}))
	if across > widestCrown {
		return fmt.Errorf("the outline is %.0f m across, more than %.0f m: it is not one tree's crown", across, widestCrown)
	}
	return nil
}

// checkCrown reports a crown that cannot be that of a stem at p.
func checkCrown(g orb.Geometry, p orb.Point) error {
	if away := orbgeo.Distance(g.Bound().Center(), p); away > farthestCrown {
		return fmt.Errorf("the middle of the crown lies %.0f m from the stem, more than %.0f m: is it another tree's?", away, farthestCrown)
	}
	return nil
}

// outlineOf reads the crown of a tree's record: the record's own geometry,
// where that is a polygon, or a field's.
func (c *converter) outlineOf(s *set, rec *source.Record, r *inventory.TreeRow) {
	field := "geometry"
	if isOutline(rec.Geometry) {
		r.Crown, r.Repair = rec.Geometry, rec.Repair
		if err := checkOutline(r.Crown); err != nil {
			s.fail(field, "%v", err)
			return
		}
	} else {
		field = "crown"
		r.Crown = read(s, field, func(f *compiled, v source.Value) (g orb.Geometry, p *source.Problem) {
			g, r.Repair, p = f.outline(v)
			return g, p
		})
	}
	if r.Crown == nil {
		return
	}
	if err := checkCrown(r.Crown, r.Point); err != nil {
		s.fail(field, "%v", err)
	}
}

func isOutline(g orb.Geometry) bool {
	switch g.(type) {
	case orb.Polygon, orb.MultiPolygon:
		return true
	}
	return false
}

// Names of the fields that hold the place of the stem where a record's geometry
// is the crown; x and y are left out, for they are metres as often as degrees.
var (
	stemLonNames = []string{"longitude", "lon", "long", "lng"}
	stemLatNames = []string{"latitude", "lat"}
)

// stem returns where the stem of a tree is whose record is drawn as its crown.
// ok is false where no field says.
func (c *converter) stem(rec *source.Record) (p orb.Point, ok bool, problem *source.Problem) {
	names := [2][]string{stemLonNames, stemLatNames}
	if c.open.Longitude != "" {
		names = [2][]string{{c.open.Longitude}, {c.open.Latitude}}
	}
	for axis := range names {
		i := slices.IndexFunc(rec.Fields, func(f source.Field) bool {
			return slices.ContainsFunc(names[axis], func(n string) bool { return strings.EqualFold(n, f.Name) })
		})
		if i < 0 || missing(strings.TrimSpace(rec.Fields[i].Value.Text)) {
			return p, false, nil
		}
		f := &rec.Fields[i]
		v, err := strconv.ParseFloat(strings.TrimSpace(f.Value.Text), 64)
		if err != nil {
			return p, true, &source.Problem{Field: f.Name, Reason: fmt.Sprintf("coordinate %q is not a number: expected degrees such as -71.1167", f.Value.Text)}
		}
		p[axis] = v
	}
	return p, true, nil
}

// crown makes a crown of the record taken.
func (c *converter) crown(raw *source.Raw, rec *source.Record) (inventory.CrownRow, *source.Problem) {
	s := &set{c: c}
	r := inventory.CrownRow{Row: c.row(raw)}
	r.Text = raw.Text
	if rec.GeometryProblem != nil {
		return r, rec.GeometryProblem
	}
	if err := checkOutline(rec.Geometry); err != nil {
		s.fail("geometry", "%v", err)
	}
	r.Crown, r.Repair = rec.Geometry, rec.Repair
	r.TreeSourceID, r.TreeTag = s.id("tree_source_id"), s.id("tree_tag")
	return r, s.problem
}
