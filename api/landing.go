package api

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"html/template"
	"net/http"
	"regexp"

	"github.com/underbough/underbough/inventory"
)

//go:embed landing.html
var landingText string

var landingTemplate = template.Must(template.New("landing").Parse(landingText))

// landingPolicy lets the page use its own style and nothing else.
var landingPolicy = func() string {
	style := regexp.MustCompile(`(?s)<style>(.*?)</style>`).FindStringSubmatch(landingText)[1]
	sum := sha256.Sum256([]byte(style))
	return "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'self'; img-src data:; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}()

func (s *Server) landingPage(w http.ResponseWriter, r *http.Request) error {
	sites, err := s.config.Store.FindSites(r.Context(), s.config.Client)
	if err != nil {
		return err
	}
	var body bytes.Buffer
	err = landingTemplate.Execute(&body, map[string]any{
		"Base": s.base(r), "Description": description, "Collections": inventory.Collections, "Sites": sites,
	})
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", typeHTML+"; charset=utf-8")
	w.Header().Set("Content-Security-Policy", landingPolicy)
	return writeBody(w, r, body.Bytes())
}
