package paper

import (
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"
	"golang.org/x/net/html"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/pruning"
)

func textOf(t *testing.T, make func() ([]byte, error)) (string, *html.Node) {
	t.Helper()
	b, err := make()
	if err != nil {
		t.Fatal(err)
	}
	n := parsed(t, b)
	return words(n), n
}

// lacks reports which of some words a text has not, and which of others it has.
func lacks(t *testing.T, text string, want, not []string) {
	t.Helper()
	for _, w := range want {
		if !strings.Contains(text, w) {
			t.Errorf("lacking: %q", w)
		}
	}
	for _, w := range not {
		if strings.Contains(text, w) {
			t.Errorf("there: %q", w)
		}
	}
}

// Who decided against a rule, and the note of whoever changed the specification,
// stand before the instructions on the crew sheet and in the report.
func TestOverridesStandBesideTheSpecification(t *testing.T) {
	s := crewSheet()
	s.Jobs[0].Specification.Note = "asked for by the school"
	s.Jobs[0].Specification.Overrides[0].Breach = "55.00000000000001 % over 10 %"
	want := "Decided against the rule “dose” by B. Owner, 1 February 2026: 55 % over 10 %. Reason: storm damage."
	text, n := textOf(t, func() ([]byte, error) { return Crew(s) })
	lacks(t, text, []string{want, "Note of the person who changed the specification: asked for by the school."}, []string{"55.0000"})
	for _, section := range all(n, "section") {
		if tree := words(section); attr(section, "class") == "tree" && strings.Contains(tree, want) && strings.Index(tree, want) > strings.Index(tree, "What to do on this visit") {
			t.Error("the override stands after the instructions")
		}
	}
	r := siteReport(10)
	r.Trees[0].Specification = &s.Jobs[0].Specification
	text, _ = textOf(t, func() ([]byte, error) { return Report(r) })
	lacks(t, text, []string{want, "Note of the person who changed it: asked for by the school."}, nil)
}

// What was decided and not done stands with who, when and why (METHOD section 9).
func TestDecisions(t *testing.T) {
	on := time.Date(2026, 2, 3, 0, 0, 0, 0, time.UTC)
	r := siteReport(10)
	r.Programme.Items = append(r.Programme.Items, programme.Item{Label: "T-0009", Must: true}, programme.Item{Label: "T-0003", First: 2027})
	r.Programme.Record.MadeBy, r.Programme.Record.MadeAt = "C. Council", on
	r.Decisions = &Decisions{
		PutOff:   []Decision{{Tag: "T-0005", Work: "reduction", Year: 2026, Package: "Elm Street", By: "D. Owner", On: on, Reason: "no money before July"}},
		SentBack: []Decision{{Tag: "T-0006", Work: "cleaning", By: "E. Checker", On: on, What: "from done to in hand", Reason: "stub left"}},
		Defects:  []Decision{{Tag: "T-0006", Work: "cleaning", By: "F. Crew", On: on, What: "round 1 of 2: stub of 12 cm"}},
		Felled:   []Decision{{Tag: "T-0007", Work: "second opinion", By: "F. Crew", On: on, What: "taken down"}},
	}
	for i := range mostDecisions + 5 {
		r.Decisions.Against = append(r.Decisions.Against, Against{Tag: fmt.Sprintf("A-%02d", i), Override: pruning.Override{Rule: "dose", Breach: "0.12 over 0.10", Reason: "storm", By: "G.", At: on}})
	}
	text, n := textOf(t, func() ([]byte, error) { return Report(r) })
	lacks(t, text, []string{"1 job was given up or put off, 1 job was sent back, 1 job was done with defects, 1 tree was taken down. Rules were decided against 65 times.",
		"gives 2 trees no visit in 2026 to 2030 within its budget", "2 of them have to be done by its own rules. It was made by C. Council.", "Decided against a rule: 65, the latest 60"}, nil)
	for caption, want := range map[string]string{
		"Given up or put off: 1": "[T-0005 reduction, 2026, Elm Street D. Owner 3 February 2026 no money before July.]",
		"Sent back: 1":           "[T-0006 cleaning E. Checker 3 February 2026 from done to in hand. stub left.]",
		"Done with defects: 1":   "[T-0006 cleaning F. Crew 3 February 2026 round 1 of 2: stub of 12 cm.]",
		"Trees taken down: 1":    "[T-0007 second opinion F. Crew 3 February 2026 taken down.]",
	} {
		if got := fmt.Sprint(rowsOf(t, n, caption)); got != want {
			t.Errorf("%s: %s", caption, got)
		}
	}
	if got := len(rowsOf(t, n, "Decided against")); got != mostDecisions {
		t.Errorf("%d rules are listed", got)
	}
}

// What is only proposed, or has a gate open, is marked at the front and at the
// tree; what was withdrawn is not listed; a dead tree has nothing live to cut.
func TestWhatMayNotBegin(t *testing.T) {
	s := crewSheet()
	s.Jobs[1].Job.State = inventory.Proposed
	s.Jobs[2].Job.State = inventory.Withdrawn
	s.Jobs[3].Tree.Status, s.Jobs[3].Tree.Condition = inventory.Dead, "good"
	text, n := textOf(t, func() ([]byte, error) { return Crew(s) })
	lacks(t, text, []string{"Not everything here may begin Not approved: do not begin. 2 (T-102) .", "Gates open: do not begin before they are settled. 1 (T-101) .", "as recorded: good; recorded as dead", "besides what stands at the front"},
		[]string{"T-103", "page 1"})
	var trees []string
	for _, section := range all(n, "section") {
		if attr(section, "class") == "tree" {
			trees = append(trees, words(section))
		}
	}
	if len(trees) != 11 {
		t.Fatalf("%d trees", len(trees))
	}
	lacks(t, trees[0], []string{"Gates open: line clearance. Do not begin"}, []string{"Not approved"})
	lacks(t, trees[1], []string{"Not approved: do not begin."}, []string{"Gates open"})
	lacks(t, trees[2], []string{"Nothing live is cut on this visit."}, []string{"Take at the most", "Not approved"})
}

// A lateral's share is told once: the instruction's own, whatever its text and the
// list of what not to do say of the rule's.
func TestLateralOnce(t *testing.T) {
	s := crewSheet()
	s.Jobs = s.Jobs[:1]
	spec := &s.Jobs[0].Specification
	spec.Visits[0].Items = []pruning.Item{{Cut: inventory.CutReduction, LateralShare: 0.25, Text: "Shorten the limb to a lateral of a third to a half, about 15 % off its length; then to a side shoot of 33.3 % or more."}}
	spec.Not = []string{"No heading cuts: no cut between nodes, or to a lateral under a third of what is removed; a half is better."}
	text, _ := textOf(t, func() ([]byte, error) { return Crew(s) })
	lacks(t, text, []string{"Shorten the limb to a lateral, about 15 % off its length; then to a side shoot. (lateral at least 25 % as thick as what is removed)", "or to a lateral smaller than the instruction asks for."}, []string{"a third", "a half", "33.3"})
	// The texts of the rules themselves have what is taken out: else this is void.
	tree := toppedTree()
	found := 0
	tree.Cuts[0].Decay = inventory.Some(false)
	real := pruning.SpecifyKept(&pruning.Case{Tree: &tree.Tree, Cuts: tree.Cuts, Height: 17.5, CrownRadius: 6.2, Over: []inventory.TargetKind{inventory.Parking}, Occupied: 0.4, AsOf: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)}, practice.Default())
	for _, v := range real.Visits {
		for i := range v.Items {
			it := &v.Items[i]
			if it.LateralShare > 0 && itemWords(it) != it.Text {
				found++
			}
			if it.LateralShare > 0 && strings.Contains(itemWords(it), "a third") {
				t.Errorf("two shares: %s", itemWords(it))
			}
		}
	}
	if found == 0 || fmt.Sprint(notWords(real.Not, &real)) == fmt.Sprint(real.Not) {
		t.Errorf("no text of the rules names a share: %d", found)
	}
}

// Looks by an assessor are priced by nobody; setting up is, once for each package
// in a year; and the client's own estimate has both, so that it comes to what the
// programme comes to.
func TestBidWithoutLooks(t *testing.T) {
	s := bidSheet()
	s.Estimate, s.GroupHours, s.GroupCost = true, 2, 150
	for _, p := range []string{"Car park east", "Old Lane"} {
		look := toppedTree()
		look.Tag = "L-" + p
		s.Rows = append(s.Rows, BidRow{Tree: look, Work: practice.SecondOpinion, Year: 2026, Visit: 1, Package: p, Hours: 1, Cost: 80})
	}
	f, err := excelize.OpenFile(writeXLSX(t, s))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for _, sheet := range []string{sheetQuantities, sheetTrees} {
		rows, err := f.GetRows(sheet)
		if text := fmt.Sprint(rows, err); strings.Contains(text, "second opinion") || strings.Contains(text, "L-") {
			t.Errorf("%s has a look: %s", sheet, text)
		}
	}
	looks, err := f.GetRows(sheetLooks)
	if text := fmt.Sprint(looks, err); !strings.Contains(text, "L-Old Lane") || !strings.Contains(text, "L-Car park east") || !strings.Contains(text, "not part of this bid") {
		t.Errorf("the looks: %s", text)
	}
	// By hand: pruning 6 × 1.1 h and 6 × 110; packages: one in 2026 with pruning
	// besides one with looks alone, one in 2027; looks 2 × 1 h and 2 × 80.
	own, err := f.GetRows(sheetEstimate)
	if err != nil {
		t.Fatal(err)
	}
	last := fmt.Sprint(len(own))
	for cell, want := range map[string]float64{"F" + last: 6*1.1 + 3*2 + 2*1, "G" + last: 6*110 + 3*150 + 2*80} {
		got, err := f.CalcCellValue(sheetEstimate, cell, excelize.Options{RawCellValue: true})
		if v, bad := strconv.ParseFloat(got, 64); err != nil || bad != nil || v < want-0.01 || v > want+0.01 {
			t.Errorf("%s is %q, %v; want %v", cell, got, err, want)
		}
	}
	csv, err := BidCSV(s)
	if text := string(csv); err != nil || strings.Contains(text, "second opinion") || strings.Count(text, "mobilisation,one for each package in the year,,1,,,") != 2 {
		t.Errorf("%v: %s", err, csv)
	}
}

// Of the trees that nobody looked at, so many are listed, and all are counted.
func TestNeverLookedAt(t *testing.T) {
	r := siteReport(10)
	r.Inspections = []Inspection{{Tag: "N-00", Never: true}, {Tag: "D-1", Due: r.AsOf}}
	for i := range 60 {
		r.Inspections = append(r.Inspections, Inspection{Tag: fmt.Sprintf("N-%02d", i+1), Never: true})
	}
	text, n := textOf(t, func() ([]byte, error) { return Report(r) })
	lacks(t, text, []string{"61 trees with old cuts that weaken a limb or the crown were never looked at", "The first 40 of them by harm index are listed.", "1 tree is due a look again; none is overdue.", "No visit is on record of 61 trees"}, nil)
	rows := rowsOf(t, n, "Trees to look at")
	if len(rows) != 41 || !strings.HasPrefix(rows[0], "D-1 1 March 2026") || !strings.HasPrefix(rows[1], "N-00 never looked at") {
		t.Errorf("%d rows: %q", len(rows), rows)
	}
}

// How much harm waits for a decision: the first of two trees, whose harm is 0.02 of
// 0.03.
func TestUndecided(t *testing.T) {
	r := siteReport(2)
	text, _ := textOf(t, func() ([]byte, error) { return Report(r) })
	lacks(t, text, nil, []string{"has to decide first"})
	r.Trees[0].Undecided = true
	text, _ = textOf(t, func() ([]byte, error) { return Report(r) })
	lacks(t, text, []string{"66.7 % of the harm is in trees (1) on which somebody qualified has to decide first; what follows from that decision is not costed here."}, nil)
}

func TestPluralsAndFigures(t *testing.T) {
	r := siteReport(1)
	r.Programme.Record.Question.Cycle = 1
	r.Effect.Lasts.Value = 1
	spec := restoration(1)
	spec.Visits[1].AfterYears = 1
	r.Trees[0].Specification = &spec
	r.Trees[0].Status, r.Trees[0].Condition = inventory.Dead, "good"
	text, _ := textOf(t, func() ([]byte, error) { return Report(r) })
	lacks(t, text, []string{"Flat cycle, 1 year", "takes off, for 1 year (", "Visit 2, 1 year after the first", "The first tree holds 100 %", "1 standing tree is on record. 1 stands over", "1 tree, 100 % of all, carries an old cut", "as recorded: good; recorded as dead"},
		[]string{"1 years", "1 trees"})
	for in, want := range map[string]string{"55.00000000000001 %": "55 %", "0.30000000000000004 of": "0.3 of", "at 42.3736, -71.1062": "at 42.3736, -71.1062", "99.99999999999999 %": "100 %"} {
		if got := tidy(in); got != want {
			t.Errorf("%q becomes %q", in, got)
		}
	}
}
