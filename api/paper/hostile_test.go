package paper

import (
	"strings"
	"testing"
	"unicode"

	"github.com/paulmach/orb"
	"golang.org/x/net/html"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/pruning"
)

var hostile = []string{
	`<script>alert(1)</script>`, `"><img src=x onerror=alert(1)>`, `</svg></title><script>x</script>`, `]]>&amp;&#x3c;b`, `' onload='x`,
	"a\nb\r\nc\td", "\u202eesrever\u202c", "\u2067rtl\u2069 \u200f", "عربي שלום", "🌳👩🏽\u200d🌾", "nul\x00byte \xff\xfe", strings.Repeat("longname", 60), "`${x}`{{.}}", "=1+1",
}

// Names from data are text and nothing else: no element or attribute comes of
// them, and every drawing stays whole.
func TestHostileNames(t *testing.T) {
	plainSheet, err := Crew(hostileCrew("x"))
	if err != nil {
		t.Fatal(err)
	}
	plainReport, err := Report(hostileReport("x"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range hostile {
		crew, err := Crew(hostileCrew(name))
		if err != nil {
			t.Fatalf("%q: %v", name, err)
		}
		report, err := Report(hostileReport(name))
		if err != nil {
			t.Fatalf("%q: %v", name, err)
		}
		for _, c := range []struct{ got, want []byte }{{crew, plainSheet}, {report, plainReport}} {
			got, want := elements(parsed(t, c.got)), elements(parsed(t, c.want))
			if got != want {
				t.Errorf("%q makes other elements: %s", name, firstDifference(got, want))
			}
			for _, r := range string(c.got) {
				if unicode.IsControl(r) && r != '\n' || r >= '\u202a' && r <= '\u202e' || r >= '\u2066' && r <= '\u2069' {
					t.Errorf("%q: %U is in the document", name, r)
				}
			}
		}
		tree := hostileTree(name)
		wellFormed(t, SideView(&tree, nil))
		wellFormed(t, PlanView(&tree, nil, places()))
		wellFormed(t, Map(&MapInput{Label: name, Marks: []Mark{{origin, name}}, Targets: places()}))
	}
}

func elements(n *html.Node) string {
	b := &strings.Builder{}
	for c := range n.Descendants() {
		if c.Type == html.ElementNode {
			b.WriteString(c.Data)
			for _, a := range c.Attr {
				b.WriteString(" " + a.Key)
			}
			b.WriteByte('\n')
		}
	}
	return b.String()
}

func firstDifference(a, b string) string {
	x, y := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range x {
		if i >= len(y) || x[i] != y[i] {
			return x[i]
		}
	}
	return "fewer"
}

func hostileTree(name string) Tree {
	t := toppedTree()
	t.Tag, t.Species, t.CommonName, t.Condition = name, name, name, name
	return t
}

func hostileCrew(name string) *CrewSheet {
	s := crewSheet()
	s.Jobs = s.Jobs[:1]
	j := &s.Jobs[0]
	s.Package, s.Site.Name, s.Client, s.Access, s.IssuedBy, s.ProfileName = name, name, name, name, name, name
	j.Tree, j.Access, j.Hazards, j.Notes = hostileTree(name), name, []string{name}, []string{name}
	j.Job.Open, j.Job.Quietest = name, name
	j.Job.Gates = []inventory.Gate{{Name: name, Why: name, By: name, Reference: name, Cleared: true}}
	spec := &j.Specification
	spec.Objective, spec.Stop, spec.SecondOpinion, spec.Not = name, name, name, []string{name}
	spec.Visits[0].Goal, spec.Visits[0].Items[0].Text, spec.Visits[0].Items[0].Place = name, name, pruning.Place("x")
	spec.Rules[0], spec.Overrides[0].Reason = pruning.Fired{Rule: pruning.Rule(name), Why: name, Source: name}, name
	return s
}

func hostileReport(name string) *SiteReport {
	r := siteReport(30)
	r.Site.Name, r.Notes, r.Programme.Record.Name = name, []string{name}, name
	for i := range r.Trees {
		r.Trees[i].Tag, r.Trees[i].Species, r.Trees[i].CommonName, r.Trees[i].Condition, r.Trees[i].Paragraph, r.Trees[i].Quietest = name, name, name, name, name, name
	}
	r.Restorations[0].Tag, r.Inspections[0].Why, r.Value.Method, r.Programme.Record.Result.Left = name, name, name, []string{name}
	return r
}

// Trees without any measure, at the ends of the world, and with figures that no
// tree has, are drawn whole.
func TestDrawingsOfOddTrees(t *testing.T) {
	bad := toppedTree()
	bad.Cuts[0].Bearing, bad.Cuts[0].Reach, bad.Cuts[0].Height = some(-750), some(0), some(0)
	many := toppedTree()
	for range 70 {
		many.Cuts = append(many.Cuts, many.Cuts[0])
	}
	dateline := toppedTree()
	dateline.Point = orb.Point{179.9999, -16.5}
	for name, tree := range map[string]Tree{"nothing": {}, "odd bearing": bad, "many cuts": many, "dateline": dateline} {
		items := restoration(1).Visits[0].Items
		side, plan := SideView(&tree, items), PlanView(&tree, items, places())
		wellFormed(t, side)
		wellFormed(t, plan)
		for _, svg := range [][]byte{side, plan} {
			if s := string(svg); strings.Contains(s, "NaN") || strings.Contains(s, "Inf") || len(s) > 200_000 {
				t.Errorf("%s: %d bytes: %.400s", name, len(s), s)
			}
		}
	}
}
