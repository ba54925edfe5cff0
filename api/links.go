package api

import (
	"net/http"
	"net/url"
	"strings"
)

// link is one link of an answer.
type link struct {
	Href  string `json:"href"`
	Rel   string `json:"rel"`
	Type  string `json:"type,omitempty"`
	Title string `json:"title,omitempty"`
	// Templated is set where the address has variables in braces (RFC 6570).
	Templated bool `json:"templated,omitempty"`
}

// base returns the absolute address that the service is reached at, without a
// slash at its end.
func (s *Server) base(r *http.Request) string {
	if s.public != nil {
		return strings.TrimRight(s.public.String(), "/")
	}
	u := url.URL{Scheme: "http", Host: r.Host}
	if r.TLS != nil {
		u.Scheme = "https"
	}
	if s.config.TrustProxy {
		if v := forwarded(r, "X-Forwarded-Proto"); v == "http" || v == "https" {
			u.Scheme = v
		}
		if v := forwarded(r, "X-Forwarded-Host"); v != "" {
			u.Host = v
		}
		if v := forwarded(r, "X-Forwarded-Prefix"); strings.HasPrefix(v, "/") {
			u.Path = strings.TrimRight(v, "/")
		}
	}
	return u.String()
}

// forwarded returns the value that the first proxy of a row has set.
func forwarded(r *http.Request, name string) string {
	v, _, _ := strings.Cut(r.Header.Get(name), ",")
	return strings.TrimSpace(v)
}

// self returns the address of the request as links name it, with all of its
// parameters.
func (s *Server) self(r *http.Request) string {
	u := s.base(r) + r.URL.EscapedPath()
	if r.URL.RawQuery != "" {
		u += "?" + r.URL.Query().Encode()
	}
	return u
}

// with returns the address of the request with one parameter set anew.
func (s *Server) with(r *http.Request, name, value string) string {
	q := r.URL.Query()
	q.Set(name, value)
	return s.base(r) + r.URL.EscapedPath() + "?" + q.Encode()
}
