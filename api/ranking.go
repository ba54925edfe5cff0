package api

import (
	"context"
	"fmt"
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
	dst = append(dst, `},"properties":{`...)
	for i, p := range r.Properties() {
		if i > 0 {
			dst = append(dst, ',')
		}
		dst = append(appendString(dst, p.Name), ':')
		dst = appendAny(dst, p.Value)
	}
	return append(dst, '}', '}')
}

// appendAny appends any value that a ranking's property may have.
func appendAny(dst []byte, v any) []byte {
	switch v := v.(type) {
	case nil:
		return append(dst, "null"...)
	case string:
		return appendString(dst, v)
	case bool:
		return appendBool(dst, v)
	case int:
		return strconv.AppendInt(dst, int64(v), 10)
	case float64:
		return appendFloat(dst, v, 12)
	case []string:
		return appendTexts(dst, v)
	case []float64:
		return appendList(dst, v)
	case []int:
		return appendList(dst, v)
	}
	panic(fmt.Sprintf("a ranking's property is a %T", v))
}

func appendList[T int | float64](dst []byte, list []T) []byte {
	dst = append(dst, '[')
	for i, v := range list {
		if i > 0 {
			dst = append(dst, ',')
		}
		dst = appendAny(dst, v)
	}
	return append(dst, ']')
}
