package main

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
)

// sameAnswers compares what is measured: a page of the service with those of the
// bare handlers, feature by feature and property by property. They differ in what
// the bare ones leave out: the rank, how numbers are rounded and instants written.
func (b *bench) sameAnswers(ours, floor *server, p *places) error {
	read := func(s *server, path string) (list []map[string]any, err error) {
		body, err := once(s.at[0], path)
		if err != nil {
			return nil, err
		}
		var page struct {
			Features []struct {
				ID         float64
				Geometry   struct{ Coordinates []any }
				Properties map[string]any
			}
		}
		if err := json.Unmarshal(body, &page); err != nil {
			return nil, fmt.Errorf("%s: %w", path, err)
		}
		for _, f := range page.Features {
			f.Properties["id"], f.Properties["coordinates"] = f.ID, f.Geometry.Coordinates
			list = append(list, f.Properties)
		}
		return list, nil
	}
	want, err := read(ours, "/collections/trees/items?limit=1000&cursor="+p.cursors[0])
	if err != nil {
		return err
	}
	for _, how := range []string{"/go", "/sql"} {
		got, err := read(floor, fmt.Sprintf("%s/items?limit=1000&after=%d", how, p.after[0]))
		if err != nil {
			return err
		}
		if len(got) != len(want) {
			return fmt.Errorf("%s: %d features, the service has %d", how, len(got), len(want))
		}
		for i := range want {
			if len(got[i]) != len(want[i]) {
				return fmt.Errorf("%s: feature %v has %d properties, in the service %d", how, want[i]["id"], len(got[i]), len(want[i]))
			}
			for name, v := range want[i] {
				if w, ok := got[i][name]; !ok || name != "rank" && name != "changed_at" && !alike(v, w) {
					return fmt.Errorf("%s: %s of feature %v is %v, in the service %v", how, name, want[i]["id"], w, v)
				}
			}
		}
	}
	return nil
}

// alike compares values up to rounding, and lists as sets.
func alike(a, b any) bool {
	switch a := a.(type) {
	case float64:
		b, ok := b.(float64)
		return ok && math.Abs(a-b) <= 0.0501
	case []any:
		b, ok := b.([]any)
		if !ok || len(a) != len(b) {
			return false
		}
		for i, v := range a {
			if _, number := v.(float64); number && alike(v, b[i]) {
				continue
			}
			if !slices.Contains(b, v) {
				return false
			}
		}
		return true
	case map[string]any:
		b, ok := b.(map[string]any)
		return ok && len(a) == len(b)
	}
	return a == b
}
