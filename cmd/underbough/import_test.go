package main

import (
	"fmt"
	"strings"
	"testing"
)

func TestImportCountsAndCrowns(t *testing.T) {
	s := onDatabase(t)
	load(s)
	var rows strings.Builder
	rows.WriteString("target,counted_at,count\n")
	for quarter := range 8 {
		fmt.Fprintf(&rows, "Market lot,2026-03-02T%02d:%02d,%d\n", 8+quarter/4, 15*(quarter%4), 3+quarter)
	}
	s.write("counts.csv", rows.String())
	args := []string{"import", "counts.csv", "--site", "Birch Street", "--as", "counts"}
	if a := s.run(args...); a.status == 0 || !strings.Contains(a.stderr, "--what people or --what vehicles") {
		t.Errorf("%d %s", a.status, a.stderr)
	}
	if a := s.run(append(args, "--what", "boats")...); a.status == 0 || !strings.Contains(a.stderr, `what: "boats" is none of people, vehicles`) {
		t.Errorf("%d %s", a.status, a.stderr)
	}
	if out := s.ok(append(args, "--what", "vehicles")...); !strings.Contains(out, "8 read = 8 added") || !strings.Contains(out, "6 further records were summed into the hours they are parts of") {
		t.Error(out)
	}
	if out := s.ok(append(args, "--what", "vehicles", "--layer", "elsewhere")...); !strings.Contains(out, "8 quarantined") {
		t.Error(out)
	}
	s.write("crowns.geojson", `{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"tag":"T4"},"geometry":{"type":"Polygon","coordinates":[[[8.51995,47.20005],[8.52005,47.20015],[8.52005,47.20005],[8.51995,47.20015],[8.51995,47.20005]]]}}]}`)
	if out := s.ok("import", "crowns.geojson", "--site", "Birch Street", "--as", "crowns"); !strings.Contains(out, "1 updated") || !strings.Contains(out, "1 invalid outline of a crown repaired") {
		t.Error(out)
	}
}
