package api

import (
	"fmt"
	"math"
	"net/http"
	"strconv"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/pruning"
	"github.com/underbough/underbough/inventory/question"
)

type specificationAnswer struct {
	*question.SpecifiedDocument
	Links []link `json:"links"`
}

func (s *Server) specificationAnswer(r *http.Request, b *question.Basis, found *question.Specified) *specificationAnswer {
	base := s.base(r)
	return &specificationAnswer{found.Document(b), []link{
		{Href: s.self(r), Rel: "self", Type: typeJSON},
		{Href: fmt.Sprintf("%s/collections/trees/items/%d", base, found.Tree.ID), Rel: "related", Type: typeGeoJSON, Title: "The tree"},
		{Href: base + "/practice", Rel: "related", Type: typeYAML, Title: "What specifications, windows, costs and effects assume"},
	}}
}

// handleSpecification says what to cut on one tree.
func (s *Server) handleSpecification(w http.ResponseWriter, r *http.Request) error {
	p, err := parseParams(r, "site", "tag", "f")
	if err != nil {
		return err
	}
	if _, err := negotiate(r, p, typeJSON); err != nil {
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
	b := s.workBasis(r.Context(), site)
	found, err := question.Specify(r.Context(), s.config.Store, b, tag)
	if err != nil {
		return blame("tag", err)
	}
	return s.sendTagged(w, r, s.specificationAnswer(r, b, found))
}

// handleChangeSpecification keeps a specification as a person wants it.
func (s *Server) handleChangeSpecification(w http.ResponseWriter, r *http.Request) error {
	p, actor, err := s.beginWork(w, r, "site", "tag")
	if err != nil {
		return err
	}
	tag, err := p.tag()
	if err != nil {
		return err
	}
	f, err := readFields(w, r)
	if err != nil {
		return err
	}
	change := readChange(f)
	change.By, change.At = s.by(actor, f), s.config.Now().UTC()
	if err := f.end(); err != nil {
		return err
	}
	if changesNothing(&change) {
		return invalid("the body changes nothing: give some of work, objective, visits, lateral_share, cycle_years, add, note")
	}
	site, err := s.site(r.Context(), p["site"])
	if err != nil {
		return err
	}
	b := s.workBasis(r.Context(), site)
	found, err := question.ChangeSpecification(r.Context(), s.config.Store, b, tag, change)
	if err != nil {
		if inventory.KindOf(err) == inventory.NotFound {
			return blame("tag", err)
		}
		return err
	}
	return writeMade(w, http.StatusOK, s.specificationAnswer(r, b, found))
}

// readChange reads what a person sets of a specification.
func readChange(f *fields) pruning.Change {
	ch := pruning.Change{Objective: f.text("objective"), LateralShare: f.number("lateral_share", 1), CycleYears: f.whole("cycle_years"), Note: f.text("note"), Reason: f.text("reason").V}
	if work := f.text("work"); work.OK {
		ch.Work = inventory.Some(practice.Work(work.V))
	}
	f.each("visits", func(f *fields) {
		f.need("number", "the number of a visit, from 1")
		ch.Visits = append(ch.Visits, pruning.VisitChange{Number: f.whole("number").V, Dose: f.number("dose", 1), AfterYears: f.whole("after_years")})
	})
	f.each("add", func(f *fields) {
		f.need("visit", "the number of a visit, from 1")
		f.need("item", "an instruction")
		add := pruning.AddedItem{Visit: f.whole("visit").V}
		f.one("item", func(f *fields) { add.Item = readItem(f) })
		ch.Add = append(ch.Add, add)
	})
	return ch
}

func changesNothing(ch *pruning.Change) bool {
	return !ch.Work.OK && !ch.Objective.OK && !ch.LateralShare.OK && !ch.CycleYears.OK && !ch.Note.OK && len(ch.Visits) == 0 && len(ch.Add) == 0
}

// readItem reads an instruction under the names that a specification has for its
// members; which rule it comes from is not asked.
func readItem(f *fields) pruning.Item {
	f.text("rule")
	return pruning.Item{
		Cut: inventory.CutKind(f.text("cut").V), Place: pruning.Place(f.text("place").V), OnCut: inventory.CutID(f.whole("on_cut").V),
		Bearing: f.number("bearing_deg", 1), Height: f.number("height_m", 1), Reach: f.number("reach_m", 1),
		SizeFrom: f.number("size_from_m", 1).V, SizeTo: f.number("size_to_m", 1).V, LateralShare: f.number("lateral_share", 1).V, Text: f.text("text").V,
	}
}

type reductionAnswer struct {
	*pruning.Reduction
	Assumptions    []string `json:"assumptions"`
	Practice       string   `json:"practice"`
	PracticeDigest string   `json:"practice_digest"`
	Cautions       string   `json:"cautions"`
	Links          []link   `json:"links"`
}

// measure reads a length in some unit; missing is missing.
func (p params) measure(name string, unit, least, most float64, what string) (out inventory.Opt[float64], err error) {
	text, ok := p[name]
	if !ok {
		return out, nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || v < least || v > most {
		return out, paramError(name, text, fmt.Sprintf("expected %s from %v to %v", what, least, most))
	}
	return inventory.Some(v * unit), nil
}

// handleReduction works out what cutting a limb back to a lateral takes off.
func (s *Server) handleReduction(w http.ResponseWriter, r *http.Request) error {
	p, err := parseParams(r, "length_m", "base_diameter_cm", "lateral_diameter_cm", "lateral_distance_m", "limb_diameter_cm", "angle_deg", "lateral_length_m", "f")
	if err != nil {
		return err
	}
	if _, err := negotiate(r, p, typeJSON); err != nil {
		return err
	}
	given := make(map[string]inventory.Opt[float64])
	for _, m := range []struct {
		name              string
		unit, least, most float64
		what              string
		must              bool
	}{
		{"length_m", 1, 0.01, 130, "metres", true}, {"base_diameter_cm", cm, 0.1, 1500, "centimetres", true}, {"lateral_diameter_cm", cm, 0, 1500, "centimetres", true},
		{"lateral_distance_m", 1, 0, 130, "metres", true}, {"limb_diameter_cm", cm, 0.1, 1500, "centimetres", false}, {"angle_deg", 1, -90, 90, "degrees", false},
		{"lateral_length_m", 1, 0, 130, "metres", false},
	} {
		if given[m.name], err = p.measure(m.name, m.unit, m.least, m.most, m.what); err != nil {
			return err
		}
		if m.must && !given[m.name].OK {
			return &parameterError{m.name, "missing: give it in " + m.what}
		}
	}
	limb := pruning.Limb{Length: given["length_m"].V, BaseDiameter: given["base_diameter_cm"].V, AngleDeg: given["angle_deg"]}
	at := pruning.Lateral{Distance: given["lateral_distance_m"].V, Diameter: given["lateral_diameter_cm"].V, LimbDiameter: given["limb_diameter_cm"], Length: given["lateral_length_m"]}
	out, err := pruning.Reduce(limb, at, s.config.Practice)
	if err != nil {
		return err
	}
	return s.sendTagged(w, r, &reductionAnswer{&out, pruning.Assumptions(s.config.Practice), s.config.Practice.Name, s.config.Practice.Digest, question.Cautions,
		[]link{{Href: s.self(r), Rel: "self", Type: typeJSON}}})
}

// handlePractice gives the text that work is planned by.
func (s *Server) handlePractice(w http.ResponseWriter, r *http.Request) error {
	p, err := parseParams(r, "f")
	if err != nil {
		return err
	}
	if _, err := negotiate(r, p, typeYAML); err != nil {
		return err
	}
	w.Header().Set("Content-Type", typeYAML)
	if s.unchanged(w, r, s.config.Practice.Digest, false) {
		return nil
	}
	return writeBody(w, r, s.config.Practice.Text)
}
