package main

import (
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// Every question that is computed can be asked as of an instant, and is then
// answered as it was.
func TestAsOf(t *testing.T) {
	s, url := kept(t)
	load(s)
	questions := [][]string{
		{"rank", "--format", "json", "--limit", "0"},
		{"explain", "T1", "--format", "json"},
		{"hours", "T1", "--format", "json"},
		{"places", "--format", "json"},
		{"grid"},
		{"rank", "--format", "json", "--what-if", "tree T2 removed"},
	}
	ask := func(asOf string) (out []string) {
		for _, q := range questions {
			args := append(append([]string(nil), q...), "--day", "2026-06-01")
			if asOf != "" {
				args = append(args, "--as-of", asOf)
			}
			out = append(out, withoutRun(s.ok(args...)))
		}
		return out
	}
	before := ask("")
	at := pgtest.Query(t, url, `SELECT to_char(clock_timestamp() AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"')`)[0]
	time.Sleep(2 * time.Millisecond)
	pgtest.Exec(t, url, `UPDATE trees SET height_m = 30, crown_radius_m = 9 WHERE tag = 'T1'`)
	pgtest.Exec(t, url, `UPDATE targets SET stalls = 400`)
	now, then := ask(""), ask(at)
	for i, q := range questions {
		if then[i] != before[i] {
			t.Errorf("%v as of the instant\n%s\nwas\n%s", q, then[i], before[i])
		}
		if now[i] == before[i] {
			t.Errorf("%v is as before the edits: the comparison says nothing", q)
		}
	}
	for _, c := range []struct{ asOf, want string }{{"2200-01-01", "yet to come"}, {"last week", "expected an instant"}} {
		if a := s.run("rank", "--as-of", c.asOf); a.status != 2 || !strings.Contains(a.stderr, c.want) || !strings.Contains(a.stderr, "--as-of") {
			t.Errorf("--as-of %s: %d %s", c.asOf, a.status, a.stderr)
		}
	}
}

// withoutRun drops what says which computation an answer is of.
func withoutRun(s string) string {
	var lines []string
	for _, line := range strings.Split(s, "\n") {
		if !strings.Contains(line, "computed_at") && !strings.Contains(line, "generation") {
			lines = append(lines, line)
		}
	}
	return strings.Join(lines, "\n")
}

func TestQuestionCommand(t *testing.T) {
	s, _ := kept(t)
	load(s)
	if out := s.ok("question", "list"); !strings.Contains(out, "No question is kept") {
		t.Error(out)
	}
	if out := s.ok("question", "save", "topped", "A_CONTAINS(cut_kinds, ('topping'))", "--title", "Topped trees"); !strings.Contains(out, "/collections/topped") {
		t.Error(out)
	}
	if out := s.ok("question", "list"); !strings.Contains(out, "A_CONTAINS(cut_kinds, ('topping'))") || !strings.Contains(out, "pat") {
		t.Error(out)
	}
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"save", "x", "height_m >"}, "column"},
		{[]string{"save", "x", "hight_m > 3"}, "hight_m"},
		{[]string{"save", "trees", "height_m > 3"}, "a collection of the service has it"},
		{[]string{"drop", "y"}, "no saved question"},
	} {
		if a := s.run(append([]string{"question"}, c.args...)...); a.status != 2 || !strings.Contains(a.stderr, c.want) {
			t.Errorf("%v: %d %s", c.args, a.status, a.stderr)
		}
	}
	s.ok("question", "drop", "topped")
	if out := s.ok("question", "list"); !strings.Contains(out, "No question is kept") {
		t.Error(out)
	}
}
