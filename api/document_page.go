package api

import (
	"bytes"
	"cmp"
	"encoding/json"
	"net/http"
	"strings"
)

// node is a part of a JSON document as a page shows it.
type node struct {
	Name  string
	Text  string // of a value
	Href  string // of a link
	Parts []node // of an object or a list
}

// capture takes an answer instead of a client.
type capture struct {
	header http.Header
	status int
	body   bytes.Buffer
}

func (c *capture) Header() http.Header { return c.header }

func (c *capture) WriteHeader(status int) {
	if c.status == 0 {
		c.status = status
	}
}

func (c *capture) Write(b []byte) (int, error) {
	c.WriteHeader(http.StatusOK)
	return c.body.Write(b)
}

// paged gives what is described in JSON an HTML form, which shows the document
// as it is.
func (s *Server) paged(title string, h handler) handler {
	return func(w http.ResponseWriter, r *http.Request) error {
		p := params{}
		query := r.URL.Query()
		if f := query["f"]; len(f) == 1 {
			p["f"] = f[0]
		}
		form, err := negotiate(r, p, describingForms...)
		if err != nil {
			return err
		}
		if form == typeJSON {
			w.Header().Add("Link", "<"+s.with(r, "f", "html")+`>; rel="alternate"; type="`+typeHTML+`"`)
			if err = h(w, r); err != nil {
				w.Header().Del("Link")
			}
			return err
		}
		query.Del("f")
		plain := r.Clone(r.Context())
		plain.Method, plain.URL.RawQuery = http.MethodGet, query.Encode()
		plain.Header.Set("Accept", typeJSON)
		plain.Header.Del("If-None-Match")
		taken := &capture{header: http.Header{}}
		if err := h(taken, plain); err != nil {
			return err
		}
		parts, err := nodesOf(taken.body.Bytes())
		if err != nil {
			return err
		}
		d := &describing{s: s, w: w, r: r, form: typeHTML, forms: describingForms}
		out := htmlPage{Title: title, Data: parts}
		if at := strings.Split(strings.Trim(r.URL.Path, "/"), "/"); at[0] == "collections" && len(at) > 1 {
			base := s.base(r) + "/collections"
			out.Trail = []step{{base + "?f=html", "Collections"}, {base + "/" + at[1] + "?f=html", at[1]}}
		}
		return d.page("document", out)
	}
}

// nodesOf opens an object.
func nodesOf(body []byte) ([]node, error) {
	names, values, err := decodeRow(body)
	if err != nil {
		return nil, err
	}
	out := make([]node, len(names))
	for i, name := range names {
		if out[i], err = nodeOf(values[i]); err != nil {
			return nil, err
		}
		out[i].Name = strings.ReplaceAll(name, "_", " ")
	}
	return out, nil
}

// nodeOfLink shows a link as one, or its address where that has variables.
func nodeOfLink(l link) node {
	n := node{Text: cmp.Or(l.Title, l.Rel), Href: l.Href}
	if l.Templated {
		n.Text, n.Href = n.Text+": "+l.Href, ""
	}
	n.Text += " (" + l.Type + ")"
	return n
}

func nodeOf(raw json.RawMessage) (n node, err error) {
	switch raw[0] {
	case '{':
		var l link
		if json.Unmarshal(raw, &l) == nil && l.Href != "" && l.Rel != "" {
			return nodeOfLink(l), nil
		}
		n.Parts, err = nodesOf(raw)
	case '[':
		var list []json.RawMessage
		if err := json.Unmarshal(raw, &list); err != nil {
			return n, err
		}
		if len(list) > 0 && list[0][0] != '{' && list[0][0] != '[' {
			words := make([]string, len(list))
			for i := range list {
				words[i] = plainText(list[i])
			}
			n.Text = strings.Join(words, ", ")
			return n, nil
		}
		n.Parts = make([]node, len(list))
		for i := range list {
			if n.Parts[i], err = nodeOf(list[i]); err != nil {
				return n, err
			}
		}
	default:
		n.Text = plainText(raw)
	}
	return n, err
}
