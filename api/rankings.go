package api

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"github.com/go-chi/chi/v5"
	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

var (
	recordForms = []string{typeJSON, typeCSV}
	keptForms   = []string{typeJSON, typeGeoJSON, typeCSV}
)

// handleRankings lists the rankings that were kept.
func (s *Server) handleRankings(w http.ResponseWriter, r *http.Request) error {
	p, err := parseParams(r, "site", "f")
	if err != nil {
		return err
	}
	form, err := negotiate(r, p, recordForms...)
	if err != nil {
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
	list, err := s.config.Store.FindRankings(r.Context(), s.config.Client, of)
	if err != nil {
		return err
	}
	// What the list says is its state: keeping a ranking edits no inventory.
	contentType(w, form)
	if s.unchanged(w, r, s.etag(r, form, fmt.Sprint(list)), true) || r.Method == http.MethodHead {
		return nil
	}
	return s.writeListing(w, &listing{
		columns: columnsOf(question.RecordProperties(&ranking.Record{})), matched: len(list), links: s.alternates(r, form, recordForms),
		rows: func(yield func(listed, error) bool) {
			for i := range list {
				properties := question.RecordProperties(&list[i])
				if form == typeJSON {
					properties = append(properties, ranking.Property{Name: "links", Value: json.RawMessage(appendLinks(nil, s.recordLinks(r, list[i].ID)))})
				}
				if !yield(listed{properties: properties}, nil) {
					return
				}
			}
		},
	}, form)
}

func (s *Server) recordLinks(r *http.Request, id int64) []link {
	base := fmt.Sprintf("%s/rankings/%d", s.base(r), id)
	return []link{
		{Href: base, Rel: "item", Type: typeJSON, Title: "The ranking with its rows"},
		{Href: base + "/check", Rel: "related", Type: typeJSON, Title: "Makes the ranking again, a full run over the site, and compares every byte"},
	}
}

// kept is a ranking as it was given once.
type kept struct {
	ranking.Record
	rows []ranking.RankedRow
}

// kept finds the ranking that a path names.
func (s *Server) kept(r *http.Request, name string) (k kept, err error) {
	id, err := rankingID(r, name)
	if err != nil {
		return k, err
	}
	k.Record, _, k.rows, err = s.config.Store.GetRanking(r.Context(), s.config.Client, id)
	return k, err
}

func rankingID(r *http.Request, name string) (int64, error) {
	given := chi.URLParam(r, name)
	id, err := strconv.ParseInt(given, 10, 64)
	if err != nil || id < 1 || strconv.FormatInt(id, 10) != given {
		return 0, inventory.Errorf(inventory.NotFound, "there is no ranking %q", given)
	}
	return id, nil
}

// handleKept gives a kept ranking: in JSON its rows are byte for byte those that
// were kept.
func (s *Server) handleKept(w http.ResponseWriter, r *http.Request) error {
	p, err := parseParams(r, "f")
	if err != nil {
		return err
	}
	form, err := negotiate(r, p, keptForms...)
	if err != nil {
		return err
	}
	k, err := s.kept(r, "ranking")
	if err != nil {
		return err
	}
	contentType(w, form)
	if s.unchanged(w, r, s.etag(r, form, fmt.Sprint(k.Record)), true) || r.Method == http.MethodHead {
		return nil
	}
	var columns []string
	if len(k.rows) > 0 {
		if columns, _, err = decodeRow(k.rows[0].Row); err != nil {
			return err
		}
	}
	links := s.alternates(r, form, keptForms)
	if form != typeCSV {
		links = append(links, s.recordLinks(r, k.ID)[1:]...)
	}
	return s.writeListing(w, &listing{
		head: question.RecordProperties(&k.Record), columns: columns, matched: len(k.rows), links: links,
		rows: func(yield func(listed, error) bool) {
			for _, row := range k.rows {
				out, err := keptRow(row, form)
				if !yield(out, err) {
					return
				}
			}
		},
	}, form)
}

// position names what gives a row its place on the ground.
var position = []string{"longitude", "latitude"}

// keptRow opens a kept row as far as a form needs it.
func keptRow(row ranking.RankedRow, form string) (out listed, err error) {
	out = listed{id: int64(row.Tree), raw: row.Row}
	if form == typeJSON {
		return out, nil
	}
	names, values, err := decodeRow(row.Row)
	if err != nil {
		return out, fmt.Errorf("place %d: %w", row.Place, err)
	}
	var at orb.Point
	for i, name := range names {
		p := ranking.Property{Name: name, Value: values[i]}
		if form == typeCSV {
			p.Value = plainly(values[i])
		} else if k := slices.Index(position, name); k >= 0 {
			if at[k], err = strconv.ParseFloat(string(values[i]), 64); err != nil {
				return out, fmt.Errorf("place %d: %s: %w", row.Place, name, err)
			}
			continue
		}
		out.properties = append(out.properties, p)
	}
	out.geometry = at
	return out, nil
}

// decodeRow opens an object, its members in order.
func decodeRow(row []byte) (names []string, values []json.RawMessage, err error) {
	d := json.NewDecoder(bytes.NewReader(row))
	if _, err := d.Token(); err != nil {
		return nil, nil, err
	}
	for d.More() {
		name, err := d.Token()
		if err != nil {
			return nil, nil, err
		}
		var value json.RawMessage
		if err := d.Decode(&value); err != nil {
			return nil, nil, err
		}
		names, values = append(names, fmt.Sprint(name)), append(values, value)
	}
	return names, values, nil
}

// plainly is a value for a cell of a table: a number keeps its digits.
func plainly(raw json.RawMessage) any {
	var v any
	d := json.NewDecoder(bytes.NewReader(raw))
	d.UseNumber()
	if d.Decode(&v) != nil {
		return string(raw)
	}
	list, ok := v.([]any)
	if !ok {
		return v
	}
	words := make([]string, len(list))
	for i, w := range list {
		words[i] = fmt.Sprint(w)
	}
	return words
}

// handleCompare sets two kept rankings side by side: who moved and why.
func (s *Server) handleCompare(w http.ResponseWriter, r *http.Request) error {
	p, err := parseParams(r, "f")
	if err != nil {
		return err
	}
	form, err := negotiate(r, p, recordForms...)
	if err != nil {
		return err
	}
	before, err := s.kept(r, "ranking")
	if err != nil {
		return err
	}
	after, err := s.kept(r, "other")
	if err != nil {
		return err
	}
	contentType(w, form)
	if s.unchanged(w, r, s.etag(r, form, fmt.Sprint(before.Record, after.Record)), true) || r.Method == http.MethodHead {
		return nil
	}
	moves, err := ranking.CompareRows(before.rows, after.rows)
	if err != nil {
		return err
	}
	return s.writeListing(w, &listing{
		head: []ranking.Property{
			{Name: "before", Value: question.RecordProperties(&before.Record)},
			{Name: "after", Value: question.RecordProperties(&after.Record)},
		},
		columns: columnsOf(question.MoveProperties(&ranking.Move{})), matched: len(moves), links: s.alternates(r, form, recordForms),
		rows: func(yield func(listed, error) bool) {
			for i := range moves {
				if !yield(listed{properties: question.MoveProperties(&moves[i])}, nil) {
					return
				}
			}
		},
	}, form)
}

// checked is what making a ranking again came to.
type checked struct {
	Ranking   int64       `json:"ranking_id"`
	Same      bool        `json:"same"` // byte for byte
	Digest    string      `json:"rows_sha256"`
	Now       string      `json:"rows_sha256_now"`
	Different *difference `json:"first_difference"`
	Cautions  string      `json:"cautions"`
	Links     []link      `json:"links"`
}

type difference struct {
	Place int             `json:"place"`
	Kept  json.RawMessage `json:"kept"` // null where there was no such row
	Now   json.RawMessage `json:"now"`
}

// handleCheck makes a kept ranking again, which is a full run over the site as it
// stood, and compares every byte.
func (s *Server) handleCheck(w http.ResponseWriter, r *http.Request) error {
	if err := onlyJSON(r); err != nil {
		return err
	}
	id, err := rankingID(r, "ranking")
	if err != nil {
		return err
	}
	record, _, _, err := s.config.Store.GetRanking(r.Context(), s.config.Client, id)
	if err != nil {
		return err
	}
	if checkSweep(inventory.Run{Trees: record.Trees}, false, record.Question.Draws) != nil {
		return &statusError{http.StatusUnprocessableEntity, fmt.Sprintf("ranking %d is of %d standing trees with %d draws, too much to be made again here: use the command underbough for it", id, record.Trees, record.Question.Draws)}
	}
	// It tells of this program at this moment.
	w.Header().Set("Cache-Control", "no-store")
	if r.Method == http.MethodHead {
		w.Header().Set("Content-Type", typeJSON)
		return nil
	}
	done, err := s.waitToSweep(r.Context())
	if err != nil {
		return err
	}
	again, err := question.RunAgain(r.Context(), s.config.Store, s.config.Client, id)
	done()
	if err != nil {
		return err
	}
	out := checked{Ranking: id, Same: again.Same, Digest: record.Digest, Now: again.Digest, Cautions: question.Cautions, Links: []link{
		{Href: s.self(r), Rel: "self", Type: typeJSON},
		{Href: fmt.Sprintf("%s/rankings/%d", s.base(r), id), Rel: "item", Type: typeJSON, Title: "The ranking with its rows"},
	}}
	if !again.Same && again.Place > 0 {
		out.Different = &difference{again.Place, again.Kept, again.Now}
	}
	return writeJSON(w, r, out)
}
