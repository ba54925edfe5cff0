package api

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"math"
	"net/http"
	"slices"
	"strconv"
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
	done, err := s.beginExport()
	if err != nil {
		return err
	}
	defer done()
	ctx, stop := unhurried(r.Context())
	defer stop()
	out := &export{stream: s.newStream(w), query: &q, as: as, points: onlyPoints(c)}
	if err := s.eachFeature(ctx, out); err != nil {
		return err
	}
	return out.end(s.config.Now())
}

// mostExports is how many exports may be under way: each holds connections to the
// database for as long as its client takes.
const mostExports = 4

// beginExport takes a place among the exports; done gives it back.
func (s *Server) beginExport() (done func(), err error) {
	select {
	case s.exports <- struct{}{}:
		return func() { <-s.exports }, nil
	default:
		return nil, &statusError{http.StatusServiceUnavailable, "as many exports as there may be are under way: try again in a while"}
	}
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

// eachFeature sends every feature of an export, in its order and of one state of
// the inventory.
func (s *Server) eachFeature(ctx context.Context, out *export) error {
	q := out.query.FeatureQuery
	q.Limit = 0
	if !q.Collection.Computed && len(q.Order) == 0 {
		return s.config.Store.ExportFeatures(ctx, q, out.encoder, out.chunk)
	}
	encode := out.encoder()
	var chunk []byte
	each := func(f *inventory.Feature) (err error) {
		if chunk, err = encode(chunk, f); err != nil || len(chunk) < flushBytes {
			return err
		}
		err = out.chunk(chunk)
		chunk = chunk[:0]
		return err
	}
	if !q.Collection.Computed {
		if _, err := s.features(ctx).Find(ctx, q, each); err != nil {
			return err
		}
		return out.chunk(chunk)
	}
	err := s.config.Store.OneSnapshot(ctx, func(ctx context.Context) error {
		for q.Limit = math.MaxInt; ; {
			rest, err := s.features(ctx).Find(ctx, q, each)
			if err != nil || !rest.OK {
				return err
			}
			q.After = rest
		}
	})
	if err != nil {
		return err
	}
	return out.chunk(chunk)
}

// export writes features in some form.
type export struct {
	*stream
	query  *itemsRequest
	as     string
	points bool
	begun  bool
	sent   bool // some feature
}

// chunk sends features as they are encoded. What comes first goes before the first
// of them: until then an error can be answered as one.
func (o *export) chunk(b []byte) error {
	if !o.begun {
		o.begun = true
		if err := o.begin(); err != nil {
			return err
		}
	}
	if len(b) == 0 {
		return nil
	}
	if !o.sent && o.as == typeGeoJSON {
		b = b[1:] // the comma between it and none
	}
	o.sent = true
	for part := range slices.Chunk(b, 4*flushBytes) {
		o.buf = append(o.buf, part...)
		if err := o.push(); err != nil {
			return err
		}
	}
	return nil
}

func (o *export) begin() error {
	switch o.as {
	case typeCSV:
		table := csv.NewWriter(o)
		table.UseCRLF = true
		return writeRow(table, o.header())
	case typeGeoJSON:
		o.buf = append(o.buf, `{"type":"FeatureCollection",`...)
		if actedOn(o.query.Collection) {
			o.buf = append(appendString(append(o.buf, `"cautions":`...), question.Cautions), ',')
		}
		o.buf = append(o.buf, `"features":[`...)
	}
	return nil
}

// encoder returns what appends a feature; each call one of its own.
func (o *export) encoder() func([]byte, *inventory.Feature) ([]byte, error) {
	form, q := formOf(o.query.ref), &o.query.FeatureQuery
	switch o.as {
	case typeCSV:
		var b bytes.Buffer
		r := &rowMaker{export: o}
		table := csv.NewWriter(&b)
		table.UseCRLF = true
		return func(dst []byte, f *inventory.Feature) ([]byte, error) {
			b.Reset()
			err := writeRow(table, r.values(f))
			return append(dst, b.Bytes()...), err
		}
	case typeGeoJSONSeq:
		return func(dst []byte, f *inventory.Feature) ([]byte, error) {
			dst, err := form.appendFeature(append(dst, 0x1e), q, f, nil)
			return append(dst, '\n'), err
		}
	}
	return func(dst []byte, f *inventory.Feature) ([]byte, error) {
		return form.appendFeature(append(dst, ',', '\n'), q, f, nil)
	}
}

func writeRow(table *csv.Writer, cells []string) error {
	if err := table.Write(cells); err != nil {
		return err
	}
	table.Flush()
	return table.Error()
}

// end sends what comes last.
func (o *export) end(now time.Time) error {
	if err := o.chunk(nil); err != nil {
		return err
	}
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

// rowMaker makes rows of a table and uses its memory again.
type rowMaker struct {
	*export
	cells []string
	cell  []byte
}

// values are a feature's cells.
func (o *rowMaker) values(f *inventory.Feature) []string {
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
