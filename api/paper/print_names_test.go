package paper

import (
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
)

// A name without a space does not shrink the print: poppler finds the words of the
// sheet as tall as with a short one.
func TestLongNamesDoNotShrinkThePrint(t *testing.T) {
	tall := func(name string) float64 {
		s := crewSheet()
		s.Jobs = s.Jobs[:2]
		s.Package = name
		j := &s.Jobs[0]
		j.Tree.Tag, j.Tree.Species = name, name
		j.Job.Gates = []inventory.Gate{{Name: name, Why: name, Reference: name, By: name, Cleared: true}}
		b, err := Crew(s)
		if err != nil {
			t.Fatal(err)
		}
		_, file := printed(t, b)
		marginsAreEmpty(t, file)
		out := filepath.Join(t.TempDir(), "words.html")
		if said, err := exec.Command("pdftotext", "-bbox", file, out).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, said)
		}
		got, err := exec.Command("grep", "-m1", ">Objective:<", out).Output()
		m := regexp.MustCompile(`yMin="([\d.]+)".*yMax="([\d.]+)"`).FindStringSubmatch(string(got))
		if err != nil || m == nil {
			t.Fatalf("no word in the print: %v", err)
		}
		top, _ := strconv.ParseFloat(m[1], 64)
		bottom, _ := strconv.ParseFloat(m[2], 64)
		return bottom - top
	}
	if short, long := tall("Elm"), tall(strings.Repeat("Longname", 30)); long < short*0.99 {
		t.Errorf("words are %.2f pt tall with a long name, %.2f with a short one", long, short)
	}
}

// No page of the report but the last is left half empty: poppler renders each, and
// its lowest ink above the page's number is in the lower half.
func TestPagesAreFilled(t *testing.T) {
	r := siteReport(300)
	b, err := Report(r)
	if err != nil {
		t.Fatal(err)
	}
	pages, file := printed(t, b)
	dir := t.TempDir()
	if out, err := exec.Command("pdftoppm", "-r", "30", "-gray", "-png", file, filepath.Join(dir, "p")).CombinedOutput(); err != nil {
		t.Fatalf("pdftoppm: %v: %s", err, out)
	}
	names, err := filepath.Glob(filepath.Join(dir, "p*.png"))
	if err != nil || len(names) != len(pages) {
		t.Fatalf("%d of %d pages, %v", len(names), len(pages), err)
	}
	for i, name := range names[:len(names)-1] {
		f, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		m, err := png.Decode(f)
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		size, lowest := m.Bounds(), 0
		for y := range int(float64(size.Dy()) * (1 - 16/297.0)) {
			for x := range size.Dx() {
				if v, _, _, _ := m.At(x, y).RGBA(); v < 0xf000 {
					lowest = y
				}
			}
		}
		if share := float64(lowest) / float64(size.Dy()); share < 0.55 {
			t.Errorf("page %d ends at %.0f %% of its height", i+1, share*100)
		}
	}
}
