package api

import (
	"net/http"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
)

type dueAnswer struct {
	Site     string    `json:"site"`
	Until    string    `json:"until"`
	Trees    []dueTree `json:"trees"`
	Cautions string    `json:"cautions"`
	Links    []link    `json:"links"`
}

type dueTree struct {
	Tree    inventory.TreeID `json:"tree_id"`
	Tag     string           `json:"tag"`
	Species string           `json:"species"`
	LastOn  *string          `json:"last_visit"`
	NextOn  *string          `json:"next_visit"`
	Overdue bool             `json:"overdue"`
	Never   bool             `json:"never_visited"` // carries old bad cuts and was never looked at
}

// handleDue lists the trees that somebody asked to be looked at again by a day,
// and those with old bad cuts that nobody ever looked at.
func (s *Server) handleDue(w http.ResponseWriter, r *http.Request) error {
	p, err := parseParams(r, "site", "until", "f")
	if err != nil {
		return err
	}
	if _, err := negotiate(r, p, typeJSON); err != nil {
		return err
	}
	y, m, d := s.now(r.Context()).UTC().Date()
	today := time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
	until := today
	if text, ok := p["until"]; ok {
		if until, err = time.Parse(time.DateOnly, text); err != nil || until.Year() < 1 {
			return paramError("until", text, "expected a day such as 2027-12-31")
		}
	}
	site, err := s.site(r.Context(), p["site"])
	if err != nil {
		return err
	}
	list, err := s.config.Store.DueVisits(r.Context(), site, until)
	if err != nil {
		return err
	}
	out := dueAnswer{Site: site.Name, Until: until.Format(time.DateOnly), Trees: []dueTree{}, Cautions: question.Cautions, Links: []link{{Href: s.self(r), Rel: "self", Type: typeJSON}}}
	for _, d := range list {
		one := dueTree{Tree: d.Tree, Tag: d.Label, Species: d.Species, Never: d.Never}
		if !d.Never {
			last, next := d.LastOn.Format(time.DateOnly), d.NextOn.Format(time.DateOnly)
			one.LastOn, one.NextOn, one.Overdue = &last, &next, d.NextOn.Before(today)
		}
		out.Trees = append(out.Trees, one)
	}
	return s.sendTagged(w, r, &out)
}

type effectAnswer struct {
	Site       string  `json:"site"`
	Year       *int    `json:"year"` // null for all
	Jobs       int     `json:"jobs"` // done or checked, whose tree was computed again
	Before     float64 `json:"harm_index_before"`
	Predicted  float64 `json:"harm_index_predicted"` // by the client's assumption
	After      float64 `json:"harm_index_after"`     // as computed once the work was done
	Assumption string  `json:"assumption"`
	Cautions   string  `json:"cautions"`
	Links      []link  `json:"links"`
}

// handleEffect says how much harm work took off, as predicted and as computed
// again.
func (s *Server) handleEffect(w http.ResponseWriter, r *http.Request) error {
	p, err := parseParams(r, "site", "year", "f")
	if err != nil {
		return err
	}
	if _, err := negotiate(r, p, typeJSON); err != nil {
		return err
	}
	q := inventory.JobQuery{Client: s.config.Client, States: []inventory.JobState{inventory.Done, inventory.Checked}}
	if q.Year, err = p.whole("year", 0, 1900, 2200); err != nil {
		return err
	}
	site, err := s.site(r.Context(), p["site"])
	if err != nil {
		return err
	}
	q.Site = site.ID
	list, err := s.config.Store.FindJobs(r.Context(), q)
	if err != nil {
		return err
	}
	e := question.EffectOf(list)
	out := effectAnswer{Site: site.Name, Jobs: e.Jobs, Before: e.Before * 1000, Predicted: e.Predicted * 1000, After: e.After * 1000,
		Assumption: question.EffectAssumption, Cautions: question.Cautions, Links: []link{{Href: s.self(r), Rel: "self", Type: typeJSON}}}
	if q.Year != 0 {
		out.Year = &q.Year
	}
	return s.sendTagged(w, r, &out)
}
