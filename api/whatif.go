package api

import (
	"net/http"

	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// maxChanges is how many things may be supposed at a time.
const maxChanges = 20

var whatIfForms = []string{typeJSON, typeGeoJSON, typeCSV}

// handleWhatIf says how trees would rank if things were otherwise. It changes
// nothing, and so is asked with GET.
func (s *Server) handleWhatIf(w http.ResponseWriter, r *http.Request) error {
	p, texts, err := parseRepeated(r, "change", "site", "change", "by", "f")
	if err != nil {
		return err
	}
	form, err := negotiate(r, p, whatIfForms...)
	if err != nil {
		return err
	}
	changes, err := parseChanges(texts)
	if err != nil {
		return err
	}
	by, err := p.by()
	if err != nil {
		return err
	}
	site, err := s.site(r.Context(), p["site"])
	if err != nil {
		return err
	}
	run, err := s.bringUpToDate(r.Context(), site)
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
	contentType(w, form)
	if s.unchanged(w, r, s.etag(r, form, state), true) {
		return nil
	}
	done, err := s.waitToSweep(r.Context())
	if err != nil {
		return err
	}
	answer, err := question.WhatIf(r.Context(), s.config.Store, site, changes, by, s.config.Profile, s.now(r.Context()))
	done()
	if err != nil {
		return blame("change", err)
	}
	// What is not there is known only once it was looked for, to HEAD too.
	if r.Method == http.MethodHead {
		return nil
	}
	return s.writeListing(w, s.listMoves(r, answer, texts, form), form)
}

func parseChanges(texts []string) ([]ranking.Change, error) {
	switch n := len(texts); {
	case n == 0:
		return nil, &parameterError{"change", "missing: give one or more of " + ranking.ChangeForms}
	case n > maxChanges:
		return nil, &parameterError{"change", "given too often: 20 at most"}
	}
	changes := make([]ranking.Change, len(texts))
	for i, text := range texts {
		var err error
		if changes[i], err = ranking.ParseChange(text); err != nil {
			return nil, &parameterError{"change", err.Error()}
		}
	}
	return changes, nil
}

func (s *Server) listMoves(r *http.Request, a *question.Supposed, texts []string, form string) *listing {
	head := append(s.basis(a.Site, a.Run),
		ranking.Property{Name: "by", Value: string(a.By)},
		ranking.Property{Name: "changes", Value: texts},
		ranking.Property{Name: "note", Value: "Nothing was stored. Listed are the trees that the changes reach; others only move past them."})
	var empty question.SupposedMove
	return &listing{
		head: head, columns: columnsOf(empty.Properties()), points: true, matched: len(a.Moves), links: s.alternates(r, form, whatIfForms),
		rows: func(yield func(listed, error) bool) {
			for i := range a.Moves {
				m := &a.Moves[i]
				if !yield(listed{id: int64(m.Tree.ID), geometry: m.Tree.Point, properties: m.Properties()}, nil) {
					return
				}
			}
		},
	}
}
