package demo

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
)

// writer turns the plan into files.
type writer struct {
	plane geo.Plane
	year  int
}

// lonlat is a point of the plan in degrees, to a centimetre.
func (w *writer) lonlat(p orb.Point) orb.Point {
	q := w.plane.ToPoint(p[0], p[1])
	return orb.Point{round(q[0], 7), round(q[1], 7)}
}

// shape turns a geometry of the plan into degrees.
func (w *writer) shape(g orb.Geometry) orb.Geometry {
	switch g := g.(type) {
	case orb.Point:
		return w.lonlat(g)
	case orb.LineString:
		return orb.LineString(w.positions(g))
	case orb.MultiLineString:
		out := make(orb.MultiLineString, len(g))
		for i := range g {
			out[i] = w.positions(g[i])
		}
		return out
	case orb.Polygon:
		out := make(orb.Polygon, len(g))
		for i := range g {
			out[i] = w.positions(g[i])
		}
		return out
	case orb.MultiPolygon:
		out := make(orb.MultiPolygon, len(g))
		for i := range g {
			out[i] = w.shape(g[i]).(orb.Polygon)
		}
		return out
	}
	panic(fmt.Sprintf("no %T in the plan", g))
}

func (w *writer) positions(list []orb.Point) []orb.Point {
	out := make([]orb.Point, len(list))
	for i, p := range list {
		out[i] = w.lonlat(p)
	}
	return out
}

func round(v float64, digits int) float64 {
	f := math.Pow(10, float64(digits))
	return math.Round(v*f) / f
}

// geometry is a geometry of the plan as GeoJSON.
func (w *writer) geometry(g orb.Geometry) json.RawMessage {
	return mustJSON(struct {
		Type        string       `json:"type"`
		Coordinates orb.Geometry `json:"coordinates"`
	}{g.GeoJSONType(), w.shape(g)})
}

func feature(id string, geometry json.RawMessage, p props) []byte {
	return mustJSON(struct {
		Type       string          `json:"type"`
		ID         string          `json:"id"`
		Geometry   json.RawMessage `json:"geometry"`
		Properties props           `json:"properties"`
	}{"Feature", id, geometry, p})
}

func mustJSON(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		panic("the plan does not marshal: " + err.Error())
	}
	return b
}

// collection writes one feature a line.
func collection(features [][]byte) []byte {
	var b bytes.Buffer
	b.WriteString(`{"type":"FeatureCollection","features":[` + "\n")
	b.Write(bytes.Join(features, []byte(",\n")))
	b.WriteString("\n]}\n")
	return b.Bytes()
}

func table(header []string, rows [][]string) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	if err := w.WriteAll(append([][]string{header}, rows...)); err != nil {
		panic("writing to memory failed: " + err.Error())
	}
	return b.Bytes()
}

// figure writes a number with so many digits, and nothing for zero.
func figure(v float64, digits int) string {
	if v == 0 {
		return ""
	}
	return strconv.FormatFloat(round(v, digits), 'f', -1, 64)
}

func whole(v int) string { return figure(float64(v), 0) }

// targets is the file of one kind of target.
func (w *writer) targets(t *town, kind inventory.TargetKind) []byte {
	var features [][]byte
	for i, g := range t.kind(kind) {
		p := props{"name": g.name, "note": "invented"}
		for k, v := range g.props {
			p[k] = v
		}
		shape := g.shape
		if crossesItself(kind, i) {
			shape = crossed(shape)
		}
		features = append(features, feature(targetID(kind, i), w.geometry(shape), p))
	}
	if kind == inventory.Parking {
		features = slices.Insert(features, 20, w.openRing())
	}
	return collection(features)
}

func (t *town) kind(kinds ...inventory.TargetKind) []target {
	var out []target
	for _, g := range t.targets {
		if slices.Contains(kinds, g.kind) {
			out = append(out, g)
		}
	}
	return out
}

func targetID(kind inventory.TargetKind, i int) string { return fmt.Sprintf("%s-%04d", kind, i+1) }

const placesMapping = `# How the table of invented places is read.
source_id: ref
kind:
  from: what
  values: {square: plaza, play yard: playground, bench: seating, bus stop: transit_stop, overhead line: utility_line}
name: label
people_present: people here
people_per_hour: boardings an hour
dwell_minutes: wait
hours: week
`

var placeWords = map[inventory.TargetKind]string{
	inventory.Plaza: "square", inventory.Playground: "play yard", inventory.Seating: "bench",
	inventory.TransitStop: "bus stop", inventory.UtilityLine: "overhead line",
}

// places is the table of all that has no file of its own.
func (w *writer) places(t *town) []byte {
	var rows [][]string
	list := t.kind(inventory.Plaza, inventory.Playground, inventory.Seating, inventory.TransitStop, inventory.UtilityLine)
	for i, g := range list {
		text := func(name string) string {
			if v, ok := g.props[name]; ok {
				return fmt.Sprint(v)
			}
			return ""
		}
		rows = append(rows, []string{
			fmt.Sprintf("place-%04d", i+1), placeWords[g.kind], g.name, text("people_present"), text("people_per_hour"),
			text("dwell_minutes"), text("hours"), "invented", w.wkt(g.shape),
		})
	}
	return table([]string{"ref", "what", "label", "people here", "boardings an hour", "wait", "week", "note", "wkt"}, rows)
}

// wkt is a geometry of the plan as well-known text.
func (w *writer) wkt(g orb.Geometry) string {
	list := func(points []orb.Point) string {
		var b bytes.Buffer
		for i, p := range w.positions(points) {
			if i > 0 {
				b.WriteString(", ")
			}
			fmt.Fprintf(&b, "%.7f %.7f", p[0], p[1])
		}
		return "(" + b.String() + ")"
	}
	switch g := g.(type) {
	case orb.Point:
		return "POINT " + list([]orb.Point{g})
	case orb.LineString:
		return "LINESTRING " + list(g)
	case orb.Polygon:
		return "POLYGON (" + list(g[0]) + ")" // no place has holes
	}
	panic(fmt.Sprintf("no %T among the places", g))
}
