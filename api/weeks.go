package api

import (
	"context"
	"encoding/json"
	"net/http"
	"time"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/filter"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// How many weeks are answered at once at the most.
const (
	maxTreeWeeks  = 5_000
	maxPlaceWeeks = 20_000
)

// weeksKept is how many bytes of answers are kept: a map asks for the same boxes
// again and again, whoever looks.
const weeksKept = 16 << 20

// weeksAnswer is the weeks of many trees or places.
type weeksAnswer struct {
	Site      string      `json:"site"`
	TimeZone  string      `json:"time_zone"`
	FirstHour string      `json:"first_hour"`
	Weeks     []keptWeek  `json:"weeks"`
	Trees     []treeWeek  `json:"trees,omitempty"`
	Places    []placeWeek `json:"places,omitempty"`
	More      bool        `json:"more"` // there are more than were asked for

	Profile       string `json:"profile"`
	ProfileDigest string `json:"profile_digest"`
	AsOf          string `json:"as_of"`
	Note          string `json:"note"`
	Cautions      string `json:"cautions"`
	Links         []link `json:"links"`
}

// keptWeek is a week by the factors of its hours, whose mean is 1.
type keptWeek struct {
	Name    *string   `json:"name"`       // in the profile
	Counted *int64    `json:"counted_at"` // the target that it was counted on
	Factors []float64 `json:"factors"`
}

type treeWeek struct {
	Tree int64   `json:"tree_id"`
	Tag  *string `json:"tag"` // or the source id, where it has none
	Part string  `json:"part"`
	sharedWeek
}

type placeWeek struct {
	Target int64 `json:"target_id"`
	sharedWeek
}

// sharedWeek is a week as persons who keep some of the weeks, by place.
type sharedWeek struct {
	Mean    float64   `json:"people"` // over the year, exceptions included
	Weeks   []int     `json:"weeks"`
	Persons []float64 `json:"persons"`
}

const weeksNote = "People in the open and in vehicles. In hour h of an ordinary week there are the sum of persons[i] × factors[h] of the week weeks[i]; people is the mean over the year, exceptions of the calendar included. " +
	"The week of a tree is that under its crown or one of its limbs, whichever is over the most. Who is under two trees is counted twice."

// weeksQuestion is what a request asks weeks of.
type weeksQuestion struct {
	site  inventory.Site
	boxes []orb.Bound
	asked filter.Expr
	limit int
}

func (s *Server) weeksQuery(r *http.Request, most int, more ...string) (q weeksQuestion, err error) {
	p, err := parseParams(r, append(more, "site", "bbox", "f")...)
	if err != nil {
		return q, err
	}
	if _, err = negotiate(r, p, typeJSON); err != nil {
		return q, err
	}
	if q.boxes, _, err = s.within(r.Context(), p); err != nil {
		return q, err
	}
	if q.limit, err = p.whole("limit", most, 1, most); err != nil {
		return q, err
	}
	trees, err := inventory.GetCollection("trees")
	if err != nil {
		return q, err
	}
	if q.asked, err = s.filterOf(r.Context(), p.some("filter", "filter-lang", "filter-crs"), trees); err != nil {
		return q, err
	}
	q.site, err = s.site(r.Context(), p["site"])
	return q, err
}

// some keeps some of the parameters.
func (p params) some(names ...string) params {
	out := params{}
	for _, name := range names {
		if v, ok := p[name]; ok {
			out[name] = v
		}
	}
	return out
}

// handleTreeWeeks gives the weeks under many trees.
func (s *Server) handleTreeWeeks(w http.ResponseWriter, r *http.Request) error {
	q, err := s.weeksQuery(r, maxTreeWeeks, "filter", "filter-lang", "filter-crs", "limit")
	if err != nil {
		return err
	}
	if _, err := s.bringUpToDate(r.Context(), q.site); err != nil {
		return err
	}
	return s.sendWeeks(w, r, q.site, func(ctx context.Context, a *weeksAnswer) error {
		found, err := question.TreeWeeks(ctx, s.config.Store, q.site, q.boxes, q.asked, q.limit, s.config.Profile, s.now(ctx))
		if err != nil {
			return err
		}
		a.keep(found)
		for i := range found.Of {
			v := &found.Of[i]
			a.Trees = append(a.Trees, treeWeek{v.ID, filled(v.Name), v.Part.String(), sharedOf(v)})
		}
		return nil
	})
}

// handlePlaceWeeks gives the weeks of many whole places.
func (s *Server) handlePlaceWeeks(w http.ResponseWriter, r *http.Request) error {
	q, err := s.weeksQuery(r, maxPlaceWeeks)
	if err != nil {
		return err
	}
	return s.sendWeeks(w, r, q.site, func(ctx context.Context, a *weeksAnswer) error {
		found, err := question.PlaceWeeks(ctx, s.config.Store, q.site, q.boxes, maxPlaceWeeks, s.config.Profile)
		if err != nil {
			return blame("bbox", err)
		}
		a.keep(found)
		for i := range found.Of {
			a.Places = append(a.Places, placeWeek{found.Of[i].ID, sharedOf(&found.Of[i])})
		}
		return nil
	})
}

// sendWeeks answers with weeks that are kept for the state of the inventory that
// they are of: a map asks for the same box again and again.
func (s *Server) sendWeeks(w http.ResponseWriter, r *http.Request, site inventory.Site, fill func(context.Context, *weeksAnswer) error) error {
	state, err := s.state(r.Context())
	if err != nil {
		return err
	}
	contentType(w, typeJSON)
	tag := s.etag(r, typeJSON, state)
	if s.unchanged(w, r, tag, false) || r.Method == http.MethodHead {
		return nil
	}
	links := []link{{Href: s.self(r), Rel: "self", Type: typeJSON}}
	kept, err := s.weeks.find(r.Context(), tag, func(ctx context.Context) ([]byte, error) {
		ctx, cancel := context.WithTimeout(ctx, s.config.RequestTimeout)
		defer cancel()
		done, err := wait(ctx, s.weekers)
		if err != nil {
			return nil, err
		}
		defer done()
		a := &weeksAnswer{
			Site: site.Name, TimeZone: site.TimeZone, FirstHour: "Monday 00:00", Weeks: []keptWeek{},
			Profile: s.config.Profile.Name, ProfileDigest: s.config.Profile.Digest, AsOf: s.now(ctx).Format(time.DateOnly),
			Note: weeksNote, Cautions: question.Cautions, Links: links,
		}
		if err := fill(ctx, a); err != nil {
			return nil, err
		}
		body, err := json.Marshal(a)
		return append(body, '\n'), err
	})
	if err != nil {
		return err
	}
	return writeBody(w, r, kept.plain)
}

// keep takes over the weeks that shares are of.
func (a *weeksAnswer) keep(found *question.Weeks) {
	a.More = found.More
	for i := range found.Kept {
		k := &found.Kept[i]
		v := keptWeek{Name: filled(k.Name), Factors: rounded(k.Factors[:])}
		if k.Counted.OK {
			id := int64(k.Counted.V)
			v.Counted = &id
		}
		a.Weeks = append(a.Weeks, v)
	}
}

func sharedOf(v *question.WeekOf) sharedWeek {
	out := sharedWeek{Mean: ranking.Rounded(v.Mean), Weeks: make([]int, len(v.Shares)), Persons: make([]float64, len(v.Shares))}
	for i, share := range v.Shares {
		out.Weeks[i], out.Persons[i] = share.Week, ranking.Rounded(share.Persons)
	}
	return out
}
