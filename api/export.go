package api

import (
	"context"
	"encoding/csv"
	"errors"
	"math"
	"net/http"
	"strconv"
	"sync"
	"time"

	"github.com/paulmach/orb"
	orbewkb "github.com/paulmach/orb/encoding/ewkb"
	"github.com/twpayne/go-geom"
	geomewkb "github.com/twpayne/go-geom/encoding/ewkb"
	"github.com/twpayne/go-geom/encoding/wkt"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
)

// exportTimeout bounds an export, which goes on as long as the client takes what
// comes.
const exportTimeout = 2 * time.Hour

// patience is how long a client waits at most for the first bytes of an export. A
// question that fails sooner is answered with its error.
const patience = 60 * time.Millisecond

// exportForms are the forms of an export, the usual one first.
var exportForms = []string{typeGeoJSON, typeGeoJSONSeq, typeCSV}

// extensions of the names that exports are saved under.
var extensions = map[string]string{typeGeoJSON: ".geojson", typeGeoJSONSeq: ".geojsons", typeCSV: ".csv"}

// handleExport streams all that a request selects of a collection, without pages:
// as one FeatureCollection, as a sequence of features (RFC 8142) or as a table.
// Memory does not grow with its length.
func (s *Server) handleExport(w http.ResponseWriter, r *http.Request) error {
	c, err := s.collectionOf(r)
	if err != nil {
		return err
	}
	q, err := s.itemsQuery(r, c)
	if err != nil {
		return err
	}
	for _, name := range []string{"limit", "cursor", "resultType"} {
		if _, ok := q.params[name]; ok {
			return &parameterError{name, "an export is whole: leave it out, or ask for /items"}
		}
	}
	as, err := negotiate(r, q.params, exportForms...)
	if err != nil {
		return err
	}
	if _, ok := q.params["crs"]; ok && as == typeCSV {
		return &parameterError{"crs", "a table has longitude and latitude: leave it out, or ask for GeoJSON"}
	}
	state, err := s.state(r.Context())
	if err != nil {
		return err
	}
	if err := s.computedFor(r.Context(), c); err != nil {
		return err
	}
	contentType(w, as)
	w.Header().Set("Content-Disposition", `attachment; filename="`+c.ID+extensions[as]+`"`)
	writeContentCRS(w, q.ref)
	if s.unchanged(w, r, s.etag(r, as, state), true) || r.Method == http.MethodHead {
		return nil
	}
	ctx, stop := unhurried(r.Context())
	defer stop()
	q.Limit = 0
	out := &export{stream: s.newStream(w), query: &q, as: as, points: onlyPoints(c)}
	// The client is told at once that it begins, unless it ends before that.
	soon := time.AfterFunc(patience, func() { _ = out.begin() })
	defer soon.Stop()
	err = s.eachFeature(ctx, q.FeatureQuery, out.feature)
	if !soon.Stop() || err == nil {
		err = errors.Join(err, out.begin()) // what the timer met with, if it was first
	}
	if err != nil {
		return err
	}
	return out.end(s.config.Now())
}

func onlyPoints(c *inventory.Collection) bool {
	return len(c.Geometries) == 1 && c.Geometries[0] == "Point"
}

// unhurried is a context that ends with the client, but not when a request's
// time is up.
func unhurried(of context.Context) (context.Context, func()) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(of), exportTimeout)
	stop := context.AfterFunc(of, func() {
		if !errors.Is(of.Err(), context.DeadlineExceeded) {
			cancel()
		}
	})
	return ctx, func() { stop(); cancel() }
}

// eachFeature hands on every feature of a query, in its order and of one state
// of the inventory.
func (s *Server) eachFeature(ctx context.Context, q inventory.FeatureQuery, fn func(*inventory.Feature) error) error {
	if !q.Collection.Computed {
		_, err := s.features(ctx).Find(ctx, q, fn)
		return err
	}
	return s.config.Store.OneSnapshot(ctx, func(ctx context.Context) error {
		for q.Limit = math.MaxInt; ; {
			rest, err := s.features(ctx).Find(ctx, q, fn)
			if err != nil || !rest.OK {
				return err
			}
			q.After = rest
		}
	})
}

// export writes features one by one in some form.
type export struct {
	*stream
	query  *itemsRequest
	as     string
	points bool
	once   sync.Once
	failed error // of begin
	sent   bool
	table  *csv.Writer
	cells  []string
	cell   []byte
}

// begin sends what comes first.
func (o *export) begin() error {
	o.once.Do(func() {
		c := o.query.Collection
		switch o.as {
		case typeCSV:
			o.table = csv.NewWriter(o)
			o.table.UseCRLF = true
			o.failed = o.row(o.header())
		case typeGeoJSON:
			o.buf = append(o.buf, `{"type":"FeatureCollection",`...)
			if actedOn(c) {
				o.buf = append(appendString(append(o.buf, `"cautions":`...), question.Cautions), ',')
			}
			o.buf = append(o.buf, `"features":[`...)
		}
		if o.failed == nil && len(o.buf) > 0 {
			o.failed = errors.Join(o.send(), o.control.Flush())
		}
	})
	return o.failed
}

func (o *export) feature(f *inventory.Feature) (err error) {
	if !o.sent {
		if err := o.begin(); err != nil {
			return err
		}
	}
	switch o.as {
	case typeCSV:
		err = o.row(o.values(f))
	case typeGeoJSONSeq:
		o.buf = append(o.buf, 0x1e)
		o.buf, err = formOf(o.query.ref).appendFeature(o.buf, &o.query.FeatureQuery, f, nil)
		o.buf = append(o.buf, '\n')
	default:
		if o.sent {
			o.buf = append(o.buf, ',')
		}
		o.buf = append(o.buf, '\n')
		o.buf, err = formOf(o.query.ref).appendFeature(o.buf, &o.query.FeatureQuery, f, nil)
	}
	o.sent = true
	if err != nil {
		return err
	}
	return o.push()
}

// end sends what comes last.
func (o *export) end(now time.Time) error {
	if o.as == typeGeoJSON {
		o.buf = append(o.buf, "\n],\"timeStamp\":\""...)
		o.buf = now.UTC().AppendFormat(o.buf, instantLayout)
		o.buf = append(o.buf, "\"}\n"...)
	}
	return o.send()
}

// header names the columns of a table. They are those that an import reads.
func (o *export) header() []string {
	c := o.query.Collection
	cells := []string{"id"}
	if o.points {
		cells = append(cells, "longitude", "latitude")
	} else {
		cells = append(cells, "wkt")
	}
	for i, p := range c.Properties {
		if o.query.Picks(i) {
			cells = append(cells, p.Name)
		}
	}
	if actedOn(c) {
		cells = append(cells, "caution")
	}
	return cells
}

func (o *export) row(cells []string) error {
	if err := o.table.Write(cells); err != nil {
		return err
	}
	o.table.Flush()
	return o.table.Error()
}

// values are a feature's cells.
func (o *export) values(f *inventory.Feature) []string {
	c := o.query.Collection
	id := f.TextID
	if id == "" {
		id = strconv.FormatInt(f.ID, 10)
	}
	o.cells = append(o.cells[:0], id)
	switch at, ok := pointOf(f); {
	case !o.points:
		o.cells = append(o.cells, textOf(f))
	case ok:
		o.cells = append(o.cells, string(degrees(at[0])), string(degrees(at[1])))
	default:
		o.cells = append(o.cells, "", "")
	}
	for i := range c.Properties {
		if o.query.Picks(i) {
			o.cell = appendCell(o.cell[:0], &c.Properties[i], &f.Values[i])
			o.cells = append(o.cells, string(o.cell))
		}
	}
	if actedOn(c) {
		o.cells = append(o.cells, question.Caution)
	}
	return o.cells
}

// appendCell appends a value as a cell: nothing for null, lists with commas
// between.
func appendCell(dst []byte, p *inventory.Property, v *inventory.Value) []byte {
	switch {
	case v.Null:
		return dst
	case p.Type == inventory.TextList:
		for i, w := range v.List {
			if i > 0 {
				dst = append(dst, ',')
			}
			dst = append(dst, w...)
		}
		return dst
	case p.Type == inventory.Text, p.Type == inventory.Object:
		return append(dst, v.Bytes...)
	case p.Type == inventory.Date:
		return v.Time.AppendFormat(dst, time.DateOnly)
	case p.Type == inventory.Timestamp:
		return v.Time.AppendFormat(dst, instantLayout)
	case p.Type == inventory.Number:
		return appendFloat(dst, v.Float, p.Decimals)
	}
	return appendValue(dst, p, v)
}

// pointOf is where a feature that is a point lies.
func pointOf(f *inventory.Feature) (orb.Point, bool) {
	if p, ok := f.Geometry.(orb.Point); ok {
		return p, true
	}
	g, err := geomewkb.Unmarshal(f.EWKB)
	if p, ok := g.(*geom.Point); err == nil && ok && !p.Empty() {
		return orb.Point{p.X(), p.Y()}, true
	}
	return orb.Point{}, false
}

// textOf is a feature's geometry as well-known text; nothing where it has none.
func textOf(f *inventory.Feature) string {
	if f.EWKB == nil {
		if f.Geometry == nil {
			return ""
		}
		b, err := orbewkb.Marshal(f.Geometry, 4326)
		if err != nil {
			return ""
		}
		f.EWKB = b
	}
	g, err := geomewkb.Unmarshal(f.EWKB)
	if err != nil {
		return ""
	}
	text, err := wkt.NewEncoder(wkt.EncodeOptionWithMaxDecimalDigits(decimalsOfDegrees)).Encode(g)
	if err != nil {
		return ""
	}
	return text
}
