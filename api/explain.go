package api

import (
	"net/http"
	"strings"

	"github.com/underbough/underbough/inventory/question"
)

// tag reads which tree is asked about.
func (p params) tag() (string, error) {
	tag, ok := p["tag"]
	if !ok {
		return "", &parameterError{"tag", "missing: give the tag or the source id of a tree"}
	}
	if strings.ContainsRune(tag, 0) || strings.ToValidUTF8(tag, "") != tag {
		return "", paramError("tag", tag, "expected text in UTF-8")
	}
	return tag, nil
}

// handleExplain opens one tree's sum down to each overlap, under the names that
// the command explain gives it.
func (s *Server) handleExplain(w http.ResponseWriter, r *http.Request) error {
	p, err := parseParams(r, "site", "tag", "f")
	if err != nil {
		return err
	}
	form, err := negotiate(r, p, typeJSON)
	if err != nil {
		return err
	}
	tag, err := p.tag()
	if err != nil {
		return err
	}
	site, err := s.site(r.Context(), p["site"])
	if err != nil {
		return err
	}
	state, err := s.state(r.Context())
	if err != nil {
		return err
	}
	contentType(w, form)
	if s.unchanged(w, r, s.etag(r, form, state), false) {
		return nil
	}
	x, err := question.Explain(r.Context(), s.config.Store, site, tag, s.config.Profile, s.now(r.Context()))
	if err != nil {
		return blame("tag", err)
	}
	body := appendProperties([]byte{'{'}, x.Properties(site, s.now(r.Context())))
	body = appendLinks(append(body, `,"links":`...), []link{{Href: s.self(r), Rel: "self", Type: typeJSON}})
	return writeBody(w, r, append(body, '}', '\n'))
}
