package api

import (
	"context"
	"net/http"
	"net/url"
	"strconv"
	"sync"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/tiling"
)

// Relations and names of OGC API - Tiles (20-057) and of the tile matrix set
// (17-083r4).
const (
	relTilesetsVector = "http://www.opengis.net/def/rel/ogc/1.0/tilesets-vector"
	relTilingScheme   = "http://www.opengis.net/def/rel/ogc/1.0/tiling-scheme"
	relDataset        = "http://www.opengis.net/def/rel/ogc/1.0/dataset"
	uriWebMercator    = "http://www.opengis.net/def/tilematrixset/OGC/1.0/WebMercatorQuad"
	crsWebMercator    = "http://www.opengis.net/def/crs/EPSG/0/3857"
	typeTileJSON      = "application/json"
)

// tilesAt is the address of the tilesets that a request is about, and carried
// what its parameters add to the addresses of tiles.
func (s *Server) tilesAt(r *http.Request, t *tiled) (at, carried string) {
	at = s.base(r) + "/tiles"
	if t.collection != nil {
		at = s.base(r) + "/collections/" + url.PathEscape(t.collection.ID) + "/tiles"
	}
	query := url.Values{}
	for name, value := range t.params {
		if name != "f" {
			query.Set(name, value)
		}
	}
	if isPast(r.Context()) {
		query.Set("as_of", r.URL.Query().Get("as_of"))
	}
	if len(query) > 0 {
		carried = "?" + query.Encode()
	}
	return at, carried
}

// tilesetOf is what a request describes a tileset with.
type tilesetOf struct {
	tiled
	at, carried string
	title, note string
	box         *orb.Bound // nil where there is nothing
}

// described reads a request for a description of tiles; known says that the
// client has it already.
func (s *Server) described(w http.ResponseWriter, r *http.Request) (d *tilesetOf, known bool, err error) {
	t, err := s.tiledOf(r, "f")
	if err != nil {
		return nil, false, err
	}
	if _, err := negotiate(r, t.params, typeJSON); err != nil {
		return nil, false, err
	}
	state, err := s.state(r.Context())
	if err != nil {
		return nil, false, err
	}
	if s.unchanged(w, r, s.etag(r, typeJSON, state), false) {
		return nil, true, nil
	}
	d = &tilesetOf{tiled: t, title: "Underbough", note: description}
	d.at, d.carried = s.tilesAt(r, &t)
	if t.collection != nil {
		d.title, d.note = t.collection.Title, t.layers[0].Layer.Note
	}
	for _, q := range t.layers {
		box, ok, err := s.tileExtents.find(r.Context(), state+s.pastInstant(r.Context()), q, s.config.Store)
		switch {
		case err != nil:
			return nil, false, err
		case ok && d.box == nil:
			d.box = &box
		case ok:
			*d.box = d.box.Union(box)
		}
	}
	return d, false, nil
}

// tileExtents remembers the box about what each layer shows of each site as long
// as nothing changes.
type tileExtents struct {
	mu    sync.Mutex
	state string
	boxes map[extentKey]extentBox
}

type extentKey struct {
	collection string
	site       inventory.SiteID
}

type extentBox struct {
	box orb.Bound
	ok  bool
}

func (e *tileExtents) find(ctx context.Context, state string, q inventory.TileQuery, store inventory.TileStore) (orb.Bound, bool, error) {
	key := extentKey{"trees", q.Site.V}
	if q.Layer.Collection == "targets" {
		key.collection = "targets"
	}
	e.mu.Lock()
	known, ok := e.boxes[key]
	ok = ok && e.state == state
	e.mu.Unlock()
	if ok {
		return known.box, known.ok, nil
	}
	box, found, err := store.TileExtent(ctx, q)
	if err != nil {
		return box, false, err
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.state != state {
		e.state, e.boxes = state, make(map[extentKey]extentBox)
	}
	e.boxes[key] = extentBox{box, found}
	return box, found, nil
}

// handleTilesets lists the tilesets of a collection or of everything: there is
// one.
func (s *Server) handleTilesets(w http.ResponseWriter, r *http.Request) error {
	d, known, err := s.described(w, r)
	if err != nil || known {
		return err
	}
	return writeJSON(w, r, object{
		{"links", s.alternates(r, typeJSON, describingForms)},
		{"tilesets", []object{s.tilesetHead(r, d).with(member{"links", s.tilesetLinks(r, d)[:2]})}},
	})
}

// handleTileset describes a tileset (OGC 17-083r4, clause 8).
func (s *Server) handleTileset(w http.ResponseWriter, r *http.Request) error {
	d, known, err := s.described(w, r)
	if err != nil || known {
		return err
	}
	out := s.tilesetHead(r, d).with(member{"links", append(s.tilesetLinks(r, d), s.alternates(r, typeJSON, describingForms)[1:]...)}, member{"tileMatrixSetLimits", d.limits()})
	var layers []object
	for _, q := range d.layers {
		l := q.Layer
		layers = append(layers, object{
			{"id", q.LayerName()}, {"title", l.Title}, {"description", l.Note}, {"dataType", "vector"}, {"geometryDimension", l.Dimension},
			{"minTileMatrix", strconv.Itoa(l.MinZoom)}, {"maxTileMatrix", strconv.Itoa(l.MaxZoom)}, {"propertiesSchema", layerSchema(l)},
		})
	}
	out = out.with(member{"layers", layers})
	if d.box != nil {
		b := *d.box
		out = out.with(member{"boundingBox", object{{"lowerLeft", b.Min}, {"upperRight", b.Max}, {"crs", crs84}}},
			member{"centerPoint", object{{"coordinates", b.Center()}, {"crs", crs84}, {"tileMatrix", strconv.Itoa(d.opening())}}})
	}
	return writeJSON(w, r, out)
}

func (s *Server) tilesetHead(r *http.Request, d *tilesetOf) object {
	return object{
		{"title", d.title}, {"description", d.note}, {"dataType", "vector"}, {"crs", crsWebMercator},
		{"tileMatrixSetURI", uriWebMercator}, {"mediaTypes", []string{typeMVT}},
	}
}

func (s *Server) tilesetLinks(r *http.Request, d *tilesetOf) []link {
	set := d.at + "/" + webMercatorQuad
	links := []link{
		{Href: set + d.carried, Rel: "self", Type: typeJSON, Title: d.title},
		{Href: s.base(r) + "/tileMatrixSets/" + webMercatorQuad, Rel: relTilingScheme, Type: typeJSON, Title: webMercatorQuad},
		{Href: set + "/{tileMatrix}/{tileRow}/{tileCol}" + d.carried, Rel: "item", Type: typeMVT, Title: "The tiles", Templated: true},
		{Href: set + "/tilejson" + d.carried, Rel: "describedby", Type: typeTileJSON, Title: "The tiles as TileJSON describes them"},
	}
	if d.collection != nil {
		return append(links, link{Href: s.base(r) + "/collections/" + url.PathEscape(d.collection.ID), Rel: "http://www.opengis.net/def/rel/ogc/1.0/geodata", Type: typeJSON, Title: d.collection.Title})
	}
	return append(links, link{Href: s.base(r) + "/", Rel: relDataset, Type: typeJSON, Title: "The inventory"})
}

// limits are the tiles of each level that anything lies in.
func (d *tilesetOf) limits() []object {
	list := []object{}
	if d.box == nil {
		return list
	}
	least, most := d.zooms()
	for z := least; z <= most; z++ {
		l := tiling.Cover(*d.box, z)
		// What trees can reach may lie in the next tile.
		last := 1<<z - 1
		list = append(list, object{{"tileMatrix", strconv.Itoa(z)},
			{"minTileRow", max(0, l.MinY-1)}, {"maxTileRow", min(last, l.MaxY+1)}, {"minTileCol", max(0, l.MinX-1)}, {"maxTileCol", min(last, l.MaxX+1)}})
	}
	return list
}

// opening is the level at which all of it fits in about two tiles.
func (d *tilesetOf) opening() int {
	least, most := d.zooms()
	z := most
	for ; z > least; z-- {
		if l := tiling.Cover(*d.box, z); l.MaxX-l.MinX < 2 && l.MaxY-l.MinY < 2 {
			break
		}
	}
	return z
}

// layerSchema is a layer's values as a JSON schema.
func layerSchema(l *inventory.TileLayer) object {
	var properties object
	for _, f := range l.Fields {
		kind := "string"
		if f.Numeric {
			kind = "number"
		}
		p := object{{"type", kind}}
		if f.Note != "" {
			p = p.with(member{"description", f.Note})
		}
		properties = append(properties, member{f.Name, p})
	}
	return object{{"type", "object"}, {"properties", properties}}
}

// handleTileJSON describes tiles as TileJSON 3.0.0. Its z, y and x stand where
// the level, the row and the column do.
func (s *Server) handleTileJSON(w http.ResponseWriter, r *http.Request) error {
	d, known, err := s.described(w, r)
	if err != nil || known {
		return err
	}
	return writeJSON(w, r, d.tileJSON())
}

func (d *tilesetOf) tileJSON() object {
	least, most := d.zooms()
	out := object{
		{"tilejson", "3.0.0"}, {"name", d.title}, {"description", d.note}, {"scheme", "xyz"}, {"version", "1.0.0"},
		{"tiles", []string{d.at + "/" + webMercatorQuad + "/{z}/{y}/{x}" + d.carried}},
		{"minzoom", least}, {"maxzoom", most}, {"vector_layers", vectorLayers(d.layers)},
	}
	if d.box != nil {
		b := *d.box
		out = out.with(member{"bounds", []float64{b.Min[0], b.Min[1], b.Max[0], b.Max[1]}},
			member{"center", []float64{b.Center()[0], b.Center()[1], float64(d.opening())}})
	}
	return out
}

func vectorLayers(layers []inventory.TileQuery) (list []object) {
	for _, q := range layers {
		var fields object
		for _, f := range q.Layer.Fields {
			kind := "String"
			if f.Numeric {
				kind = "Number"
			}
			fields = append(fields, member{f.Name, kind})
		}
		list = append(list, object{{"id", q.LayerName()}, {"description", q.Layer.Note}, {"minzoom", q.Layer.MinZoom}, {"maxzoom", q.Layer.MaxZoom}, {"fields", fields}})
	}
	return list
}
