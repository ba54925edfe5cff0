package practice

import (
	"fmt"

	"github.com/underbough/underbough/inventory"
)

// ParseFile reads a practice that somebody keeps in a file. A changed copy of the
// built-in text must not go by its name: what is printed would then say 'default'
// of figures that are not.
func ParseFile(b []byte) (*Practice, error) {
	p, err := Parse(b)
	if err != nil {
		return nil, err
	}
	if built := Default(); p.Name == built.Name && p.Digest != built.Digest {
		return nil, inventory.Errorf(inventory.Invalid, "practice: the text differs from the built-in one and is still called %q: give your copy a name of its own (name: at its top)", p.Name)
	}
	return p, nil
}

// Warnings says where a practice allows more than the built-in one, or has lost
// its windows. It is empty for the built-in one. None of it is refused.
func (p *Practice) Warnings() []string {
	d := Default()
	out := p.windowWarnings(d)
	q, dq, r, dr := &p.Pruning, &d.Pruning, &p.Restoration, &d.Restoration
	for _, n := range []struct {
		path        string
		own, built  Number
		lowerIsMore bool
	}{
		{"pruning.dose.young", q.Dose.Young, dq.Dose.Young, false},
		{"pruning.dose.established", q.Dose.Established, dq.Dose.Established, false},
		{"pruning.dose.mature", q.Dose.Mature, dq.Dose.Mature, false},
		{"pruning.dose.stressed", q.Dose.Stressed, dq.Dose.Stressed, false},
		{"pruning.dose.topped_lately", q.Dose.ToppedLately, dq.Dose.ToppedLately, false},
		{"pruning.dose_total_share", q.DoseTotal, dq.DoseTotal, false},
		{"pruning.lateral_share_preferred", q.LateralSharePreferred, dq.LateralSharePreferred, true},
		{"pruning.wound_caution_m", q.WoundCaution, dq.WoundCaution, false},
		{"pruning.wound_most_m", q.WoundMost, dq.WoundMost, false},
		{"pruning.wound_parent_share", q.WoundParentShare, dq.WoundParentShare, false},
		{"pruning.stub_most_m", q.StubMost, dq.StubMost, false},
		{"pruning.crown_ratio_least", q.CrownRatioLeast, dq.CrownRatioLeast, true},
		{"pruning.topped_lately_years", q.ToppedLatelyYears, dq.ToppedLatelyYears, true},
		{"pruning.over_dose_years", q.OverDoseYears, dq.OverDoseYears, true},
		{"restoration.between_years", r.Between, dr.Between, true},
		{"restoration.give_up_loss", r.GiveUpLoss, dr.GiveUpLoss, false},
		{"restoration.give_up_shoot_m", r.GiveUpShoot, dr.GiveUpShoot, false},
		{"restoration.give_up_occupied_share", r.GiveUpOccupied, dr.GiveUpOccupied, false},
		{"restoration.give_up_frequent_share", r.GiveUpFrequent, dr.GiveUpFrequent, false},
		{"restoration.give_up_decay_share", r.GiveUpDecayShare, dr.GiveUpDecayShare, false},
		{"restoration.give_up_wound_stem_share", r.GiveUpWoundStem, dr.GiveUpWoundStem, false},
	} {
		switch {
		case n.lowerIsMore && n.own.Value < n.built.Value:
			out = append(out, fmt.Sprintf("%s is %v, below the built-in %v (%s)", n.path, n.own.Value, n.built.Value, n.built.Source))
		case !n.lowerIsMore && n.own.Value > n.built.Value:
			out = append(out, fmt.Sprintf("%s is %v, above the built-in %v (%s)", n.path, n.own.Value, n.built.Value, n.built.Source))
		}
	}
	if len(q.StressedWords) == 0 {
		out = append(out, "pruning.stressed_words is empty: no word of a condition makes a tree a stressed one")
	}
	if len(q.DyingWords) == 0 {
		out = append(out, "pruning.dying_words is empty: no word of a condition asks for a second opinion")
	}
	return out
}

func (p *Practice) windowWarnings(built *Practice) []string {
	list := p.Windows.List
	if len(list) == 0 {
		return []string{"windows.list is empty: no day of the year is closed to work, for nesting or diseases neither"}
	}
	var out []string
	open := 0
	for i := range list {
		if list[i].Open {
			open++
		}
	}
	if open == len(list) {
		out = append(out, "every window is open: no day of the year is closed to work, for nesting or diseases neither")
	}
	for i := range built.Windows.List {
		b := &built.Windows.List[i]
		held := false
		for k := range list {
			held = held || list[k].Name == b.Name
			if list[k].Name == b.Name && list[k].Open && open < len(list) {
				out = append(out, fmt.Sprintf("window %s (%s to %s) is open: %s", b.Name, b.From, b.To, b.Reason))
			}
		}
		if !held {
			out = append(out, fmt.Sprintf("window %s (%s to %s) is gone: %s", b.Name, b.From, b.To, b.Reason))
		}
	}
	return out
}
