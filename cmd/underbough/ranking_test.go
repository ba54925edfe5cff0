package main

import (
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"fmt"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// kept is a shell on a database that can be asked beside it.
func kept(t *testing.T) (s shell, url string) {
	url = pgtest.URL(t)
	return shell{t: t, dir: t.TempDir(), env: []string{"UNDERBOUGH_DATABASE=" + url, "USER=pat"}}, url
}

func TestRankingRecords(t *testing.T) {
	s, url := kept(t)
	load(s)
	if out := s.ok("ranking", "list"); !strings.Contains(out, "No ranking is kept yet") {
		t.Errorf("before any: %s", out)
	}
	run := []string{"ranking", "run", "--cut", "topping", "--day", "2026-06-01", "--draws", "100", "--seed", "9", "--top", "2", "--season", "leaf-on"}
	first := s.ok(append(run, "--name", "before the work")...)
	if !strings.Contains(first, "Ranking 1, before the work: 4 of 5 standing trees of Birch Street: trees carrying topping by harm, season leaf-on, 100 draws (seed 9)") || !strings.Contains(first, cautions) {
		t.Errorf("run: %s", first)
	}
	var list []struct {
		ID     int64
		Digest string
		By     string `json:"made_by"`
		Rows   int
	}
	fromJSON(t, s.ok("ranking", "list", "--format", "json"), &list)
	if len(list) != 1 || list[0].By != "pat" || list[0].Rows != 4 || !strings.Contains(first, list[0].Digest) {
		t.Fatalf("%+v", list)
	}
	// Anyone can check the digest with sha256sum.
	lines := s.run("ranking", "show", "1", "--format", "jsonl")
	if sum := sha256.Sum256([]byte(lines.stdout)); hex.EncodeToString(sum[:]) != list[0].Digest || !strings.Contains(lines.stderr, cautions) {
		t.Errorf("rows %s hash to %x, digest %s", lines.stdout, sum, list[0].Digest)
	}
	records, err := csv.NewReader(strings.NewReader(s.ok("ranking", "show", "1", "--format", "csv"))).ReadAll()
	if err != nil || len(records) != 5 || records[0][0] != "rank" || records[1][0] != "1" {
		t.Errorf("%v, %v", records, err)
	}
	if table := s.ok("ranking", "show", "1"); !strings.Contains(table, records[1][1]) || !strings.Contains(table, list[0].Digest) {
		t.Errorf("show: %s", table)
	}

	// A tree is cut down, another measured anew; the record stays as it was.
	pgtest.Exec(t, url, `UPDATE trees SET status = 'removed' WHERE tag = 'T1'`)
	pgtest.Exec(t, url, `UPDATE trees SET crown_radius_m = 6.5 WHERE tag = 'T2'`)
	if out := s.ok("ranking", "rerun", "1"); !strings.Contains(out, "the same bytes, digest "+list[0].Digest) {
		t.Errorf("rerun: %s", out)
	}
	s.ok(append(run, "--name", "after the work")...)
	compared := s.ok("ranking", "compare", "1", "2")
	for _, want := range []string{"from ranking 1, before the work (4 rows), to ranking 2, after the work (3 rows)", "went", "not in the later ranking", "crown radius m 4.00 → 6.50", cautions} {
		if !strings.Contains(compared, want) {
			t.Errorf("%q is not in\n%s", want, compared)
		}
	}
	var moves struct {
		Rows []struct {
			Label string
			After *int `json:"rank_after"`
			Why   string
		}
	}
	fromJSON(t, s.ok("ranking", "compare", "1", "2", "--format", "json"), &moves)
	if len(moves.Rows) < 2 || moves.Rows[0].Label != "T1" || moves.Rows[0].After != nil {
		t.Errorf("%+v", moves)
	}
	if same := s.ok("ranking", "compare", "2", "2"); !strings.Contains(same, "No tree moved") {
		t.Errorf("with itself: %s", same)
	}

	// What was tampered with comes to light, and the status says so.
	pgtest.Exec(t, url, `UPDATE ranked SET row = regexp_replace(row, '"people":[0-9.e-]+', '"people":7') WHERE ranking_id = 2 AND place = 2`)
	a := s.run("ranking", "rerun", "2")
	if want := "ranking 2 does not come out the same: place 2 ("; a.status != 1 || a.stdout != "" || !strings.Contains(a.stderr, want) || !strings.Contains(a.stderr, "people was 7, is 0.") {
		t.Errorf("expected %q: %+v", want, a)
	}
	pgtest.Exec(t, url, `DELETE FROM ranked WHERE ranking_id = 1 AND place = 4`)
	if a := s.run("ranking", "rerun", "1"); a.status != 1 || !strings.Contains(a.stderr, "place 4 was not in it") {
		t.Errorf("%+v", a)
	}
}

func TestRankingOfTwoSites(t *testing.T) {
	s := onDatabase(t)
	load(s)
	s.ok("import", "trees.geojson", "--site", "Elm Street", "--as", "trees")
	for _, site := range []string{"Birch Street", "Elm Street"} {
		s.ok("ranking", "run", "--name", site, "--site", site)
	}
	if out := s.ok("ranking", "list", "--site", "Elm Street"); strings.Contains(out, "Birch") || !strings.Contains(out, "Elm") {
		t.Errorf("list: %s", out)
	}
	if a := s.run("ranking", "compare", "1", "2"); a.status != 2 || !strings.Contains(a.stderr, `"Birch Street"`) || !strings.Contains(a.stderr, `"Elm Street"`) {
		t.Errorf("%+v", a)
	}
	if a := s.run("ranking", "run", "--name", strings.Repeat("x", 300), "--site", "Elm Street"); a.status != 2 || !strings.Contains(a.stderr, fmt.Sprint(200)) {
		t.Errorf("%+v", a)
	}
}
