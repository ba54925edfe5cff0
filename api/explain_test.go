package api_test

import (
	"encoding/json"
	"fmt"
	"net/url"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory/question"
)

// TestExplain sets a tree's opened sum beside its row in the ranking and beside
// the collection of overlaps.
func TestExplain(t *testing.T) {
	s := serve(t, nil)
	row := s.features(t, "/ranking?limit=1").Features[0]
	var x struct {
		Tree     int64   `json:"tree_id"`
		Tag      string  `json:"tag"`
		Harm     float64 `json:"harm_index"`
		From     string  `json:"height_from"`
		Reason   string
		Cautions string
		Parts    []struct {
			Part    string
			Zone    string
			Targets []struct {
				Target int64   `json:"target_id"`
				AreaM2 float64 `json:"area_m2"`
			}
		}
		Links []struct{ Rel string }
	}
	tag := row.Properties["tag"].(string)
	r := s.get(t, "/explain?tag="+url.QueryEscape(tag))
	if err := json.Unmarshal(r.body, &x); err != nil || r.header.Get("Content-Type") != "application/json" {
		t.Fatal(err, r.header, string(r.body))
	}
	if x.Tag != tag || x.Harm != row.Properties["harm_index"] || x.From != row.Properties["height_from"] || x.Cautions != question.Cautions || !strings.Contains(x.Reason, tag) || len(x.Links) == 0 {
		t.Errorf("%+v of %v", x, row.Properties)
	}
	parts, overlaps := 0, 0
	for _, p := range x.Parts {
		if parts++; p.Zone == "" {
			t.Errorf("no zone of the %s", p.Part)
		}
		overlaps += len(p.Targets)
	}
	if listed := s.features(t, fmt.Sprintf("/collections/overlaps/items?limit=1000&tree_id=%d", x.Tree)).Features; len(listed) != overlaps || overlaps == 0 {
		t.Errorf("%d overlaps, the collection has %d", overlaps, len(listed))
	}
	for query, parameter := range map[string]string{"": "tag", "tag=%00": "tag", "tag=T30&f=csv": "f", "tag=T30&site=Nowhere": "site", "tag=T30&limit=3": "limit"} {
		s.problem(t, "/explain?"+query, 400, parameter)
	}
	s.problem(t, "/explain?tag=nobody", 404, "tag")
}
