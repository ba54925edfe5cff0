package api

import (
	"errors"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

var hoursForms = []string{typeJSON, typeCSV}

// hoursQuestion is what a request asks of the week under a tree.
type hoursQuestion struct {
	site inventory.Site
	form string
	question.HoursQuery
}

// weekdays are the days of the week as they are asked for.
var weekdays = []string{"mon", "tue", "wed", "thu", "fri", "sat", "sun"}

// parts are the parts of a tree as the collection of zones names them.
var parts = []exposure.Part{exposure.WholeTree, exposure.Crown, exposure.Limb}

func (s *Server) hoursQuery(r *http.Request, forms ...string) (q hoursQuestion, err error) {
	p, err := parseParams(r, "site", "tag", "part", "window", "from", "to", "days", "f")
	if err != nil {
		return q, err
	}
	if q.form, err = negotiate(r, p, forms...); err != nil {
		return q, err
	}
	if q.Tag, err = p.tag(); err != nil {
		return q, err
	}
	if word, ok := p["part"]; ok {
		i := slices.IndexFunc(parts, func(part exposure.Part) bool { return part.String() == word })
		if i < 0 {
			return q, paramError("part", word, "expected whole tree, crown or limb")
		}
		q.Part = inventory.Some(parts[i])
	}
	if err := q.window(p); err != nil {
		return q, err
	}
	q.site, err = s.site(r.Context(), p["site"])
	return q, err
}

// window reads how long a place must be closed for work, and when it may be.
func (q *hoursQuestion) window(p params) (err error) {
	if err := p.only("window", "from", "to", "days"); err != nil {
		return err
	}
	if q.Window, err = p.whole("window", 0, 1, inventory.HoursInWeek); err != nil {
		return err
	}
	if q.From, err = p.whole("from", 0, 0, 23); err != nil {
		return err
	}
	if q.To, err = p.whole("to", 24, 1, 24); err != nil {
		return err
	}
	if q.From == q.To {
		return paramError("to", strconv.Itoa(q.To), "expected another hour of the day than from; before from it is of the next day")
	}
	if words, ok := p["days"]; ok {
		for _, word := range strings.Split(words, ",") {
			day := slices.Index(weekdays, word)
			if day < 0 {
				return paramError("days", word, "expected some of "+strings.Join(weekdays, ","))
			}
			q.Days = append(q.Days, day)
		}
	}
	if err := q.Check(); err != nil {
		return &parameterError{"window", err.Error()}
	}
	return nil
}

// week answers what the request asks, or that the client has it already.
func (s *Server) week(w http.ResponseWriter, r *http.Request, q *hoursQuestion) (week *question.Week, known bool, err error) {
	state, err := s.state(r.Context())
	if err != nil {
		return nil, false, err
	}
	if s.unchanged(w, r, s.etag(r, q.form, state), false) {
		return nil, true, nil
	}
	week, err = question.Hours(r.Context(), s.config.Store, q.site, q.HoursQuery, s.config.Profile, s.now(r.Context()))
	if err != nil {
		if errors.Is(err, question.ErrNoPart) {
			return nil, false, blame("part", err)
		}
		return nil, false, blame("tag", err)
	}
	return week, false, nil
}

// weekAnswer is the week under one part of a tree, 168 hours from Monday 00:00 on
// the site's clocks: mean numbers present.
type weekAnswer struct {
	Site      string  `json:"site"`
	TimeZone  string  `json:"time_zone"`
	Tree      int64   `json:"tree_id"`
	Tag       *string `json:"tag"`
	SourceID  *string `json:"source_id"`
	Species   *string `json:"species"`
	Part      string  `json:"part"`
	Cut       *int64  `json:"cut_id"` // that the limb carries
	FirstHour string  `json:"first_hour"`

	InOpen     []float64 `json:"people_in_the_open"`
	InVehicles []float64 `json:"people_in_vehicles"`
	Sheltered  []float64 `json:"people_sheltered"`
	Vehicles   []float64 `json:"vehicles"`

	Peak     moment  `json:"peak"`    // of the ordinary week
	Busiest  moment  `json:"busiest"` // of a busier week, where the calendar has one
	Mean     means   `json:"mean"`    // over the year, exceptions included
	Occupied float64 `json:"occupied_share"`
	Quietest *window `json:"quietest"`

	Profile       string `json:"profile"`
	ProfileDigest string `json:"profile_digest"`
	AsOf          string `json:"as_of"`
	Note          string `json:"note"`
	Cautions      string `json:"cautions"`
	Links         []link `json:"links"`
}

// moment is an hour of the week and the persons then, in the open and in
// vehicles.
type moment struct {
	People float64 `json:"people"`
	Hour   int     `json:"hour"` // of the week, 0 = Monday 00:00
	Name   string  `json:"name"`
}

type means struct {
	InOpen     float64 `json:"people_in_the_open"`
	InVehicles float64 `json:"people_in_vehicles"`
	Sheltered  float64 `json:"people_sheltered"`
	Vehicles   float64 `json:"vehicles"`
}

// window is some hours in a row, to close the place for work.
type window struct {
	Hour        int     `json:"hour"`
	Name        string  `json:"name"`
	Until       string  `json:"until"`
	Hours       int     `json:"hours"`
	PersonHours float64 `json:"person_hours"`
}

const weekNote = "Mean numbers present, hour by hour of an ordinary week. The most, the busiest and the quietest hours count people in the open and in vehicles; people under a roof stand apart. Holidays and other days out of the ordinary are in the means, the busiest hour and the share of hours with somebody there only."

// handleHours gives the week under a tree as 168 numbers.
func (s *Server) handleHours(w http.ResponseWriter, r *http.Request) error {
	q, err := s.hoursQuery(r, hoursForms...)
	if err != nil {
		return err
	}
	contentType(w, q.form)
	week, known, err := s.week(w, r, &q)
	if err != nil || known {
		return err
	}
	if q.form == typeJSON {
		return writeJSON(w, r, s.weekAnswer(r, &q, week))
	}
	if r.Method == http.MethodHead {
		return nil
	}
	return s.writeListing(w, &listing{
		columns: columnsOf(hourProperties(week, 0)), links: s.alternates(r, q.form, hoursForms),
		rows: func(yield func(listed, error) bool) {
			for hour := range inventory.HoursInWeek {
				if !yield(listed{properties: hourProperties(week, hour)}, nil) {
					return
				}
			}
		},
	}, q.form)
}

func hourProperties(w *question.Week, hour int) []ranking.Property {
	return []ranking.Property{
		{Name: "hour", Value: hour},
		{Name: "name", Value: ranking.HourName(hour)},
		{Name: "people_in_the_open", Value: ranking.Rounded(w.People[hour])},
		{Name: "people_in_vehicles", Value: ranking.Rounded(w.InVehicles[hour])},
		{Name: "people_sheltered", Value: ranking.Rounded(w.Sheltered[hour])},
		{Name: "vehicles", Value: ranking.Rounded(w.Vehicles[hour])},
	}
}

func (s *Server) weekAnswer(r *http.Request, q *hoursQuestion, w *question.Week) *weekAnswer {
	links := s.alternates(r, typeJSON, hoursForms)
	chart := r.URL.Query()
	chart.Del("f")
	links = append(links, link{Href: s.base(r) + "/hours.svg?" + chart.Encode(), Rel: "alternate", Type: typeSVG, Title: "The week as a chart"})
	a := &weekAnswer{
		Site: q.site.Name, TimeZone: q.site.TimeZone, Tree: int64(w.Tree.ID), Tag: filled(w.Tree.Tag), SourceID: filled(w.Tree.SourceID), Species: filled(w.Tree.Species),
		Part: w.Part.String(), FirstHour: "Monday 00:00",
		InOpen: rounded(w.People[:]), InVehicles: rounded(w.InVehicles[:]), Sheltered: rounded(w.Sheltered[:]), Vehicles: rounded(w.Vehicles[:]),
		Peak:     moment{ranking.Rounded(w.Peak), w.PeakHour, ranking.HourName(w.PeakHour)},
		Busiest:  moment{ranking.Rounded(w.Summary.Busiest), w.Summary.BusiestHour, ranking.HourName(w.Summary.BusiestHour)},
		Mean:     means{ranking.Rounded(w.Mean.People), ranking.Rounded(w.Mean.InVehicles), ranking.Rounded(w.Mean.Sheltered), ranking.Rounded(w.Mean.Vehicles)},
		Occupied: ranking.Rounded(w.Summary.Occupied),
		Profile:  s.config.Profile.Name, ProfileDigest: s.config.Profile.Digest, AsOf: s.now(r.Context()).Format(time.DateOnly),
		Note: weekNote, Cautions: question.Cautions, Links: links,
	}
	if w.Cut.OK {
		id := int64(w.Cut.V.ID)
		a.Cut = &id
	}
	if note := w.ShutNote(); note != "" {
		a.Note += " " + note
	}
	if w.Quietest.OK {
		v := w.Quietest.V
		a.Quietest = &window{v.Start, ranking.HourName(v.Start), ranking.HourName(v.Start + v.Length), v.Length, ranking.Rounded(v.PersonHours)}
	}
	return a
}

func rounded(list []float64) []float64 {
	out := make([]float64, len(list))
	for i, v := range list {
		out[i] = ranking.Rounded(v)
	}
	return out
}

func filled(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}
