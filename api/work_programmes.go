package api

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/question"
)

type programmeAnswer struct {
	*question.ProgrammeDocument
	Links []link `json:"links"`
}

type programmesAnswer struct {
	Programmes []programmeAnswer `json:"programmes"` // the latest first
	Links      []link            `json:"links"`
}

func (s *Server) programmeAnswer(r *http.Request, record *programme.Record) programmeAnswer {
	out := programmeAnswer{question.DocumentOf(record), []link{}}
	if record.ID == 0 {
		return out
	}
	at := fmt.Sprintf("%s/programmes/%d", s.base(r), record.ID)
	out.Links = append(out.Links, link{Href: at, Rel: "self", Type: typeJSON}, link{Href: at + "/items", Rel: "items", Type: typeJSON, Title: "What it says of each tree"})
	if record.ProposedAt.OK {
		out.Links = append(out.Links, link{Href: fmt.Sprintf("%s/jobs?programme=%d", s.base(r), record.ID), Rel: "related", Type: typeJSON, Title: "Its jobs"})
	}
	return out
}

// handleProgrammes lists the programmes that were kept.
func (s *Server) handleProgrammes(w http.ResponseWriter, r *http.Request) error {
	p, err := parseParams(r, "site", "f")
	if err != nil {
		return err
	}
	if _, err := negotiate(r, p, typeJSON); err != nil {
		return err
	}
	var of inventory.SiteID
	if _, ok := p["site"]; ok {
		site, err := s.site(r.Context(), p["site"])
		if err != nil {
			return err
		}
		of = site.ID
	}
	list, err := s.config.Store.FindProgrammes(r.Context(), s.config.Client, of)
	if err != nil {
		return err
	}
	out := programmesAnswer{make([]programmeAnswer, len(list)), []link{{Href: s.self(r), Rel: "self", Type: typeJSON}}}
	for i := range list {
		out.Programmes[i] = s.programmeAnswer(r, &list[i])
	}
	return s.sendTagged(w, r, &out)
}

// handleMakeProgramme works a programme out, and keeps it unless told otherwise.
func (s *Server) handleMakeProgramme(w http.ResponseWriter, r *http.Request) error {
	p, actor, err := s.beginWork(w, r, "site")
	if err != nil {
		return err
	}
	f, err := readFields(w, r)
	if err != nil {
		return err
	}
	keep := f.truth("keep").Or(true)
	if keep {
		f.need("name", "what people are to call the programme")
	}
	name, q := f.text("name").V, readProgrammeQuestion(f)
	by := s.by(actor, f)
	if err := f.end(); err != nil {
		return err
	}
	site, err := s.site(r.Context(), p["site"])
	if err != nil {
		return err
	}
	done, err := s.sweepTrees(r.Context(), site)
	if err != nil {
		return err
	}
	defer done()
	b := s.workBasis(r.Context(), site)
	if !keep {
		planned, err := question.Plan(r.Context(), s.config.Store, b, q)
		if err != nil {
			return err
		}
		planned.Record.Name = name
		return writeMade(w, http.StatusOK, s.programmeAnswer(r, &planned.Record))
	}
	planned, err := question.MakeProgramme(r.Context(), s.config.Store, b, name, by, q)
	if err != nil {
		return err
	}
	w.Header().Set("Location", fmt.Sprintf("%s/programmes/%d", s.base(r), planned.Record.ID))
	return writeCreated(w, s.programmeAnswer(r, &planned.Record))
}

// readProgrammeQuestion reads what a programme is asked for.
func readProgrammeQuestion(f *fields) programme.Question {
	f.need("from", "the programme's first day, such as 2027-01-01")
	f.need("years", "how many years")
	f.need("measure", string(programme.Money)+" or "+string(programme.Hours))
	f.need("budget", "a figure for every year, or one for all")
	q := programme.Question{
		From: f.text("from").V, Years: f.whole("years").V, Measure: programme.Measure(f.text("measure").V), Budget: f.numbers("budget"), Must: f.texts("must"),
		MustDue: f.whole("must_due").V, Cycle: f.whole("cycle").V, Least: f.number("least_harm", 1).V, Rated: f.text("must_rating").V,
	}
	f.each("pins", func(f *fields) {
		f.need("tag", "the tag of a tree")
		f.need("year", "a year of the programme")
		q.Pins = append(q.Pins, programme.Pin{Tag: f.text("tag").V, Year: f.whole("year").V})
	})
	return q
}

// handleProgramme answers with one programme that was kept.
func (s *Server) handleProgramme(w http.ResponseWriter, r *http.Request) error {
	if err := onlyJSON(r); err != nil {
		return err
	}
	record, _, err := s.programme(r)
	if err != nil {
		return err
	}
	return s.sendTagged(w, r, s.programmeAnswer(r, &record))
}

func (s *Server) programme(r *http.Request) (record programme.Record, items []programme.Item, err error) {
	id, err := pathNumber(r, "programme")
	if err != nil {
		return record, nil, err
	}
	return s.config.Store.GetProgramme(r.Context(), s.config.Client, inventory.ProgrammeID(id))
}

// itemAnswer is what a programme says of one tree.
type itemAnswer struct {
	Tree      inventory.TreeID      `json:"tree_id"`
	Tag       string                `json:"tag"`
	Species   string                `json:"species"`
	Package   string                `json:"package"`
	Work      practice.Work         `json:"work"`
	HarmIndex float64               `json:"harm_index"`
	Place     int                   `json:"place"`
	First     *int                  `json:"first_year"` // null where the tree was left out
	Must      bool                  `json:"must"`
	Late      bool                  `json:"late"` // begun after it had to be
	Visits    []programme.ItemVisit `json:"visits"`
	Why       string                `json:"why"`
}

type itemsAnswer struct {
	Programme      inventory.ProgrammeID `json:"programme_id"`
	Items          []itemAnswer          `json:"items"`
	NumberMatched  int                   `json:"numberMatched"`
	NumberReturned int                   `json:"numberReturned"`
	Assumption     string                `json:"assumption"`
	Cautions       string                `json:"cautions"`
	Links          []link                `json:"links"`
}

// handleProgrammeItems lists what a programme says of each tree, by first year,
// package and place; those left out come last.
func (s *Server) handleProgrammeItems(w http.ResponseWriter, r *http.Request) error {
	p, err := parseParams(r, "year", "package", "planned", "limit", "cursor", "f")
	if err != nil {
		return err
	}
	if _, err := negotiate(r, p, typeJSON); err != nil {
		return err
	}
	year, err := p.whole("year", 0, 1900, 2200)
	if err != nil {
		return err
	}
	planned, chosen := p["planned"]
	if chosen && planned != "true" && planned != "false" {
		return paramError("planned", planned, "expected true for trees that are worked on in the programme's years, or false for those left out")
	}
	limit, from, err := p.page(maxLimit)
	if err != nil {
		return err
	}
	record, items, err := s.programme(r)
	if err != nil {
		return err
	}
	items = slices.DeleteFunc(items, func(i programme.Item) bool {
		inYear := year == 0 || slices.ContainsFunc(i.Visits, func(v programme.ItemVisit) bool { return v.Year == year })
		return !inYear || p["package"] != "" && i.Package != p["package"] || chosen && (i.First != 0) != (planned == "true")
	})
	out := itemsAnswer{Programme: record.ID, NumberMatched: len(items), Items: []itemAnswer{}, Assumption: question.EffectAssumption, Cautions: question.Cautions,
		Links: []link{{Href: s.self(r), Rel: "self", Type: typeJSON}, {Href: fmt.Sprintf("%s/programmes/%d", s.base(r), record.ID), Rel: "related", Type: typeJSON, Title: "The programme"}}}
	items = items[min(from, len(items)):]
	if len(items) > limit {
		items = items[:limit]
		out.Links = append(out.Links, link{Href: s.with(r, "cursor", strconv.Itoa(from+limit)), Rel: "next", Type: typeJSON})
	}
	for i := range items {
		out.Items = append(out.Items, itemAnswerOf(&items[i]))
	}
	out.NumberReturned = len(out.Items)
	return s.sendTagged(w, r, &out)
}

func itemAnswerOf(i *programme.Item) itemAnswer {
	out := itemAnswer{Tree: i.Tree, Tag: i.Label, Species: i.Species, Package: i.Package, Work: i.Work, HarmIndex: i.Harm * 1000, Place: i.Place, Must: i.Must, Late: i.Late, Visits: i.Visits, Why: i.Why}
	if i.First != 0 {
		out.First = &i.First
	}
	return out
}

type proposalAnswer struct {
	Programme programmeAnswer `json:"programme"`
	Jobs      int             `json:"jobs"`      // made
	Withdrawn int             `json:"withdrawn"` // of an older programme, that nobody had agreed to
	Gone      []string        `json:"gone"`      // tags of trees that stand no longer, or are in work by now
}

// handlePropose makes the jobs of a programme.
func (s *Server) handlePropose(w http.ResponseWriter, r *http.Request) error {
	_, actor, err := s.beginWork(w, r)
	if err != nil {
		return err
	}
	f, err := readFields(w, r)
	if err != nil {
		return err
	}
	by := s.by(actor, f)
	if err := f.end(); err != nil {
		return err
	}
	record, _, err := s.programme(r)
	if err != nil {
		return err
	}
	done, err := s.sweepTrees(r.Context(), record.Site)
	if err != nil {
		return err
	}
	defer done()
	made, err := question.Propose(r.Context(), s.config.Store, s.workBasis(r.Context(), record.Site), record.ID, by)
	if err != nil {
		return err
	}
	out := proposalAnswer{Jobs: made.Jobs, Withdrawn: made.Withdrawn, Gone: made.Gone}
	if out.Gone == nil {
		out.Gone = []string{}
	}
	record.ProposedAt = inventory.Some(s.config.Now().UTC())
	if again, _, err := s.programme(r); err == nil {
		record = again // with the very instant
	}
	out.Programme = s.programmeAnswer(r, &record)
	w.Header().Set("Location", fmt.Sprintf("%s/jobs?programme=%d", s.base(r), record.ID))
	return writeCreated(w, &out)
}
