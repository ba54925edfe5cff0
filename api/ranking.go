package api

import (
	"context"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// rankingQuestion is what a request asks of a ranking.
type rankingQuestion struct {
	site   inventory.Site
	form   string
	query  ranking.Query
	season profile.Season
	draws  question.Draws
}

// rankingForms are the forms of a ranking, the usual one first.
var rankingForms = []string{typeGeoJSON, typeCSV}

// rankingQuery reads the question, in the words of the rank command.
func (s *Server) rankingQuery(r *http.Request) (a rankingQuestion, err error) {
	p, err := parseParams(r, "site", "over", "cut", "since", "by", "limit", "season", "draws", "seed", "top", "f")
	if err != nil {
		return a, err
	}
	if a.form, err = negotiate(r, p, rankingForms...); err != nil {
		return a, err
	}
	q := &a.query
	if q.By, err = p.by(); err != nil {
		return a, err
	}
	if q.Over, err = p.kinds("over"); err != nil {
		return a, err
	}
	if cut, ok := p["cut"]; ok {
		if q.Cuts, err = question.ParseCuts(strings.Split(cut, ",")); err != nil {
			return a, &parameterError{"cut", err.Error()}
		}
	}
	if q.Since, err = p.whole("since", 0, 1, 9999); err != nil {
		return a, err
	}
	if q.Limit, err = p.limit(); err != nil {
		return a, err
	}
	// Without a word it is the profile's own, which need not be the year.
	if season, ok := p["season"]; ok {
		if a.season, err = profile.ParseSeason(season); err != nil {
			return a, &parameterError{"season", err.Error()}
		}
	}
	if a.draws, err = p.draws(); err != nil {
		return a, err
	}
	a.site, err = s.site(r.Context(), p["site"])
	return a, err
}

// by reads an order.
func (p params) by() (ranking.By, error) {
	word, ok := p["by"]
	if !ok {
		return ranking.ByHarm, nil
	}
	by, err := ranking.ParseBy(word)
	if err != nil {
		return "", &parameterError{"by", err.Error()}
	}
	return by, nil
}

// kinds reads kinds of target.
func (p params) kinds(name string) ([]inventory.TargetKind, error) {
	words, ok := p[name]
	if !ok {
		return nil, nil
	}
	kinds, err := question.ParseKinds(strings.Split(words, ","))
	if err != nil {
		return nil, &parameterError{name, err.Error()}
	}
	return kinds, nil
}

// draws reads how sure places are to be told, which needs a number of draws.
func (p params) draws() (d question.Draws, err error) {
	if err := p.only("draws", "seed", "top"); err != nil {
		return d, err
	}
	if d.Number, err = p.whole("draws", 0, 1, maxDraws); err != nil || d.Number == 0 {
		return d, err
	}
	d.Seed = 1
	if seed, ok := p["seed"]; ok {
		if d.Seed, err = strconv.ParseUint(seed, 10, 64); err != nil {
			return d, paramError("seed", seed, "expected a whole number from 0")
		}
	}
	d.Top, err = p.whole("top", 10, 1, maxDrawnTrees)
	return d, err
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
	case len(sites) == 0 && isPast(ctx):
		return inventory.Site{}, inventory.Errorf(inventory.NotFound, "nothing was recorded as of %s: choose a later day", s.now(ctx).Format(time.DateOnly))
	case len(sites) == 0:
		return inventory.Site{}, inventory.Errorf(inventory.NotFound, "there is no site yet: import trees first")
	case name == "":
		return inventory.Site{}, &parameterError{"site", "missing: say which of " + strings.Join(names, ", ")}
	}
	return inventory.Site{}, paramError("site", name, "expected one of "+strings.Join(names, ", "))
}

// bringUpToDate makes sure that the exposures in force are those of the site
// as it stands, and returns their run. Requests that come together wait for one
// run, which goes on when the first of them is gone.
func (s *Server) bringUpToDate(ctx context.Context, site inventory.Site) (inventory.Run, error) {
	done := s.runs.DoChan(strconv.FormatInt(int64(site.ID), 10)+s.pastInstant(ctx), func() (_ any, err error) {
		defer inventory.Recover(&err)
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Minute)
		defer cancel()
		return question.UpToDate(ctx, s.config.Store, site, s.config.Profile, s.now(ctx), false)
	})
	select {
	case result := <-done:
		if result.Err != nil {
			return inventory.Run{}, result.Err
		}
		return result.Val.(inventory.Run), nil
	case <-ctx.Done():
		return inventory.Run{}, ctx.Err()
	}
}

// handleRanking answers the standing question in order.
func (s *Server) handleRanking(w http.ResponseWriter, r *http.Request) error {
	a, err := s.rankingQuery(r)
	if err != nil {
		return err
	}
	run, err := s.bringUpToDate(r.Context(), a.site)
	if err != nil {
		return err
	}
	p := s.config.Profile.In(a.season)
	aside := p.Digest != s.config.Profile.Digest
	sweeps := aside || a.draws.Number > 0
	if sweeps {
		if err := checkSweep(run, aside, a.draws.Number); err != nil {
			return err
		}
	}
	state, err := s.state(r.Context())
	if err != nil {
		return err
	}
	contentType(w, a.form)
	if s.unchanged(w, r, s.etag(r, a.form, state), true) || r.Method == http.MethodHead {
		return nil
	}
	answer, err := s.rank(r.Context(), &a, p, sweeps)
	if err != nil {
		return err
	}
	return s.writeListing(w, s.listRanking(r, answer, a.form), a.form)
}

// rank asks what is in force, or in its turn what must be gone through anew.
func (s *Server) rank(ctx context.Context, a *rankingQuestion, p *profile.Profile, sweeps bool) (*question.Ranking, error) {
	if sweeps {
		done, err := s.waitToSweep(ctx)
		if err != nil {
			return nil, err
		}
		defer done()
	}
	if p.Digest != s.config.Profile.Digest {
		return question.RankAside(ctx, s.config.Store, a.site, a.query, a.draws, p, s.config.Now())
	}
	return question.Rank(ctx, s.config.Store, a.site, a.query, a.draws, p, s.config.Now())
}

func (s *Server) listRanking(r *http.Request, a *question.Ranking, form string) *listing {
	head := append(s.basis(a.Site, a.Run), ranking.Property{Name: "by", Value: string(a.Query.By)})
	if a.Draws.Number > 0 {
		head = append(head, ranking.Property{Name: "draws", Value: a.Draws.Number},
			ranking.Property{Name: "seed", Value: a.Draws.Seed}, ranking.Property{Name: "top", Value: a.Draws.Top})
	}
	if a.Note != "" {
		head = append(head, ranking.Property{Name: "note", Value: a.Note})
	}
	var empty ranking.Row
	return &listing{
		head: head, columns: columnsOf(empty.Properties()), points: true, matched: a.Total, links: s.alternates(r, form, rankingForms),
		rows: func(yield func(listed, error) bool) {
			for i := range a.Rows {
				row := &a.Rows[i]
				if !yield(listed{id: int64(row.Tree), geometry: row.Point, properties: row.Properties()}, nil) {
					return
				}
			}
		},
	}
}

// basis says what an answer rests on.
func (s *Server) basis(site inventory.Site, run inventory.Run) []ranking.Property {
	return []ranking.Property{
		{Name: "site", Value: site.Name},
		{Name: "standing_trees", Value: run.Trees},
		{Name: "targets", Value: run.Targets},
		{Name: "profile", Value: run.ProfileName},
		{Name: "profile_digest", Value: run.ProfileDigest},
		{Name: "as_of", Value: run.AsOf.Format(time.DateOnly)},
	}
}
