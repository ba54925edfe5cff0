package api_test

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"net/url"
	"os/exec"
	"regexp"
	"strings"
	"testing"
)

// What is printed is of the jobs, and nothing in it runs or is fetched.
func TestSheets(t *testing.T) {
	s := serve(t, editing)
	s.exec(t, `UPDATE trees SET species = '<script>alert(1)</script><style>*{display:none}</style>' WHERE tag = 'T66'`)
	programme, jobs := s.planned(t)
	j := first(t, jobs, "restoration")
	for _, one := range jobs {
		if one["tag"] == "T66" && one["visit"] == 1.0 {
			j = one
		}
	}
	year, pack := fmt.Sprint(j["year"]), url.QueryEscape(fmt.Sprint(j["package"]))
	pages := map[string]string{"/crew-sheet?year=" + year + "&package=" + pack: fmt.Sprint(j["tag"]), "/report": "Five years", "/report?top=1&programme=" + fmt.Sprint(programme["programme_id"]): "Low Quarter"}
	for path, says := range pages {
		r := s.get(t, path)
		body := string(r.body)
		if r.status != 200 || !strings.Contains(body, says) || r.header.Get("Content-Type") != "text/html; charset=utf-8" || r.header.Get("Cache-Control") != "no-store" {
			t.Errorf("%s: %d, %v, %.200s", path, r.status, r.header, body)
		}
		policy := r.header.Get("Content-Security-Policy")
		if !strings.HasPrefix(policy, "default-src 'none';") || strings.Contains(policy, "unsafe") || strings.Count(policy, "'sha256-") != strings.Count(body, "<style>") || strings.Contains(body, "<script") {
			t.Errorf("%s: policy %s of %d styles", path, policy, strings.Count(body, "<style>"))
		}
		if outside := regexp.MustCompile(`(?:src|href)="(?:https?:)?//[^"]*"`).FindString(body); outside != "" {
			t.Errorf("%s fetches %s", path, outside)
		}
		if again := s.get(t, path); string(again.body) != body {
			t.Errorf("%s differs when it is asked for at the same moment", path)
		}
	}
	s.problem(t, "/crew-sheet?year="+year, 400, "package")
	s.problem(t, "/crew-sheet?package="+pack, 400, "year")
	s.problem(t, "/crew-sheet?year=2199&package="+pack, 404, "package")
	s.problem(t, "/crew-sheet?year="+year+"&package="+pack+"&f=xlsx", 400, "f")
	s.problem(t, "/report?top=0", 400, "top")
	s.problem(t, "/report?top=201", 400, "top")
	s.problem(t, "/report?programme=999", 404, "programme")
	s.problem(t, "/bid-sheet?list=trees", 400, "list")
	s.problem(t, "/bid-sheet?f=csv&estimate=true", 400, "estimate")
	s.problem(t, "/bid-sheet?estimate=perhaps", 400, "estimate")
	s.problem(t, "/bid-sheet?year=2199", 404, "package")
}

// The sums of the bid sheet are those of the jobs.
func TestBidSheet(t *testing.T) {
	s := serve(t, editing)
	_, _ = s.planned(t)
	table := func(path string) [][]string {
		t.Helper()
		r := s.get(t, path)
		rows, err := csv.NewReader(bytes.NewReader(r.body)).ReadAll()
		if err != nil || r.status != 200 || !strings.HasPrefix(r.header.Get("Content-Type"), "text/csv") || !strings.HasPrefix(r.header.Get("Content-Disposition"), "attachment") {
			t.Fatal(path, err, r.status, r.header)
		}
		return rows
	}
	column := func(rows [][]string, name string) int {
		for i, c := range rows[0] {
			if c == name {
				return i
			}
		}
		t.Fatalf("there is no column %s in %v", name, rows[0])
		return 0
	}
	jobs := 0
	for _, j := range objects(s.json(t, "/jobs?year=2028&limit=1000&state=proposed")["jobs"]) {
		if j["work"] != "second opinion" { // a look is no work that bidders price
			jobs++
		}
		if j["state"] != "proposed" {
			t.Error(j["state"])
		}
	}
	trees := table("/bid-sheet?f=csv&list=trees&year=2028")
	quantities := table("/bid-sheet?f=csv&year=2028")
	visits, at := 0, column(quantities, "quantity")
	for _, row := range quantities[1:] {
		if row[column(quantities, "work")] == "mobilisation" {
			continue
		}
		n := 0
		fmt.Sscan(row[at], &n)
		visits += n
	}
	if jobs == 0 || len(trees)-1 != jobs || visits != jobs {
		t.Errorf("%d jobs, %d trees listed, %d visits to price", jobs, len(trees)-1, visits)
	}
	for _, hidden := range []string{"hours", "cost"} {
		for _, c := range append(trees[0], quantities[0]...) {
			if c == hidden {
				t.Errorf("bidders see %s", hidden)
			}
		}
	}
	book := func(path string) (sheets int, text string) {
		t.Helper()
		r := s.get(t, path)
		if r.status != 200 || !strings.HasPrefix(r.header.Get("Content-Type"), "application/vnd.openxmlformats") {
			t.Fatal(path, r.status, string(r.body))
		}
		z, err := zip.NewReader(bytes.NewReader(r.body), int64(len(r.body)))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range z.File {
			in, err := f.Open()
			if err != nil {
				t.Fatal(err)
			}
			b, err := io.ReadAll(in)
			in.Close()
			if err != nil {
				t.Fatal(err)
			}
			if strings.HasPrefix(f.Name, "xl/worksheets/sheet") {
				sheets++
			}
			text += string(b)
		}
		return sheets, text
	}
	plain, _ := book("/bid-sheet")
	withEstimate, _ := book("/bid-sheet?estimate=true")
	if withEstimate != plain+1 {
		t.Errorf("%d sheets, with the estimate %d", plain, withEstimate)
	}
	empty := serve(t, nil)
	empty.exec(t, `DELETE FROM jobs`)
	empty.problem(t, "/bid-sheet", 404, "package")
	empty.problem(t, "/crew-sheet?year=2027&package=x", 404, "package")
}

// Printed where Chromium is; poppler reads the outcome.
func TestReportPrinted(t *testing.T) {
	s := serve(t, editing)
	t.Run("where there is no browser it says what to install", func(t *testing.T) {
		t.Setenv("PATH", t.TempDir())
		r := s.get(t, "/report?f=pdf")
		r.want(t, 501, "chromium", "f=html")
	})
	if _, err := exec.LookPath("chromium"); err != nil {
		t.Skip("there is no Chromium here: make test installs it")
	}
	r := s.get(t, "/report?f=pdf&top=2")
	if r.status != 200 || r.header.Get("Content-Type") != "application/pdf" || !bytes.HasPrefix(r.body, []byte("%PDF-")) {
		t.Fatal(r.status, r.header, string(r.body[:min(300, len(r.body))]))
	}
	c := exec.Command("pdftotext", "-", "-")
	c.Stdin = bytes.NewReader(r.body)
	text, err := c.Output()
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(text), "Low Quarter") {
		t.Errorf("%.300s", text)
	}
}
