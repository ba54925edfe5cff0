package paper

import (
	"bytes"
	"fmt"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/underbough/underbough/api/paper/pdf"
)

// printed prints a document by Chromium and returns poppler's text of each page,
// and the file.
func printed(t *testing.T, html []byte) (pages []string, file string) {
	t.Helper()
	body, err := pdf.Print(t.Context(), html, "")
	if err != nil {
		t.Fatal(err)
	}
	file = filepath.Join(t.TempDir(), "sheet.pdf")
	if err := os.WriteFile(file, body, 0o600); err != nil {
		t.Fatal(err)
	}
	text, err := exec.Command("pdftotext", "-layout", file, "-").Output()
	if err != nil {
		t.Fatalf("pdftotext (Debian's poppler-utils): %v", err)
	}
	return strings.Split(strings.TrimSuffix(string(text), "\f"), "\f"), file
}

// A crew sheet begins a page with each tree, repeats the heading of a table that
// runs on, and numbers its pages.
func TestPrintedCrewSheet(t *testing.T) {
	s := crewSheet()
	for len(s.Jobs) < 45 {
		j := s.Jobs[5]
		j.Tree.Tag = fmt.Sprintf("T-%d", 200+len(s.Jobs))
		s.Jobs = append(s.Jobs, j)
	}
	b, err := Crew(s)
	if err != nil {
		t.Fatal(err)
	}
	pages, file := printed(t, b)
	starts := map[string]bool{}
	headings := 0
	for i, page := range pages {
		line, _, _ := strings.Cut(strings.TrimSpace(page), "\n")
		starts[strings.TrimSpace(line)] = true
		if strings.Contains(page, "Stem,") {
			headings++
		}
		if want := fmt.Sprintf("%d / %d", i+1, len(pages)); !strings.Contains(page, want) {
			t.Errorf("page %d is not numbered %q", i+1, want)
		}
	}
	for i := range s.Jobs {
		if want := fmt.Sprintf("%d. Tree %s: %s, visit 1", i+1, s.Jobs[i].Tree.Tag, s.Jobs[i].Specification.Work); !starts[want] {
			t.Errorf("no page begins with %q", want)
		}
	}
	if headings < 2 {
		t.Errorf("the heading of the list is on %d pages", headings)
	}
	if most := len(s.Jobs) + 5; len(pages) > most {
		t.Errorf("%d pages for %d trees: trees with one instruction fit one page", len(pages), len(s.Jobs))
	}
	marginsAreEmpty(t, file)
}

func TestPrintedReport(t *testing.T) {
	b, err := Report(siteReport(300))
	if err != nil {
		t.Fatal(err)
	}
	pages, file := printed(t, b)
	text := strings.Join(strings.Fields(strings.Join(pages, " ")), " ")
	for _, want := range []string{"Trees over people: School quarter", "Nothing done", "worst first: ", "this programme: ", "flat cycle, 5 years: ", "harm index taken off", "What was decided, and what was not done", "2030", "Words used here", "branches failed as often", "20. Tree T-0020"} {
		if !strings.Contains(text, want) {
			t.Errorf("the print lacks %q", want)
		}
	}
	marginsAreEmpty(t, file)
}

// marginsAreEmpty renders pages by poppler and looks for ink in the margins left
// and right and at the top (ten millimetres of at least 13): nothing is cut off.
func marginsAreEmpty(t *testing.T, file string) {
	t.Helper()
	dir := t.TempDir()
	if out, err := exec.Command("pdftoppm", "-r", "40", "-gray", "-png", file, filepath.Join(dir, "p")).CombinedOutput(); err != nil {
		t.Fatalf("pdftoppm (Debian's poppler-utils): %v: %s", err, out)
	}
	names, err := filepath.Glob(filepath.Join(dir, "p*.png"))
	if err != nil || len(names) == 0 {
		t.Fatal("no page was rendered", err)
	}
	const margin = 10 * 40 / 25.4
	for _, name := range names {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		m, err := png.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		size, ink := m.Bounds(), 0
		for y := range size.Dy() {
			for x := range size.Dx() {
				r, _, _, _ := m.At(x, y).RGBA()
				if r > 0xf000 {
					continue
				}
				ink++
				if float64(x) < margin || float64(x) > float64(size.Dx())-margin || float64(y) < margin {
					t.Fatalf("%s: ink at %d, %d of %d by %d", filepath.Base(name), x, y, size.Dx(), size.Dy())
				}
			}
		}
		if ink == 0 {
			t.Errorf("%s is empty", filepath.Base(name))
		}
	}
}

func BenchmarkReport5000(b *testing.B) {
	r := siteReport(5000)
	for b.Loop() {
		if _, err := Report(r); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCrew40(b *testing.B) {
	s := crewSheet()
	for len(s.Jobs) < 40 {
		s.Jobs = append(s.Jobs, s.Jobs[0])
	}
	for b.Loop() {
		if _, err := Crew(s); err != nil {
			b.Fatal(err)
		}
	}
}
