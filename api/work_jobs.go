package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
)

// mostJobs is how many jobs a page holds at most: each has its steps and gates.
const mostJobs = 1000

type jobAnswer struct {
	*question.JobDocument
	Links []link `json:"links"`
}

type jobsAnswer struct {
	Jobs           []jobAnswer `json:"jobs"` // without their specifications
	NumberReturned int         `json:"numberReturned"`
	Cautions       string      `json:"cautions"`
	Links          []link      `json:"links"`
}

type photoAnswer struct {
	question.PhotoDocument
	Job   inventory.JobID `json:"job_id"`
	Links []link          `json:"links"`
}

func (s *Server) photoAnswer(r *http.Request, p *inventory.Photo) *photoAnswer {
	return &photoAnswer{question.PhotoDocument{ID: p.ID, Name: p.Name, MediaType: p.MediaType, SHA256: p.SHA256, Bytes: p.Size, At: p.At, By: p.By}, p.Job,
		[]link{{Href: s.photoAddress(r, p), Rel: "enclosure", Type: p.MediaType, Title: p.Name}}}
}

func noJob(id int64) error { return inventory.Errorf(inventory.NotFound, "there is no job %d", id) }

// page reads which part of a list is asked for: how many rows at most, and how
// many come before.
func (p params) page(most int) (limit, from int, err error) {
	if limit, err = p.limit(); err != nil {
		return 0, 0, err
	}
	if text, ok := p["cursor"]; ok {
		if from, err = strconv.Atoi(text); err != nil || from < 1 || from > 1<<31 {
			return 0, 0, paramError("cursor", text, "not one of this service: follow the link next of a page as it is")
		}
	}
	return min(limit, most), from, nil
}

// jobsQuery reads which jobs are asked for.
func (s *Server) jobsQuery(r *http.Request, p params) (q inventory.JobQuery, err error) {
	q.Client = s.config.Client
	_, tagged := p["tag"]
	if _, named := p["site"]; named || tagged {
		site, err := s.site(r.Context(), p["site"])
		if err != nil {
			return q, err
		}
		q.Site = site.ID
		if tagged {
			tree, err := s.treeNamed(r.Context(), site, p)
			if err != nil {
				return q, err
			}
			q.Tree = tree.ID
		}
	}
	if words, ok := p["state"]; ok {
		for _, word := range strings.Split(words, ",") {
			if !slices.Contains(inventory.JobStates, inventory.JobState(word)) {
				return q, paramError("state", word, fmt.Sprintf("expected some of %s", joinWords(inventory.JobStates)))
			}
			q.States = append(q.States, inventory.JobState(word))
		}
	}
	if q.Year, err = p.whole("year", 0, 1900, 2200); err != nil {
		return q, err
	}
	number, err := p.whole("programme", 0, 1, 1<<53-1)
	if err != nil {
		return q, err
	}
	q.Programme = inventory.ProgrammeID(number)
	q.Package, err = p.words("package")
	return q, err
}

func joinWords[T ~string](list []T) string {
	out := make([]string, len(list))
	for i, w := range list {
		out[i] = string(w)
	}
	return strings.Join(out, ", ")
}

// words reads a text that the database can hold.
func (p params) words(name string) (string, error) {
	text := p[name]
	if strings.ContainsRune(text, 0) || strings.ToValidUTF8(text, "") != text {
		return "", paramError(name, text, "expected text in UTF-8")
	}
	return text, nil
}

// treeNamed finds the one tree that the parameter tag names.
func (s *Server) treeNamed(ctx context.Context, site inventory.Site, p params) (*inventory.Tree, error) {
	tag, err := p.tag()
	if err != nil {
		return nil, err
	}
	found, err := s.config.Store.FindTreeFacts(ctx, site, tag)
	switch {
	case err != nil:
		return nil, err
	case len(found) == 0:
		return nil, blame("tag", inventory.Errorf(inventory.NotFound, "no tree of site %q has the tag or source id %q", site.Name, tag))
	case len(found) > 1:
		return nil, blame("tag", invalid("%d trees of site %q carry the tag %q: name one by its source id or its number, such as #%d", len(found), site.Name, tag, found[0].Tree.ID))
	}
	return &found[0].Tree, nil
}

// handleJobs lists jobs by year, package and tag.
func (s *Server) handleJobs(w http.ResponseWriter, r *http.Request) error {
	p, err := parseParams(r, "site", "state", "year", "package", "tag", "programme", "limit", "cursor", "f")
	if err != nil {
		return err
	}
	if _, err := negotiate(r, p, typeJSON); err != nil {
		return err
	}
	q, err := s.jobsQuery(r, p)
	if err != nil {
		return err
	}
	limit, from, err := p.page(mostJobs)
	if err != nil {
		return err
	}
	q.Limit = from + limit + 1
	list, err := s.config.Store.FindJobs(r.Context(), q)
	if err != nil {
		return err
	}
	out := jobsAnswer{Jobs: []jobAnswer{}, Cautions: question.Cautions, Links: []link{
		{Href: s.self(r), Rel: "self", Type: typeJSON},
		{Href: s.base(r) + "/collections/jobs", Rel: "related", Type: typeJSON, Title: "Jobs as a collection"},
	}}
	list = list[min(from, len(list)):]
	if len(list) > limit {
		list = list[:limit]
		out.Links = append(out.Links, link{Href: s.with(r, "cursor", strconv.Itoa(from+limit)), Rel: "next", Type: typeJSON})
	}
	for i := range list {
		list[i].Specification = nil
	}
	if out.Jobs, err = s.jobAnswers(r, list); err != nil {
		return err
	}
	out.NumberReturned = len(out.Jobs)
	return s.sendTagged(w, r, &out)
}

// jobAnswers adds to jobs their steps and pictures, as far as they had come.
func (s *Server) jobAnswers(r *http.Request, list []inventory.Job) ([]jobAnswer, error) {
	out, ids := make([]jobAnswer, len(list)), make([]int64, len(list))
	for i := range list {
		ids[i] = int64(list[i].ID)
	}
	ctx, now := r.Context(), s.now(r.Context())
	sites, err := s.config.Store.FindSites(ctx, s.config.Client)
	if err != nil {
		return nil, err
	}
	names := make(map[inventory.SiteID]string)
	for _, site := range sites {
		names[site.ID] = site.Name
	}
	events, err := s.config.Store.JobEvents(ctx, s.config.Client, ids)
	if err != nil {
		return nil, err
	}
	photos, err := s.config.Store.FindPhotos(ctx, s.config.Client, ids)
	if err != nil {
		return nil, err
	}
	if isPast(ctx) { // neither has a history of its own: they are added only
		events = slices.DeleteFunc(events, func(e inventory.JobEvent) bool { return e.At.After(now) })
		photos = slices.DeleteFunc(photos, func(p inventory.Photo) bool { return p.At.After(now) })
	}
	// Of a page of many jobs each looks at its own only.
	eventsOf, photosOf := make(map[inventory.JobID][]inventory.JobEvent), make(map[inventory.JobID][]inventory.Photo)
	for _, e := range events {
		eventsOf[e.Job] = append(eventsOf[e.Job], e)
	}
	for _, p := range photos {
		photosOf[p.Job] = append(photosOf[p.Job], p)
	}
	for i := range list {
		j := &list[i]
		address := s.jobAddress(r, j.ID)
		out[i] = jobAnswer{question.JobDocumentOf(j, names[j.Site], eventsOf[j.ID], photosOf[j.ID]), []link{
			{Href: address, Rel: "self", Type: typeJSON},
			{Href: fmt.Sprintf("%s/collections/trees/items/%d", s.base(r), j.Tree), Rel: "related", Type: typeGeoJSON, Title: "The tree"},
		}}
		for k := range photosOf[j.ID] {
			p := &photosOf[j.ID][k]
			out[i].Links = append(out[i].Links, link{Href: s.photoAddress(r, p), Rel: "enclosure", Type: p.MediaType, Title: p.Name})
		}
	}
	return out, nil
}

func (s *Server) jobAddress(r *http.Request, id inventory.JobID) string {
	return fmt.Sprintf("%s/jobs/%d", s.base(r), id)
}

// job is a job as it is answered, with the tag of this very answer.
func (s *Server) job(r *http.Request, id inventory.JobID) (body []byte, tag string, err error) {
	list, err := s.config.Store.FindJobs(r.Context(), inventory.JobQuery{Client: s.config.Client, IDs: []int64{int64(id)}})
	if err == nil && len(list) == 0 {
		err = noJob(int64(id))
	}
	if err != nil {
		return nil, "", err
	}
	out, err := s.jobAnswers(r, list)
	if err != nil {
		return nil, "", err
	}
	if body, err = json.Marshal(out[0]); err != nil {
		return nil, "", err
	}
	return append(body, '\n'), featureTag(int64(list[0].Version), body), nil
}

// handleJob answers with one job.
func (s *Server) handleJob(w http.ResponseWriter, r *http.Request) error {
	if err := onlyJSON(r); err != nil {
		return err
	}
	id, err := pathNumber(r, "job")
	if err != nil {
		return err
	}
	body, tag, err := s.job(r, inventory.JobID(id))
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", typeJSON)
	if s.unchanged(w, r, tag, false) {
		return nil
	}
	return writeBody(w, r, body)
}

// answerJob answers with a job as a change has left it.
func (s *Server) answerJob(w http.ResponseWriter, r *http.Request, id inventory.JobID, status int) error {
	h := w.Header()
	body, tag, err := s.job(r, id)
	if err != nil {
		// The change is made, whatever kept its outcome from being read.
		r.Context().Value(exchangeKey{}).(*exchange).cause = err
		w.WriteHeader(http.StatusNoContent)
		return nil
	}
	if status == http.StatusCreated {
		h.Set("Location", s.jobAddress(r, id))
	}
	h.Set("Content-Type", typeJSON)
	h.Set("Content-Location", s.jobAddress(r, id))
	h.Set("ETag", `"`+tag+`"`)
	h.Set("Cache-Control", "no-cache")
	w.WriteHeader(status)
	_, err = w.Write(body)
	return err
}
