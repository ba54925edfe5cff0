package api

import (
	"net/http"
	"strconv"
	"time"

	"github.com/go-chi/chi/v5"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// placeAnswer is one place with its week and all trees that reach it.
type placeAnswer struct {
	Target    int64           `json:"target_id"`
	Site      string          `json:"site"`
	TimeZone  string          `json:"time_zone"`
	Kind      string          `json:"kind"`
	Name      *string         `json:"name"`
	Layer     *string         `json:"layer"`
	SourceID  *string         `json:"source_id"`
	Longitude float64         `json:"longitude"` // of its middle
	Latitude  float64         `json:"latitude"`
	FirstHour string          `json:"first_hour"`
	InOpen    []float64       `json:"people_in_the_open"`
	InCars    []float64       `json:"people_in_vehicles"`
	Sheltered []float64       `json:"people_sheltered"`
	Vehicles  []float64       `json:"vehicles"`
	Peak      moment          `json:"peak"`        // of the ordinary week
	Busiest   moment          `json:"busiest"`     // of a busier week, where the calendar has one
	Worst     []string        `json:"worst_hours"` // in words
	Mean      means           `json:"mean"`        // over the year, exceptions included
	Occupied  float64         `json:"occupied_share"`
	Harm      float64         `json:"harm_index"`
	Over      int             `json:"trees_over"`
	InReach   int             `json:"trees_in_reach"`
	Trees     []treeOverPlace `json:"trees"` // all of them, the most harm first

	Profile       string `json:"profile"`
	ProfileDigest string `json:"profile_digest"`
	AsOf          string `json:"as_of"`
	Note          string `json:"note"`
	Cautions      string `json:"cautions"`
	Links         []link `json:"links"`
}

type treeOverPlace struct {
	Tree      int64           `json:"tree_id"`
	Tag       *string         `json:"tag"`
	SourceID  *string         `json:"source_id"`
	Species   *string         `json:"species"`
	Status    string          `json:"status"`
	Longitude float64         `json:"longitude"`
	Latitude  float64         `json:"latitude"`
	Harm      float64         `json:"harm_index"` // at this place
	Over      bool            `json:"over"`       // with the crown or a limb; else in its reach alone
	Parts     []partOverPlace `json:"parts"`
}

// partOverPlace is what one part of a tree reaches of a place.
type partOverPlace struct {
	Part       string  `json:"part"`
	Cut        *int64  `json:"cut_id"`
	Likelihood string  `json:"likelihood"`
	Inferred   bool    `json:"inferred"`
	Rule       *string `json:"rule"`
	AreaM2     float64 `json:"area_m2"`
	LengthM    float64 `json:"length_m"`
	Points     int     `json:"points"`
	People     float64 `json:"people"` // there, in the mean, in the open and in vehicles
	Sheltered  float64 `json:"people_sheltered"`
	Vehicles   float64 `json:"vehicles"`
	Harm       float64 `json:"harm_index"`
}

const placeNote = "Mean numbers on the whole place hour by hour of an ordinary week; the people of peak and busiest are those in the open and in vehicles. The worst hours have at least nine tenths of the most people of any hour. " +
	"What lies under a part of a tree, and who is there, lies under the whole tree's reach too: parts are not to be added up."

// handlePlace opens one place from the targets' side.
func (s *Server) handlePlace(w http.ResponseWriter, r *http.Request) error {
	p, err := parseParams(r, "f")
	if err != nil {
		return err
	}
	if _, err := negotiate(r, p, typeJSON); err != nil {
		return err
	}
	word := chi.URLParam(r, "place")
	id, err := strconv.ParseInt(word, 10, 64)
	if err != nil || id < 1 || strconv.FormatInt(id, 10) != word {
		return inventory.Errorf(inventory.NotFound, "there is no place %q: expected the number of a target", word)
	}
	t, site, err := question.FindPlace(r.Context(), s.config.Store, s.config.Client, inventory.TargetID(id))
	if err != nil {
		return err
	}
	run, err := s.bringUpToDate(r.Context(), site)
	if err != nil {
		return err
	}
	state, err := s.state(r.Context())
	if err != nil {
		return err
	}
	contentType(w, typeJSON)
	if s.unchanged(w, r, s.etag(r, typeJSON, state), false) {
		return nil
	}
	o, err := question.OpenPlace(r.Context(), s.config.Store, site, t, run.Reach, s.config.Profile, s.now(r.Context()))
	if err != nil {
		return err
	}
	return writeJSON(w, r, s.placeAnswer(r, site, o))
}

func (s *Server) placeAnswer(r *http.Request, site inventory.Site, o *question.PlaceOpened) *placeAnswer {
	t, h, whole := &o.Target, &o.Hours, &o.Whole
	a := &placeAnswer{
		Target: int64(t.ID), Site: site.Name, TimeZone: site.TimeZone, Kind: string(t.Kind), Name: filled(t.Name), Layer: filled(t.Layer), SourceID: filled(t.SourceID),
		Longitude: o.At[0], Latitude: o.At[1], FirstHour: "Monday 00:00",
		InOpen: rounded(h.People[:]), InCars: rounded(h.InVehicles[:]), Sheltered: rounded(h.Sheltered[:]), Vehicles: rounded(h.Vehicles[:]),
		Peak:    moment{ranking.Rounded(h.Peak), h.PeakHour, ranking.HourName(h.PeakHour)},
		Busiest: moment{ranking.Rounded(whole.Persons.Busiest), whole.Persons.BusiestHour, ranking.HourName(whole.Persons.BusiestHour)},
		Worst:   []string{}, Mean: means{ranking.Rounded(whole.People), ranking.Rounded(whole.InVehicles), ranking.Rounded(whole.Sheltered), ranking.Rounded(whole.Vehicles)},
		Occupied: ranking.Rounded(whole.Persons.Occupied), Harm: ranking.Rounded(o.Harm * 1000), Over: o.UnderTrees, InReach: o.WithinTrees, Trees: []treeOverPlace{},
		Profile: s.config.Profile.Name, ProfileDigest: s.config.Profile.Digest, AsOf: s.now(r.Context()).Format(time.DateOnly),
		Note: placeNote, Cautions: question.Cautions, Links: []link{{Href: s.self(r), Rel: "self", Type: typeJSON},
			{Href: s.base(r) + "/collections/targets/items/" + strconv.FormatInt(int64(t.ID), 10), Rel: "related", Type: typeGeoJSON, Title: "The place with its geometry"}},
	}
	for _, d := range question.Worst(h.Persons()) {
		a.Worst = append(a.Worst, d.String())
	}
	for i := range o.Reaching {
		a.Trees = append(a.Trees, overPlace(&o.Reaching[i]))
	}
	return a
}

func overPlace(t *question.TreeOver) treeOverPlace {
	out := treeOverPlace{
		Tree: int64(t.Tree.ID), Tag: filled(t.Tree.Tag), SourceID: filled(t.Tree.SourceID), Species: filled(t.Tree.Species), Status: string(t.Tree.Status),
		Longitude: t.Tree.Point[0], Latitude: t.Tree.Point[1], Harm: ranking.Rounded(t.Harm * 1000), Over: t.Over,
	}
	for i := range t.Parts {
		p := &t.Parts[i]
		v := partOverPlace{
			Part: p.Part.String(), Likelihood: p.Judgement.Likelihood.String(), Inferred: p.Judgement.Inferred, Rule: filled(p.Judgement.Rule.String()),
			AreaM2: ranking.Rounded(p.AreaM2), LengthM: ranking.Rounded(p.LengthM), Points: int(p.Points),
			People: ranking.Rounded(p.Count.Persons()), Sheltered: ranking.Rounded(p.Count.Sheltered), Vehicles: ranking.Rounded(p.Count.Vehicles), Harm: ranking.Rounded(p.Harm * 1000),
		}
		if p.Cut > 0 {
			id := int64(p.Cut)
			v.Cut = &id
		}
		out.Parts = append(out.Parts, v)
	}
	return out
}
