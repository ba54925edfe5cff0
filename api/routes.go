package api

import (
	"net/http"
	"slices"
	"strings"

	"github.com/go-chi/chi/v5"
	"github.com/klauspost/compress/gzhttp"

	"github.com/underbough/underbough/inventory"
)

// handler is an HTTP handler whose error is answered and logged in one place.
type handler func(w http.ResponseWriter, r *http.Request) error

func (s *Server) routes() http.Handler {
	r := chi.NewRouter()
	get := func(path string, h handler) {
		r.Method(http.MethodGet, path, s.answer(h))
		r.Method(http.MethodHead, path, s.answer(h))
		r.Method(http.MethodOptions, path, s.answer(s.handleOptions))
	}
	get("/", s.handleLanding)
	get("/api", s.handleDefinition)
	get("/conformance", s.handleConformance)
	get("/functions", s.handleFunctions)
	get("/collections", s.asOf(s.handleCollections))
	get("/collections/{collection}", s.asOf(s.handleCollection))
	get("/collections/{collection}/queryables", s.handleSchema((*Server).queryables))
	get("/collections/{collection}/sortables", s.handleSchema((*Server).sortables))
	get("/collections/{collection}/schema", s.handleSchema((*Server).schema))
	get("/collections/{collection}/schema/feature", s.handleSchema((*Server).featureSchema))
	get("/collections/{collection}/items", s.asOf(s.handleItems))
	get("/collections/{collection}/items/{feature}", s.asOf(s.handleItem))
	get("/collections/{collection}/export", s.asOf(s.handleExport))
	for _, of := range []string{"", "/collections/{collection}"} {
		get(of+"/tiles", s.asOf(s.paged("Tilesets", s.handleTilesets)))
		get(of+"/tiles/{set}", s.asOf(s.paged("Tiles", s.handleTileset)))
		get(of+"/tiles/{set}/tilejson", s.asOf(s.handleTileJSON))
		get(of+"/tiles/{set}/{matrix}/{row}/{column}", s.asOf(s.handleTile))
	}
	get("/tileMatrixSets", s.paged("Tile matrix sets", s.handleTileMatrixSets))
	get("/tileMatrixSets/{set}", s.paged("Tile matrix set", s.handleTileMatrixSet))
	get("/style.json", s.asOf(s.handleStyle))
	get("/ranking", s.asOf(s.handleRanking))
	get("/what-if", s.asOf(s.handleWhatIf))
	get("/explain", s.asOf(s.handleExplain))
	get("/hours", s.asOf(s.handleHours))
	get("/hours.svg", s.asOf(s.handleHoursChart))
	get("/hours/trees", s.asOf(s.handleTreeWeeks))
	get("/hours/places", s.asOf(s.handlePlaceWeeks))
	get("/places", s.asOf(s.handlePlaces))
	get("/places/{place}", s.asOf(s.handlePlace))
	get("/grid", s.asOf(s.handleGrid))
	get("/rankings", s.handleRankings)
	get("/rankings/{ranking}", s.handleKept)
	get("/rankings/{ranking}/compare/{other}", s.handleCompare)
	get("/rankings/{ranking}/check", s.handleCheck)
	get("/map", s.handleMap)
	get("/map/*", s.handleMapFile)
	get("/healthz", s.handleHealth)
	get("/readyz", s.handleReady)
	get("/questions", s.handleQuestions)
	get("/questions/{question}", s.handleQuestion)
	r.Method(http.MethodPut, "/questions/{question}", s.answer(s.handleSaveQuestion))
	r.Method(http.MethodDelete, "/questions/{question}", s.answer(s.handleDropQuestion))
	s.workRoutes(r, get)
	if s.uploads != nil {
		s.uploads.routes(r, get)
	}
	const items = "/collections/{collection}/items"
	r.Method(http.MethodPost, items, s.answer(s.handleCreate))
	r.Method(http.MethodPut, items+"/{feature}", s.answer(s.handleReplace))
	r.Method(http.MethodPatch, items+"/{feature}", s.answer(s.handleMerge))
	r.Method(http.MethodDelete, items+"/{feature}", s.answer(s.handleDelete))
	get("/collections/{collection}/deleted", s.paged("Deleted lately", s.handleDeleted))
	get(items+"/{feature}/history", s.paged("Change log", s.handleHistory))
	r.Method(http.MethodPost, items+"/{feature}/history", s.answer(s.handlePutBack))
	r.NotFound(s.answer(func(_ http.ResponseWriter, r *http.Request) error {
		return inventory.Errorf(inventory.NotFound, "there is nothing at %s", r.URL.Path)
	}).ServeHTTP)
	r.MethodNotAllowed(s.answer(func(w http.ResponseWriter, r *http.Request) error {
		return s.notAllowed(w, r, s.methods(r))
	}).ServeHTTP)

	s.router = r
	compress, err := gzhttp.NewWrapper(gzhttp.CompressionLevel(2), gzhttp.SuffixETag(etagSuffix), gzhttp.EnableZstd(true))
	if err != nil {
		panic("gzhttp: " + err.Error())
	}
	return s.logged(cors(withoutSlash(compress(r))))
}

// allowed are the methods of every path; see methods for those that edit.
const allowed = "GET, HEAD, OPTIONS"

// edits reports whether some of a path's methods change something.
func (s *Server) edits(methods string) bool {
	return methods != allowed && methods != http.MethodOptions
}

// handleOptions answers both those who ask what is possible and browsers that
// ask before a request from another origin.
func (s *Server) handleOptions(w http.ResponseWriter, r *http.Request) error {
	methods, headers := s.methods(r), "Accept, If-None-Match"
	w.Header().Set("Allow", methods)
	if strings.Contains(methods, http.MethodPost) {
		w.Header().Set("Accept-Post", acceptedPost(r.URL.Path))
	}
	if strings.Contains(methods, http.MethodPatch) {
		w.Header().Set("Accept-Patch", typeMergePatch)
	}
	if r.Header.Get("Access-Control-Request-Method") != "" {
		if !s.edits(methods) || s.checkOrigin(r) != nil {
			methods = allowed // pages of other sites read and no more
		} else {
			headers += ", Authorization, Content-Type, Content-Crs, Idempotency-Key, If-Match"
		}
		w.Header().Set("Access-Control-Allow-Methods", methods)
		w.Header().Set("Access-Control-Allow-Headers", headers)
		w.Header().Set("Access-Control-Max-Age", "86400")
	}
	w.WriteHeader(http.StatusOK)
	return nil
}

// cors lets pages of any origin read, errors included; there are no
// credentials that they could read with.
func cors(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Access-Control-Allow-Origin", "*")
		w.Header().Set("Access-Control-Expose-Headers", "Accept-Patch, Accept-Post, Allow, ETag, Link, Location, Content-Crs, OGC-NumberMatched, OGC-NumberReturned, Retry-After")
		w.Header().Set("X-Content-Type-Options", "nosniff")
		next.ServeHTTP(w, r)
	})
}

// withoutSlash serves a path with a slash at its end as the one without.
func withoutSlash(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.RawPath != "" && !strings.Contains(strings.ToLower(r.URL.RawPath), "%2f") {
			// What is encoded without need is the same path (RFC 3986, 6.2.2.2).
			r = r.Clone(r.Context())
			r.URL.RawPath = ""
		}
		if p := r.URL.Path; len(p) > 1 && strings.HasSuffix(p, "/") {
			r = r.Clone(r.Context())
			r.URL.Path = strings.TrimRight(p, "/")
			r.URL.RawPath = strings.TrimRight(r.URL.RawPath, "/")
			if r.URL.Path == "" {
				r.URL.Path = "/"
			}
		}
		next.ServeHTTP(w, r)
	})
}

// mediaType of what is served.
const (
	typeJSON       = "application/json"
	typeSchema     = "application/schema+json"
	typeOpenAPI    = "application/vnd.oai.openapi+json;version=3.0"
	typeGeoJSON    = "application/geo+json"
	typeGeoJSONSeq = "application/geo+json-seq"
	typeCSV        = "text/csv"
	typeSVG        = "image/svg+xml"
	typeHTML       = "text/html"
	typeYAML       = "application/yaml"
	typePDF        = "application/pdf"
	typeXLSX       = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
	typeProblem    = "application/problem+json"
)

// formTypes are the media types that each word of the parameter f stands for.
var formTypes = map[string][]string{
	"json":       {typeJSON, typeGeoJSON, typeSchema, typeOpenAPI},
	"geojson":    {typeGeoJSON},
	"geojsonseq": {typeGeoJSONSeq},
	"csv":        {typeCSV},
	"svg":        {typeSVG},
	"html":       {typeHTML},
	"pdf":        {typePDF},
	"xlsx":       {typeXLSX},
	"yaml":       {typeYAML},
}

// formNames are the words of the parameter f in the order they are offered.
var formNames = []string{"json", "geojson", "geojsonseq", "csv", "svg", "html", "pdf", "xlsx", "yaml"}

// negotiate picks the media type of an answer from those offered, the first
// for want of a wish: by the parameter f where it is given, by Accept else.
func negotiate(r *http.Request, p params, offered ...string) (string, error) {
	if f, ok := p["f"]; ok {
		for _, o := range offered {
			if slices.Contains(formTypes[f], o) {
				return o, nil
			}
		}
		return "", paramError("f", f, "there is no such form of this: leave it out")
	}
	best, bestQ := "", 0.0
	for _, o := range offered {
		// Those who ask for plain JSON can read what is written in it.
		name, _, _ := strings.Cut(o, ";")
		q := acceptance(r.Header["Accept"], name)
		if strings.HasSuffix(name, "+json") {
			q = max(q, acceptance(r.Header["Accept"], typeJSON))
		}
		if q > bestQ {
			best, bestQ = o, q
		}
	}
	if best == "" {
		return "", &statusError{http.StatusNotAcceptable, "this is served as " + strings.Join(offered, " or ") + " only"}
	}
	return best, nil
}
