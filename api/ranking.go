package api

import (
	"context"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// rankingQuery reads the question, in the words of the rank command.
func (s *Server) rankingQuery(r *http.Request) (site inventory.Site, q ranking.Query, err error) {
	p, err := parseParams(r, "site", "over", "cut", "since", "by", "limit", "f")
	if err != nil {
		return site, q, err
	}
	if _, err := negotiate(r, p, typeGeoJSON); err != nil {
		return site, q, err
	}
	q.By = ranking.ByHarm
	if by, ok := p["by"]; ok {
		if q.By, err = ranking.ParseBy(by); err != nil {
			return site, q, &parameterError{"by", err.Error()}
		}
	}
	if over, ok := p["over"]; ok {
		if q.Over, err = question.ParseKinds(strings.Split(over, ",")); err != nil {
			return site, q, &parameterError{"over", err.Error()}
		}
	}
	if cut, ok := p["cut"]; ok {
		if q.Cuts, err = question.ParseCuts(strings.Split(cut, ",")); err != nil {
			return site, q, &parameterError{"cut", err.Error()}
		}
	}
	if since, ok := p["since"]; ok {
		if q.Since, err = strconv.Atoi(since); err != nil || q.Since < 1 || q.Since > 9999 {
			return site, q, paramError("since", since, "expected a year")
		}
	}
	if q.Limit, err = p.limit(); err != nil {
		return site, q, err
	}
	site, err = s.site(r.Context(), p["site"])
	return site, q, err
}

// site finds a site by name; without one, the only site there is.
func (s *Server) site(ctx context.Context, name string) (inventory.Site, error) {
	sites, err := s.config.Store.FindSites(ctx, s.config.Client)
	if err != nil {
		return inventory.Site{}, err
	}
	if name == "" && len(sites) == 1 {
		return sites[0], nil
	}
	names := make([]string, len(sites))
	for i, site := range sites {
		names[i] = site.Name
	}
	if i := slices.Index(names, name); i >= 0 {
		return sites[i], nil
	}
	switch {
	case len(sites) == 0:
		return inventory.Site{}, inventory.Errorf(inventory.NotFound, "there is no site yet: import trees first")
	case name == "":
		return inventory.Site{}, &parameterError{"site", "missing: say which of " + strings.Join(names, ", ")}
	}
	return inventory.Site{}, paramError("site", name, "expected one of "+strings.Join(names, ", "))
}

// bringUpToDate makes sure that the exposures in force are those of the site
// as it stands. Requests that come together wait for one run, which goes on
// when the first of them is gone.
func (s *Server) bringUpToDate(ctx context.Context, site inventory.Site) error {
	done := s.runs.DoChan(strconv.FormatInt(int64(site.ID), 10), func() (any, error) {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Minute)
		defer cancel()
		_, err := question.UpToDate(ctx, s.config.Store, site, s.config.Profile, s.config.Now(), false)
		return nil, err
	})
	select {
	case result := <-done:
		return result.Err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// handleRanking answers the standing question as GeoJSON in order.
func (s *Server) handleRanking(w http.ResponseWriter, r *http.Request) error {
	site, q, err := s.rankingQuery(r)
	if err != nil {
		return err
	}
	if err := s.bringUpToDate(r.Context(), site); err != nil {
		return err
	}
	state, err := s.state(r.Context())
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", typeGeoJSON)
	if s.unchanged(w, r, s.etag(r, typeGeoJSON, state), true) || r.Method == http.MethodHead {
		return nil
	}
	answer, err := question.Rank(r.Context(), s.config.Store, site, q, s.config.Profile, s.config.Now())
	if err != nil {
		return err
	}
	page := &page{stream: s.newStream(w)}
	page.buf = append(page.buf, `{"type":"FeatureCollection","features":[`...)
	for i := range answer.Rows {
		if i > 0 {
			page.buf = append(page.buf, ',')
		}
		page.buf = appendRanked(page.buf, &answer.Rows[i])
		page.returned++
		if err := page.push(); err != nil {
			return err
		}
	}
	page.finish([]link{{Href: s.self(r), Rel: "self", Type: typeGeoJSON}}, answer.Total, true, s.config.Now())
	return page.send()
}

// appendRanked appends one tree of a ranking.
func appendRanked(dst []byte, r *ranking.Row) []byte {
	dst = append(dst, `{"type":"Feature","id":`...)
	dst = strconv.AppendInt(dst, int64(r.Tree), 10)
	dst = append(dst, `,"geometry":{"type":"Point","coordinates":`...)
	dst = appendPosition(dst, r.Point[0], r.Point[1])
	o := object{append(dst, `},"properties":{`...), true}
	o.integer("rank", r.Rank)
	o.text("tag", r.Tag)
	o.text("source_id", r.SourceID)
	o.text("species", r.Species)
	o.text("common_name", r.CommonName)
	o.name("over")
	o.b = append(o.b, '[')
	for i, u := range r.Over {
		if i > 0 {
			o.b = append(o.b, ',')
		}
		in := object{append(o.b, '{'), true}
		in.text("kind", string(u.Kind))
		in.number("length_m", u.LengthM, 2)
		in.number("area_m2", u.AreaM2, 2)
		in.integer("points", u.Points)
		o.b = append(in.b, '}')
	}
	o.b = append(o.b, ']')
	o.texts("within", words(r.Within))
	o.number("people", r.Count.Persons(), 6)
	o.number("people_sheltered", r.Count.Sheltered, 6)
	o.number("vehicles", r.Count.Vehicles, 6)
	o.number("person_hours_year", r.PersonHours(), 1)
	o.number("busiest_people", r.Week.Busiest, 6)
	o.integer("busiest_hour", r.Week.BusiestHour)
	o.number("occupied_share", r.Week.Occupied, 4)
	o.text("cuts", r.CutSummary())
	o.optional("last_topped", r.LastTopped())
	o.text("likelihood", r.Likelihood)
	o.text("part", r.Part)
	o.flag("inferred", r.Inferred())
	o.text("rule", r.Rule)
	o.flag("stale", r.Stale)
	o.number("harm", r.Harm, 9)
	o.text("rating", r.Rating)
	o.number("height_m", r.Height, 2)
	o.flag("height_estimated", r.HeightEstimated)
	o.number("crown_radius_m", r.CrownRadius, 2)
	o.flag("crown_radius_estimated", r.CrownEstimated)
	o.text("reason", r.Reason())
	return append(o.b, '}', '}')
}

func words[T ~string](list []T) []string {
	out := make([]string, len(list))
	for i, w := range list {
		out[i] = string(w)
	}
	return out
}

// object appends the members of a JSON object.
type object struct {
	b     []byte
	first bool
}

func (o *object) name(s string) {
	if !o.first {
		o.b = append(o.b, ',')
	}
	o.first = false
	o.b = append(appendString(o.b, s), ':')
}

// text writes null for no text.
func (o *object) text(name, v string) {
	o.name(name)
	if v == "" {
		o.b = append(o.b, "null"...)
		return
	}
	o.b = appendString(o.b, v)
}

func (o *object) texts(name string, v []string) {
	o.name(name)
	o.b = appendTexts(o.b, v)
}

func (o *object) integer(name string, v int) {
	o.name(name)
	o.b = strconv.AppendInt(o.b, int64(v), 10)
}

func (o *object) optional(name string, v inventory.Opt[int]) {
	if v.OK {
		o.integer(name, v.V)
		return
	}
	o.text(name, "")
}

func (o *object) number(name string, v float64, decimals int) {
	o.name(name)
	o.b = appendFloat(o.b, v, decimals)
}

func (o *object) flag(name string, v bool) {
	o.name(name)
	o.b = appendBool(o.b, v)
}
