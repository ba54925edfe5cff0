package api

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"html"
	"mime"
	"net/http"
	"net/url"
	"path"

	"github.com/go-chi/chi/v5"

	"github.com/underbough/underbough/api/viewer"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
)

// mapPolicy keeps the page to what comes from here, and from the operator's
// basemap where there is one.
func (s *Server) mapPolicy() string {
	tiles := s.config.basemapOrigin()
	return "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:" + tiles + "; worker-src 'self'; connect-src 'self'" + tiles + "; manifest-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'self'"
}

// workerPolicy keeps the page's service worker to the same.
const workerPolicy = "default-src 'none'; script-src 'self'; connect-src 'self'"

// handleMap serves the map page; where it has not been built, how to get it.
func (s *Server) handleMap(w http.ResponseWriter, r *http.Request) error {
	page, built := viewer.Page()
	if built {
		go s.gatherAhead(context.WithoutCancel(r.Context()))
	}
	// The page asks for its parts below the path it is reached at.
	base, err := url.Parse(s.base(r))
	if err != nil {
		return err
	}
	page = bytes.ReplaceAll(page, []byte("%BASE%"), []byte(html.EscapeString(base.Path)))
	page = bytes.ReplaceAll(page, []byte("%CAUTIONS%"), []byte(html.EscapeString(question.Cautions)))
	page = bytes.ReplaceAll(page, []byte("%BASEMAP%"), []byte(html.EscapeString(s.config.Basemap)))
	page = bytes.ReplaceAll(page, []byte("%CREDIT%"), []byte(html.EscapeString(s.config.BasemapCredit)))
	w.Header().Set("Content-Security-Policy", s.mapPolicy())
	w.Header().Set("Referrer-Policy", "same-origin")
	if !built {
		w.Header().Set("Cache-Control", "no-store")
	}
	return writeFile(w, r, "index.html", page)
}

// gatherAhead makes the trees ready that the page will ask for: meanwhile the
// browser loads the rest of it.
func (s *Server) gatherAhead(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, s.config.RequestTimeout)
	defer cancel()
	var err error
	func() {
		defer inventory.Recover(&err)
		var state string
		if state, err = s.state(ctx); err == nil {
			err = s.config.Store.GatherTrees(ctx, s.config.Client, state)
		}
	}()
	if err != nil { // who asks is told; this is only ahead of them
		s.config.Log.Debug("trees are not gathered ahead", "error", err)
	}
}

// handleMapFile serves a part of the map page.
func (s *Server) handleMapFile(w http.ResponseWriter, r *http.Request) error {
	name := chi.URLParam(r, "*")
	body, err := viewer.File(name)
	if err != nil {
		return inventory.Errorf(inventory.NotFound, "the map page has no part %q", name)
	}
	switch {
	case name == "sw.js":
		// The worker lies below the page, and answers for the page too.
		base, err := url.Parse(s.base(r))
		if err != nil {
			return err
		}
		w.Header().Set("Service-Worker-Allowed", base.EscapedPath()+"/map")
		w.Header().Set("Content-Security-Policy", workerPolicy)
	case path.Ext(name) == ".webmanifest":
		w.Header().Set("Content-Type", "application/manifest+json")
	}
	return writeFile(w, r, name, body)
}

func writeFile(w http.ResponseWriter, r *http.Request, name string, body []byte) error {
	sum := sha256.Sum256(body)
	tag := hex.EncodeToString(sum[:12])
	h := w.Header()
	if h.Get("Content-Type") == "" {
		h.Set("Content-Type", mime.TypeByExtension(path.Ext(name)))
	}
	h.Set("ETag", `"`+tag+`"`)
	if h.Get("Cache-Control") == "" {
		h.Set("Cache-Control", "no-cache")
	}
	if tagListed(r.Header.Get("If-None-Match"), tag) {
		w.WriteHeader(http.StatusNotModified)
		return nil
	}
	return writeBody(w, r, body)
}
