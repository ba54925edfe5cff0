package paper

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"regexp"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"
	"golang.org/x/net/html/atom"
)

// The parser is that of golang.org/x/net/html, which follows the HTML standard.
func parsed(t *testing.T, b []byte) *html.Node {
	t.Helper()
	n, err := html.Parse(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func all(n *html.Node, name string) (out []*html.Node) {
	for c := range n.Descendants() {
		if c.Type == html.ElementNode && c.Data == name {
			out = append(out, c)
		}
	}
	return out
}

// words is the text of an element with single spaces between.
func words(n *html.Node) string {
	b := &strings.Builder{}
	for c := range n.Descendants() {
		if c.Type == html.TextNode && c.Parent.DataAtom != atom.Style && c.Parent.Data != "title" && c.Parent.Data != "desc" {
			b.WriteString(c.Data + " ")
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

func attr(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

// wellFormed reads a drawing as XML (encoding/xml, strict).
func wellFormed(t *testing.T, svg []byte) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			t.Fatalf("%v in %.300s", err, svg)
		}
	}
}

func sheetsToCheck(t *testing.T) map[string][]byte {
	t.Helper()
	out := map[string][]byte{}
	for name, make := range map[string]func() ([]byte, error){
		"crew": func() ([]byte, error) { return Crew(crewSheet()) }, "report": func() ([]byte, error) { return Report(siteReport(120)) },
		"empty crew": func() ([]byte, error) { return Crew(&CrewSheet{}) }, "empty report": func() ([]byte, error) { return Report(&SiteReport{}) },
	} {
		b, err := make()
		if err != nil {
			t.Fatal(name, err)
		}
		out[name] = b
	}
	return out
}

// Every document has one title, headings in steps, captions on tables, names on
// drawings, links that lead somewhere, ids that are there once, and asks nobody for
// anything.
func TestDocuments(t *testing.T) {
	outside := regexp.MustCompile(`(?i)(src|href|action|url\()\s*=?\s*["']?\s*(https?:)?//`)
	for name, b := range sheetsToCheck(t) {
		n := parsed(t, b)
		if got := outside.Find(b); got != nil {
			t.Errorf("%s reaches outside: %s", name, got)
		}
		if bytes.Contains(b, []byte("ZgotmplZ")) {
			t.Errorf("%s holds a value that the template refused", name)
		}
		if len(all(n, "h1")) != 1 || attr(all(n, "html")[0], "lang") != "en" || len(all(n, "script")) > 0 {
			t.Errorf("%s: %d h1, language %q, %d scripts", name, len(all(n, "h1")), attr(all(n, "html")[0], "lang"), len(all(n, "script")))
		}
		level, ids := 1, map[string]bool{}
		for c := range n.Descendants() {
			if c.Type != html.ElementNode {
				continue
			}
			if len(c.Data) == 2 && c.Data[0] == 'h' && c.Data[1] >= '1' && c.Data[1] <= '6' {
				if now := int(c.Data[1] - '0'); now > level+1 {
					t.Errorf("%s: from h%d to h%d at %q", name, level, now, words(c))
				} else {
					level = now
				}
			}
			if id := attr(c, "id"); id != "" {
				if ids[id] {
					t.Errorf("%s: id %s twice", name, id)
				}
				ids[id] = true
			}
		}
		for _, a := range all(n, "a") {
			if to, ok := strings.CutPrefix(attr(a, "href"), "#"); !ok || !ids[to] {
				t.Errorf("%s: a link to %q", name, attr(a, "href"))
			}
		}
		for _, table := range all(n, "table") {
			if len(all(table, "caption")) == 0 && len(all(table, "thead")) > 0 || len(all(table, "th")) == 0 {
				t.Errorf("%s: a table without caption or headings: %.80s", name, words(table))
			}
		}
		for _, svg := range all(n, "svg") {
			if svg.Parent.Data == "svg" {
				continue // a window of a drawing
			}
			if attr(svg, "role") != "img" || attr(svg, "aria-label") == "" || svg.FirstChild == nil || svg.FirstChild.Data != "title" {
				t.Errorf("%s: a drawing without a name: %.200s", name, words(svg))
			}
		}
		for _, part := range bytes.SplitAfter(b, []byte("<svg xmlns="))[1:] {
			part = bytes.TrimSuffix(part, []byte("<svg xmlns="))
			wellFormed(t, append([]byte("<svg xmlns="), part[:bytes.LastIndex(part, []byte("</svg>"))+6]...))
		}
		text := words(n)
		for _, caution := range Cautions {
			if !strings.Contains(text, caution) {
				t.Errorf("%s lacks the caution %q", name, caution)
			}
		}
	}
}

func TestEveryTreeIsThere(t *testing.T) {
	s := crewSheet()
	b, err := Crew(s)
	if err != nil {
		t.Fatal(err)
	}
	n := parsed(t, b)
	var trees []*html.Node
	for _, section := range all(n, "section") {
		if attr(section, "class") == "tree" {
			trees = append(trees, section)
		}
	}
	once := words(all(n, "section")[2])
	if !strings.HasPrefix(once, "What not to do on any of these trees") {
		t.Errorf("the third section is %q", once)
	}
	if len(trees) != len(s.Jobs) {
		t.Fatalf("%d trees of %d", len(trees), len(s.Jobs))
	}
	for i, section := range trees {
		text := words(section)
		for _, it := range s.Jobs[i].Specification.Visits[0].Items {
			if !strings.Contains(text, itemWords(&it)) {
				t.Errorf("tree %d lacks the instruction %q", i, it.Text)
			}
		}
		for _, not := range s.Jobs[i].Specification.Not {
			// Where an instruction has a share of its own, the list leaves it out.
			short := notWords([]string{not}, &s.Jobs[0].Specification)[0]
			if !strings.Contains(text, not) && !strings.Contains(once, not) && !strings.Contains(once, short) {
				t.Errorf("tree %d lacks %q, and so does the first page", i, not)
			}
		}
		if !strings.Contains(text, s.Jobs[i].Tree.Tag) || !strings.Contains(text, "By, day, signature") {
			t.Errorf("tree %d: %s", i, text)
		}
	}
	first := words(trees[0])
	for _, want := range []string{"line clearance", "open", "P-77", "Wasps", "line-clearance crew only", "a (5.5 m), b (4.2 m)", "Decay was seen at old cuts: a.", "leans 6° towards 200° S",
		"Sat 07:00 to 11:00", "1 November 2026", "0.12 over 0.10", "storm damage", "17.5 m", "about 6.2 m (estimated)", "parking 84 m²", "an old cut of 22 cm is decayed", "at the most 5 %", "limit for this tree is 10 %"} {
		if !strings.Contains(first, want) {
			t.Errorf("the first tree lacks %q", want)
		}
	}
	for _, want := range []string{"1 March 2026", "5 March 2026, 09:30 EST, by A. Planner", "0123456789ab", "fedcba987654", "Gate on High Street"} {
		if !strings.Contains(words(n), want) {
			t.Errorf("the sheet lacks %q", want)
		}
	}
}

// The numbers in the drawings are those of the instructions, the letters those of
// the old cuts.
func TestSignsAreThoseOfTheList(t *testing.T) {
	b, err := Crew(crewSheet())
	if err != nil {
		t.Fatal(err)
	}
	for _, section := range all(parsed(t, b), "section") {
		if attr(section, "class") != "tree" {
			continue
		}
		var numbers, letters []string
		for _, span := range all(section, "span") {
			if attr(span, "class") == "sign" {
				numbers = append(numbers, words(span))
			}
		}
		for _, row := range all(section, "tr") {
			if cells := all(row, "td"); len(cells) == 10 {
				letters = append(letters, words(cells[0]))
			}
		}
		if len(numbers) == 0 || numbers[0] != "1" {
			t.Errorf("numbers %v", numbers)
		}
		slices.Sort(numbers) // as signsIn sorts
		side := all(section, "svg")[0]
		if got := signsIn(side, "circle", "item"); !slices.Equal(got, numbers) {
			t.Errorf("numbers drawn %v, listed %v", got, numbers)
		}
		if got := signsIn(side, "rect", "cut"); !slices.Equal(got, letters) {
			t.Errorf("letters drawn %v, listed %v", got, letters)
		}
	}
}

// signsIn lists the texts after the shapes of a class, in order.
func signsIn(svg *html.Node, shape, class string) (out []string) {
	for _, c := range all(svg, shape) {
		if attr(c, "class") != class {
			continue
		}
		for next := c.NextSibling; next != nil; next = next.NextSibling {
			if next.Data == "text" {
				out = append(out, words(next))
				break
			}
		}
	}
	slices.Sort(out)
	return out
}

func TestSameBytes(t *testing.T) {
	for name, make := range map[string]func() ([]byte, error){
		"crew": func() ([]byte, error) { return Crew(crewSheet()) }, "report": func() ([]byte, error) { return Report(siteReport(700)) },
		"xlsx": func() ([]byte, error) { return BidXLSX(bidSheet()) }, "csv": func() ([]byte, error) { return BidCSV(bidSheet()) }, "trees": func() ([]byte, error) { return BidTreesCSV(bidSheet()) },
	} {
		first, err := make()
		if err != nil {
			t.Fatal(name, err)
		}
		for range 12 { // maps are gone through in another order each time
			if again, err := make(); err != nil || !bytes.Equal(first, again) {
				t.Fatalf("%s: other bytes, %v", name, err)
			}
		}
	}
}
