package pruning_test

import (
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/pruning"
)

func cm(v float64) inventory.Opt[float64] { return inventory.Some(v / 100) }

// The class of a cut as it was made: METHOD TV-CUT (UF/IFAS reduction cuts), and
// of stubs common practice, no source.
func TestClassMade(t *testing.T) {
	none := inventory.Opt[float64]{}
	for _, c := range []struct {
		kind                    inventory.CutKind
		diameter, lateral, stub inventory.Opt[float64]
		want                    inventory.CutKind
	}{
		{inventory.CutReduction, cm(60), cm(25), none, inventory.CutReduction},
		{inventory.CutReduction, cm(60), cm(20), none, inventory.CutReduction},
		{inventory.CutReduction, cm(60), cm(15), none, inventory.CutHeading},
		{inventory.CutReduction, cm(60), cm(0), none, inventory.CutHeading},
		{inventory.CutReduction, cm(60), none, none, inventory.CutReduction}, // nobody recorded the lateral: no class
		{inventory.CutHeading, cm(60), cm(40), none, inventory.CutReduction},
		{inventory.CutRemoval, cm(8), none, cm(0), inventory.CutRemoval},
		{inventory.CutRemoval, cm(8), none, cm(5), inventory.CutRemoval},
		{inventory.CutRemoval, cm(8), none, cm(5.1), inventory.CutStub},
		{inventory.CutRemoval, cm(3), none, cm(4), inventory.CutStub}, // longer than it is thick
		{inventory.CutStub, cm(8), none, none, inventory.CutStub},
		{inventory.CutFlush, cm(8), none, none, inventory.CutFlush},
	} {
		m := inventory.MadeCut{Kind: c.kind, Diameter: c.diameter, LateralDiameter: c.lateral, StubLength: c.stub}
		if got := pruning.ClassMade(&m, practice.Default()); got != c.want {
			t.Errorf("%+v: %s, expected %s", m, got, c.want)
		}
	}
}

func TestReview(t *testing.T) {
	s := &pruning.Specification{Work: practice.Cleaning, Visits: []pruning.Visit{{Number: 1, Dose: 0.1, Items: []pruning.Item{{Cut: inventory.CutRemoval}}}}}
	p := practice.Default()
	for _, c := range []struct {
		name string
		done inventory.Completion
		want []pruning.Rule
	}{
		{"good", inventory.Completion{Dose: inventory.Some(0.1), Cuts: []inventory.MadeCut{{Kind: inventory.CutRemoval, Diameter: cm(6)}, {Kind: inventory.CutReduction, Diameter: cm(6), LateralDiameter: cm(3)}}}, nil},
		{"small lateral", inventory.Completion{Cuts: []inventory.MadeCut{{Kind: inventory.CutReduction, Diameter: cm(6), LateralDiameter: cm(1.5)}}}, []pruning.Rule{pruning.LateralLeast}},
		{"no lateral said", inventory.Completion{Cuts: []inventory.MadeCut{{Kind: inventory.CutReduction, Diameter: cm(6)}}}, []pruning.Rule{pruning.LateralLeast}},
		{"heading", inventory.Completion{Cuts: []inventory.MadeCut{{Kind: inventory.CutHeading}}}, []pruning.Rule{pruning.NoHeading}},
		{"topping", inventory.Completion{Cuts: []inventory.MadeCut{{Kind: inventory.CutTopping, Diameter: cm(6)}}}, []pruning.Rule{pruning.NoTopping}},
		{"stripped", inventory.Completion{Cuts: []inventory.MadeCut{{Kind: inventory.CutLionTailing}}}, []pruning.Rule{pruning.NoLionTailing}},
		{"flush", inventory.Completion{Cuts: []inventory.MadeCut{{Kind: inventory.CutFlush, Diameter: cm(6)}}}, []pruning.Rule{pruning.NoFlush}},
		{"stub", inventory.Completion{Cuts: []inventory.MadeCut{{Kind: inventory.CutRemoval, Diameter: cm(6), StubLength: cm(20)}}}, []pruning.Rule{pruning.NoStub}},
		{"wide", inventory.Completion{Cuts: []inventory.MadeCut{{Kind: inventory.CutRemoval, Diameter: cm(16)}}}, []pruning.Rule{pruning.WoundMost}},
		{"wide with its reason", inventory.Completion{Cuts: []inventory.MadeCut{{Kind: inventory.CutRemoval, Diameter: cm(16)}}, Deviations: []inventory.Deviation{{What: "wound of 16 cm", Reason: "split limb"}}}, nil},
		{"felled", inventory.Completion{Removed: true, Cuts: []inventory.MadeCut{{Kind: inventory.CutFlush}}}, []pruning.Rule{pruning.Felled, pruning.NoFlush}},
		{"felled with its reason", inventory.Completion{Removed: true, Deviations: []inventory.Deviation{{What: "tree taken down", Reason: "split in the storm"}}}, []pruning.Rule{pruning.Felled}},
		{"nothing recorded", inventory.Completion{Note: "all done"}, []pruning.Rule{pruning.NothingRecorded}},
		{"nothing cut, and why", inventory.Completion{Deviations: []inventory.Deviation{{What: "nothing cut", Reason: "a nest"}}}, nil},
		{"nothing cut, found at its end", inventory.Completion{Finished: true}, nil},
		{"lateral thicker than the cut", inventory.Completion{Cuts: []inventory.MadeCut{{Kind: inventory.CutReduction, Diameter: cm(4), LateralDiameter: cm(10)}}}, []pruning.Rule{pruning.SwappedLateral}},
		{"lateral as thick as the cut", inventory.Completion{Cuts: []inventory.MadeCut{{Kind: inventory.CutReduction, Diameter: cm(4), LateralDiameter: cm(4)}}}, nil},
		{"too much over two rounds", inventory.Completion{Dose: inventory.Some(0.06), Earlier: []inventory.Completion{{Dose: inventory.Some(0.05)}}}, []pruning.Rule{pruning.DoseCap}},
		{"as allowed over two rounds", inventory.Completion{Dose: inventory.Some(0.05), Earlier: []inventory.Completion{{Dose: inventory.Some(0.05)}}}, nil},
		{"wide without a reason", inventory.Completion{Cuts: []inventory.MadeCut{{Kind: inventory.CutRemoval, Diameter: cm(16)}}, Deviations: []inventory.Deviation{{What: "wound of 16 cm", Reason: " "}}}, []pruning.Rule{pruning.WoundMost}},
		{"too much", inventory.Completion{Dose: inventory.Some(0.11)}, []pruning.Rule{pruning.DoseCap}},
	} {
		var got []pruning.Rule
		for _, d := range pruning.Review(&c.done, s, 1, p) {
			got = append(got, pruning.Rule(d.Rule))
		}
		if len(got) != len(c.want) || len(got) > 0 && got[0] != c.want[0] {
			t.Errorf("%s: %v, expected %v", c.name, got, c.want)
		}
	}
}

// What was taken down under a job to prune is listed before all else, and not where
// somebody qualified was to decide; no cut is wider than its stem; a tenth of a
// percent shows.
func TestReviewFelled(t *testing.T) {
	p := practice.Default()
	look := &pruning.Specification{Work: practice.SecondOpinion, Visits: []pruning.Visit{{Number: 1}}}
	if d := pruning.Review(&inventory.Completion{Removed: true}, look, 1, p); len(d) != 0 {
		t.Errorf("taken down by the second opinion: %v", d)
	}
	s := &pruning.Specification{Work: practice.Restoration, Visits: []pruning.Visit{{Number: 1, Dose: 0.1}}}
	d := pruning.Review(&inventory.Completion{Removed: true, Deviations: []inventory.Deviation{{What: "felled", Reason: "the owner asked"}}}, s, 1, p)
	if len(d) != 1 || d[0].Cut != -1 || !strings.Contains(d[0].What, "the work was restoration") || !strings.Contains(d[0].What, "the owner asked") {
		t.Errorf("felled: %+v", d)
	}
	wide := &inventory.Completion{Dose: inventory.Some(0.104), Cuts: []inventory.MadeCut{{Kind: inventory.CutRemoval, Diameter: cm(12)}}}
	d = pruning.ReviewOn(wide, s, 1, cm(10), p)
	if len(d) != 2 || d[0].Rule != string(pruning.WiderThanStem) || !strings.Contains(d[1].What, "10.4 % of the live crown was taken, the visit allows 10 %") {
		t.Errorf("wider than the stem: %+v", d)
	}
	if d := pruning.ReviewOn(wide, s, 1, cm(12), p); len(d) != 1 {
		t.Errorf("as wide as the stem: %+v", d)
	}
}
