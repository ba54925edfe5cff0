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
	get("/conformance", s.handleConformance)
	get("/collections", s.handleCollections)
	get("/collections/{collection}", s.handleCollection)
	get("/collections/{collection}/items", s.handleItems)
	get("/collections/{collection}/items/{feature}", s.handleItem)
	get("/ranking", s.handleRanking)
	get("/what-if", s.handleWhatIf)
	get("/explain", s.handleExplain)
	get("/hours", s.handleHours)
	get("/hours.svg", s.handleHoursChart)
	get("/places", s.handlePlaces)
	get("/grid", s.handleGrid)
	get("/rankings", s.handleRankings)
	get("/rankings/{ranking}", s.handleKept)
	get("/rankings/{ranking}/compare/{other}", s.handleCompare)
	get("/rankings/{ranking}/check", s.handleCheck)
	get("/map", s.handleMap)
	get("/map/*", s.handleMapFile)
	get("/healthz", s.handleHealth)
	get("/readyz", s.handleReady)
	r.NotFound(s.answer(func(_ http.ResponseWriter, r *http.Request) error {
		return inventory.Errorf(inventory.NotFound, "there is nothing at %s", r.URL.Path)
	}).ServeHTTP)
	r.MethodNotAllowed(s.answer(func(w http.ResponseWriter, r *http.Request) error {
		w.Header().Set("Allow", allowed)
		return &statusError{http.StatusMethodNotAllowed, r.Method + " is not possible here: the service is read only"}
	}).ServeHTTP)

	compress, err := gzhttp.NewWrapper(gzhttp.CompressionLevel(2), gzhttp.SuffixETag(etagSuffix))
	if err != nil {
		panic("gzhttp: " + err.Error())
	}
	return s.logged(cors(withoutSlash(compress(r))))
}

// allowed are the methods of every path.
const allowed = "GET, HEAD, OPTIONS"

// handleOptions answers both those who ask what is possible and browsers that
// ask before a request from another origin.
func (s *Server) handleOptions(w http.ResponseWriter, r *http.Request) error {
	w.Header().Set("Allow", allowed)
	if r.Header.Get("Access-Control-Request-Method") != "" {
		w.Header().Set("Access-Control-Allow-Methods", allowed)
		w.Header().Set("Access-Control-Allow-Headers", "Accept, If-None-Match")
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
		w.Header().Set("Access-Control-Expose-Headers", "ETag, Link, Location, Content-Crs, OGC-NumberMatched, OGC-NumberReturned, Retry-After")
		w.Header().Set("X-Content-Type-Options", "nosniff")
		next.ServeHTTP(w, r)
	})
}

// withoutSlash serves a path with a slash at its end as the one without.
func withoutSlash(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
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
	typeJSON    = "application/json"
	typeGeoJSON = "application/geo+json"
	typeCSV     = "text/csv"
	typeSVG     = "image/svg+xml"
	typeHTML    = "text/html"
	typeProblem = "application/problem+json"
)

// negotiate picks the media type of an answer from those offered, the first
// for want of a wish: by the parameter f where it is given, by Accept else.
func negotiate(r *http.Request, p params, offered ...string) (string, error) {
	if f, ok := p["f"]; ok {
		want := map[string][]string{"json": {typeJSON, typeGeoJSON}, "geojson": {typeGeoJSON}, "csv": {typeCSV}, "html": {typeHTML}}[f]
		for _, o := range offered {
			if slices.Contains(want, o) {
				return o, nil
			}
		}
		return "", paramError("f", f, "there is no such form of this: leave it out")
	}
	best, bestQ := "", 0.0
	for _, o := range offered {
		// Those who ask for plain JSON can read GeoJSON.
		q := acceptance(r.Header["Accept"], o)
		if o == typeGeoJSON {
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
