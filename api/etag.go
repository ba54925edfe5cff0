package api

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"time"
)

// etagSuffix marks the tag of a compressed answer; the name of the coding
// follows it.
const etagSuffix = "+gzip"

// etag names the representation that a request gets while the inventory is in
// one state: everything the answer depends on goes into it.
func (s *Server) etag(r *http.Request, mediaType, state string) string {
	h := sha256.New()
	for _, part := range []string{state, s.config.Profile.Digest, s.now(r.Context()).Format(time.DateOnly), mediaType, s.self(r)} {
		h.Write([]byte(part))
		h.Write([]byte{0})
	}
	return hex.EncodeToString(h.Sum(nil)[:12])
}

// unchanged sets the tag of an answer and reports whether the client has it
// already; it is answered then. weak is for answers that also say when they
// were made, of which no two are alike to the byte.
func (s *Server) unchanged(w http.ResponseWriter, r *http.Request, tag string, weak bool) bool {
	quoted := `"` + tag + `"`
	if weak {
		quoted = "W/" + quoted
	}
	h := w.Header()
	h.Set("ETag", quoted)
	// Kept, but asked about each time: an edit shows at once.
	h.Set("Cache-Control", "no-cache")
	h.Add("Vary", "Accept")
	if !tagListed(r.Header.Get("If-None-Match"), tag) {
		return false
	}
	w.WriteHeader(http.StatusNotModified)
	return true
}

// tagListed reports whether If-None-Match names a tag, by weak comparison and
// in any content coding.
func tagListed(header, tag string) bool { return listsTag(header, tag, true) }

func (s *Server) state(ctx context.Context) (string, error) {
	return s.config.Store.FeatureState(ctx, s.config.Client)
}
