package api

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/tiling"
)

// typeMVT is the media type of Mapbox Vector Tiles.
const typeMVT = "application/vnd.mapbox-vector-tile"

// webMercatorQuad is the one tile matrix set that tiles are made in.
const webMercatorQuad = "WebMercatorQuad"

// tileParams are what tiles can be asked with. They go on from a description to
// the tiles that it links.
var tileParams = []string{"site", "as_of"}

// tiled is what a request asks tiles of: layers, and what of them.
type tiled struct {
	params     params
	collection *inventory.Collection // nil for the whole of the inventory
	layers     []inventory.TileQuery
}

// tiledOf reads what a request asks tiles of: a collection in the path, or
// everything, of which the parameter collections chooses.
func (s *Server) tiledOf(r *http.Request, more ...string) (t tiled, err error) {
	id := chi.URLParam(r, "collection")
	known := slices.Concat(tileParams, more)
	if id != "" {
		if t.collection, err = s.collectionOf(r); err != nil {
			return t, err
		}
		known = append(known, "filter", "filter-lang", "filter-crs")
	} else {
		known = append(known, "collections")
	}
	if t.params, err = parseParams(r, known...); err != nil {
		return t, err
	}
	if set := chi.URLParam(r, "set"); set != "" && set != webMercatorQuad {
		return t, inventory.Errorf(inventory.NotFound, "there is no tile matrix set %q here: tiles are in %s", set, webMercatorQuad)
	}
	site := inventory.Opt[inventory.SiteID]{}
	if name, ok := t.params["site"]; ok {
		found, err := s.site(r.Context(), name)
		if err != nil {
			return t, err
		}
		site = inventory.Some(found.ID)
	}
	if t.collection == nil {
		return t, t.choose(s.config.Client, site)
	}
	q := inventory.TileQuery{Client: s.config.Client, Site: site, Name: t.collection.ID}
	for i := range inventory.TileLayers {
		if l := &inventory.TileLayers[i]; l.Collection != "" && l.Collection == t.collection.Base() {
			q.Layer = l
		}
	}
	if q.Layer == nil {
		return t, inventory.Errorf(inventory.NotFound, "there are no tiles of %s: there are of trees, targets and zones", t.collection.ID)
	}
	if _, ok := t.params["filter"]; ok && t.collection.Computed {
		return t, &parameterError{"filter", t.collection.ID + " is worked out and its tiles cannot be filtered"}
	}
	q.Filter, err = s.filterOf(r.Context(), t.params, t.collection)
	t.layers = []inventory.TileQuery{q}
	return t, err
}

// choose picks the layers that the parameter collections names; all without it.
func (t *tiled) choose(client inventory.ClientID, site inventory.Opt[inventory.SiteID]) error {
	var chosen []string
	if list, ok := t.params["collections"]; ok {
		chosen = strings.Split(list, ",")
		for _, id := range chosen {
			if _, ok := inventory.GetTileLayer(id); !ok {
				return paramError("collections", id, "expected some of "+strings.Join(layerIDs(), ", "))
			}
		}
	}
	for i := range inventory.TileLayers {
		if l := &inventory.TileLayers[i]; chosen == nil || slices.Contains(chosen, l.ID) {
			t.layers = append(t.layers, inventory.TileQuery{Client: client, Site: site, Layer: l})
		}
	}
	return nil
}

func layerIDs() (list []string) {
	for _, l := range inventory.TileLayers {
		list = append(list, l.ID)
	}
	return list
}

// zooms are the levels that there are tiles at.
func (t *tiled) zooms() (least, most int) {
	least, most = tiling.MaxZoom, 0
	for _, q := range t.layers {
		least, most = min(least, q.Layer.MinZoom), max(most, q.Layer.MaxZoom)
	}
	return least, most
}

// tile reads the place of a tile from the path: the level, then the row and then
// the column.
func (t *tiled) tile(r *http.Request) (tile tiling.Tile, err error) {
	for name, into := range map[string]*int{"matrix": &tile.Z, "row": &tile.Y, "column": &tile.X} {
		given := chi.URLParam(r, name)
		n, err := strconv.Atoi(given)
		if err != nil || strconv.Itoa(n) != given {
			return tile, inventory.Errorf(inventory.NotFound, "there is no tile with the %s %q: expected whole numbers, the level, the row and the column", name, given)
		}
		*into = n
	}
	least, most := t.zooms()
	if tile.Z < least || tile.Z > most {
		return tile, inventory.Errorf(inventory.NotFound, "there are no tiles here at level %d: expected %d to %d", tile.Z, least, most)
	}
	if !tile.Valid() {
		return tile, inventory.Errorf(inventory.NotFound, "there is no row %d and column %d at level %d: expected 0 to %d", tile.Y, tile.X, tile.Z, 1<<tile.Z-1)
	}
	return tile, nil
}

// handleTile answers with a tile.
func (s *Server) handleTile(w http.ResponseWriter, r *http.Request) error {
	t, err := s.tiledOf(r, "f")
	if err != nil {
		return err
	}
	if f, ok := t.params["f"]; ok && f != "mvt" {
		return paramError("f", f, "tiles are served as mvt only")
	}
	if acceptance(r.Header["Accept"], typeMVT) == 0 {
		return &statusError{http.StatusNotAcceptable, "tiles are served as " + typeMVT + " only"}
	}
	tile, err := t.tile(r)
	if err != nil {
		return err
	}
	state, err := s.tileStates.read(r.Context(), s.state)
	if err != nil {
		return err
	}
	if isPast(r.Context()) {
		trees, err := inventory.GetCollection("trees")
		if err != nil {
			return err
		}
		if err := s.computedFor(r.Context(), trees); err != nil {
			return err
		}
	}
	tag := s.tileTag(r, &t, tile, state)
	zipped := acceptsGzip(r)
	sent := tag
	if zipped {
		sent += etagSuffix
	}
	h := w.Header()
	h.Set("ETag", `"`+sent+`"`)
	h.Set("Cache-Control", "no-cache")
	if tagListed(r.Header.Get("If-None-Match"), tag) {
		w.WriteHeader(http.StatusNotModified)
		return nil
	}
	kept, err := s.tiles.find(r.Context(), tag, func(ctx context.Context) ([]byte, error) {
		ctx, cancel := context.WithTimeout(ctx, s.config.RequestTimeout)
		defer cancel()
		return question.Tile(ctx, s.config.Store, t.layers, tile, state+s.pastInstant(ctx))
	})
	if err != nil {
		return err
	}
	if len(kept.plain) == 0 {
		w.WriteHeader(http.StatusNoContent)
		return nil
	}
	h.Set("Content-Type", typeMVT)
	if zipped {
		h.Set("Content-Encoding", "gzip")
		return writeBody(w, r, kept.gzipped())
	}
	// A part of it is served too: GDAL reads tiles over the web so. A range may be
	// left aside, and several are, and one beyond the end.
	if !isPart(r.Header.Get("Range"), len(kept.plain)) {
		r = r.Clone(r.Context())
		r.Header.Del("Range")
	}
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(kept.plain))
	return nil
}

var partForm = regexp.MustCompile(`^bytes=([0-9]{0,9})-([0-9]{0,9})$`)

// isPart reports whether a Range asks for one part of what has a size (RFC 9110,
// 14.1.2).
func isPart(given string, size int) bool {
	m := partForm.FindStringSubmatch(given)
	if m == nil {
		return false
	}
	first, errFirst := strconv.Atoi(m[1])
	last, errLast := strconv.Atoi(m[2])
	if errFirst != nil {
		return errLast == nil && last > 0 // the last bytes, that many
	}
	return first < size && (errLast != nil || last >= first)
}

// tileTag names a tile of one state of the inventory. It is the same under
// whatever address the service is reached at.
func (s *Server) tileTag(r *http.Request, t *tiled, tile tiling.Tile, state string) string {
	h := sha256.New()
	id := ""
	if t.collection != nil {
		id = t.collection.ID
	}
	query := url.Values{}
	for name, value := range t.params {
		if name != "f" {
			query.Set(name, value)
		}
	}
	for _, part := range []string{state, s.pastInstant(r.Context()), id, strconv.Itoa(tile.Z), strconv.Itoa(tile.Y), strconv.Itoa(tile.X), query.Encode()} {
		h.Write([]byte(part))
		h.Write([]byte{0})
	}
	return hex.EncodeToString(h.Sum(nil)[:12])
}

// acceptsGzip reports whether a client takes gzip (RFC 9110, 12.5.3).
func acceptsGzip(r *http.Request) bool {
	any := false
	for _, part := range strings.Split(strings.Join(r.Header["Accept-Encoding"], ","), ",") {
		coding, q, _ := strings.Cut(strings.ToLower(strings.TrimSpace(part)), ";")
		q = strings.ReplaceAll(q, " ", "")
		refused := q == "q=0" || q == "q=0.0" || q == "q=0.00" || q == "q=0.000"
		switch strings.TrimSpace(coding) {
		case "gzip", "x-gzip":
			return !refused
		case "*":
			any = !refused
		}
	}
	return any
}
