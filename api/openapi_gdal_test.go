package api_test

import (
	"fmt"
	"os/exec"
	"regexp"
	"testing"
)

// ogrCount is how many features GDAL's driver of OGC API - Features finds.
func (s *service) ogrCount(t *testing.T, id, where string) string {
	t.Helper()
	args := []string{"-ro", "-so", "-oo", "PAGE_SIZE=1000", "OAPIF:" + s.web.URL + "/collections/" + id, id}
	if where != "" {
		args = append([]string{"-where", where}, args...)
	}
	out, err := exec.CommandContext(t.Context(), "ogrinfo", args...).CombinedOutput()
	m := regexp.MustCompile(`Feature Count: (\d+)`).FindSubmatch(out)
	if err != nil || m == nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return string(m[1])
}

// TestGDALReadsTheDescription asks GDAL, which reads the link describedBy, the
// definition and resultType, and compares what it finds with what is stored. It
// sends a comparison with any date as the parameter datetime, which is about one
// property only: the others are described to it as texts.
func TestGDALReadsTheDescription(t *testing.T) {
	if _, err := exec.LookPath("ogrinfo"); err != nil {
		t.Skip("ogrinfo is not there")
	}
	s := serve(t, nil)
	s.run(t)
	s.exec(t, `INSERT INTO visits (client_id, site_id, tree_id, visited_on, next_visit_on) SELECT 1, 1, n, date '2020-01-01' + n, date '2025-01-01' + 2 * n FROM generate_series(1, 200) n`)
	for _, c := range []struct {
		collection, where string
		want              int
	}{
		{"trees", "", 260},
		{"trees", "tag = 'T17'", 1},
		{"trees", "planted_year = 1999", 4},
		{"trees", "height_m > 15", len(s.kept(t, "trees", func(f feature) bool { v, ok := f.Properties["height_m"].(float64); return ok && v > 15 }))},
		{"trees", "status = 'dead' AND height_m > 10", len(s.kept(t, "trees", func(f feature) bool {
			v, ok := f.Properties["height_m"].(float64)
			return ok && v > 10 && f.Properties["status"] == "dead"
		}))},
		{"visits", "visited_on >= '2020/07/01'", 20},
		// With every date described as one, this would be asked of visited_on.
		{"visits", "next_visit_on >= '2026-01-01'", 18},
	} {
		if got := s.ogrCount(t, c.collection, c.where); got != fmt.Sprint(c.want) {
			t.Errorf("%s where %s: %s, want %d", c.collection, c.where, got, c.want)
		}
	}
}
