package api

import (
	"net/http"
	"slices"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

var placeForms = []string{typeJSON, typeGeoJSON, typeCSV}

type placesQuestion struct {
	site      inventory.Site
	form      string
	kinds     []inventory.TargetKind
	uncovered inventory.Opt[bool]
	limit     int
}

func (s *Server) placesQuery(r *http.Request) (q placesQuestion, err error) {
	p, err := parseParams(r, "site", "kind", "uncovered", "limit", "f")
	if err != nil {
		return q, err
	}
	if q.form, err = negotiate(r, p, placeForms...); err != nil {
		return q, err
	}
	if q.kinds, err = p.kinds("kind"); err != nil {
		return q, err
	}
	switch word, ok := p["uncovered"]; {
	case ok && word != "true" && word != "false":
		return q, paramError("uncovered", word, "expected true for places that no tree of the inventory reaches, or false for the others")
	case ok:
		q.uncovered = inventory.Some(word == "true")
	}
	if q.limit, err = p.limit(); err != nil {
		return q, err
	}
	q.site, err = s.site(r.Context(), p["site"])
	return q, err
}

// holds reports whether a place is asked for.
func (q *placesQuestion) holds(p *question.Place) bool {
	return (len(q.kinds) == 0 || slices.Contains(q.kinds, p.Target.Kind)) && (!q.uncovered.OK || q.uncovered.V != p.Covered())
}

// handlePlaces looks at a site from its targets' side: which place carries how
// much, from which trees.
func (s *Server) handlePlaces(w http.ResponseWriter, r *http.Request) error {
	q, err := s.placesQuery(r)
	if err != nil {
		return err
	}
	run, err := s.bringUpToDate(r.Context(), q.site)
	if err != nil {
		return err
	}
	if err := checkSweep(run, false, 0); err != nil {
		return err
	}
	state, err := s.state(r.Context())
	if err != nil {
		return err
	}
	contentType(w, q.form)
	if s.unchanged(w, r, s.etag(r, q.form, state), true) || r.Method == http.MethodHead {
		return nil
	}
	done, err := s.waitToSweep(r.Context())
	if err != nil {
		return err
	}
	places, err := question.Places(r.Context(), s.config.Store, ranking.Sweep{Site: q.site, Profile: s.config.Profile, AsOf: s.now(r.Context())})
	done()
	if err != nil {
		return err
	}
	places = slices.DeleteFunc(places, func(p question.Place) bool { return !q.holds(&p) })
	matched := len(places)
	places = places[:min(matched, q.limit)]
	var empty question.Place
	return s.writeListing(w, &listing{
		head: s.basis(q.site, run), columns: columnsOf(empty.Properties()), points: true, matched: matched, links: s.alternates(r, q.form, placeForms),
		rows: func(yield func(listed, error) bool) {
			for i := range places {
				p := &places[i]
				if !yield(listed{id: int64(p.Target.ID), geometry: p.At, properties: p.Properties()}, nil) {
					return
				}
			}
		},
	}, q.form)
}
