package pruning

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

// VisitChange is what a person sets of one visit.
type VisitChange struct {
	Number     int                    `json:"number"`
	Dose       inventory.Opt[float64] `json:"dose,omitzero"` // share of the live crown
	AfterYears inventory.Opt[int]     `json:"after_years,omitzero"`
}

// AddedItem is an instruction that a person adds.
type AddedItem struct {
	Visit int  `json:"visit"`
	Item  Item `json:"item"`
}

// Change is what a person sets of a specification. What is missing stays.
type Change struct {
	Work      inventory.Opt[practice.Work] `json:"work,omitzero"`
	Objective inventory.Opt[string]        `json:"objective,omitzero"`
	Visits    []VisitChange                `json:"visits,omitempty"`
	// LateralShare is set for every reduction.
	LateralShare inventory.Opt[float64] `json:"lateral_share,omitzero"`
	CycleYears   inventory.Opt[int]     `json:"cycle_years,omitzero"`
	Add          []AddedItem            `json:"add,omitempty"`
	Note         inventory.Opt[string]  `json:"note,omitzero"`
	By           string                 `json:"by"`
	Reason       string                 `json:"reason,omitempty"` // for going against a rule
	At           time.Time              `json:"at"`
}

// Apply returns the specification with a change. Where that breaks a rule it is
// refused with an Invalid error that names each, unless the change gives a reason:
// then every breach is kept as an override with who gave it. Topping and heading,
// ordered in words too, laterals under the least, and doses that are no pruning
// are refused whatever the reason. Overrides of what is mended go. s is left as it
// is.
func Apply(s Specification, ch Change, p *practice.Practice) (Specification, error) {
	out := copied(&s)
	if err := set(&out, &ch, p); err != nil {
		return s, err
	}
	out.DoseTotal = doseTotal(&out)
	all := Check(&out, p)
	breaches := fresh(all, s.Overrides)
	out.Overrides = slices.DeleteFunc(out.Overrides, func(o Override) bool {
		return !slices.ContainsFunc(all, func(b Breach) bool { return o.Rule == b.Rule && o.Breach == b.Text })
	})
	if len(breaches) == 0 {
		return out, nil
	}
	var final, others []string
	for _, b := range breaches {
		text := string(b.Rule) + ": " + b.Text
		if b.Final {
			final = append(final, text)
			continue
		}
		others = append(others, text)
	}
	reason, by := strings.TrimSpace(ch.Reason), strings.TrimSpace(ch.By)
	switch {
	case len(final) > 0:
		return s, inventory.Errorf(inventory.Invalid, "the change breaks rules that no reason overrides: %s. %s", strings.Join(append(final, others...), "; "), instead(breaches))
	case reason == "":
		return s, inventory.Errorf(inventory.Invalid, "the change breaks rules: %s. Mend it, or give a reason to override them", strings.Join(others, "; "))
	case by == "":
		return s, inventory.Errorf(inventory.Invalid, "the change overrides rules: %s. Say who gives the reason (by)", strings.Join(others, "; "))
	}
	for _, b := range breaches {
		out.Overrides = append(out.Overrides, Override{Rule: b.Rule, Breach: b.Text, Reason: reason, By: by, At: ch.At})
	}
	return out, nil
}

// instead says what to do where no reason helps.
func instead(breaches []Breach) string {
	for _, b := range breaches {
		switch {
		case !b.Final:
		case b.Rule == DoseNever || b.Rule == DoseTotal:
			return "Take less, over more visits"
		case b.Rule == OpinionFirst:
			return "Leave the dose at 0"
		default:
			return fmt.Sprintf("Ask for a reduction to a lateral instead, and write of old cuts as %q, or %q", "old topping cuts", "no topping")
		}
	}
	return ""
}

// fresh leaves out the breaches that somebody has given a reason for before.
func fresh(breaches []Breach, overrides []Override) []Breach {
	return slices.DeleteFunc(breaches, func(b Breach) bool {
		return !b.Final && slices.ContainsFunc(overrides, func(o Override) bool { return o.Rule == b.Rule && o.Breach == b.Text })
	})
}

func copied(s *Specification) Specification {
	out := *s
	out.Visits = slices.Clone(s.Visits)
	for i := range out.Visits {
		out.Visits[i].Items = slices.Clone(out.Visits[i].Items)
	}
	out.Not, out.Rules, out.Overrides = slices.Clone(s.Not), slices.Clone(s.Rules), slices.Clone(s.Overrides)
	return out
}

// set writes a change into a specification. The error names the field that
// cannot be.
func set(s *Specification, ch *Change, p *practice.Practice) error {
	if ch.Work.OK {
		if !slices.Contains(practice.Works, ch.Work.V) {
			return inventory.Errorf(inventory.Invalid, "work: no kind of work %q, expected one of %v", ch.Work.V, practice.Works)
		}
		if ch.Work.V == practice.SecondOpinion && s.Work != practice.SecondOpinion {
			why := strings.TrimSpace(ch.Reason)
			if why == "" {
				why = "asked for by a person"
			}
			toLook(s, why)
			s.Not = notBeforeLook(s.Not)
		}
		s.Work = ch.Work.V
		if s.Work != practice.SecondOpinion && s.DoseCap == 0 && !isDead(s) {
			s.DoseCap = capOf(s.Maturity, s.Stressed, &p.Pruning)
		}
	}
	if ch.Objective.OK {
		if strings.TrimSpace(ch.Objective.V) == "" {
			return inventory.Errorf(inventory.Invalid, "objective: expected what the work is for, in words")
		}
		s.Objective = ch.Objective.V
	}
	if why := uncut(s); why != "" && ch.LateralShare.OK {
		return inventory.Errorf(inventory.Invalid, "lateral_share: %s: %s", OpinionFirst, why)
	}
	for _, v := range ch.Visits {
		if err := setVisit(s, v); err != nil {
			return err
		}
	}
	for _, a := range ch.Add {
		if err := addItem(s, a); err != nil {
			return err
		}
	}
	if l := ch.LateralShare; l.OK {
		if !(l.V >= 0 && l.V <= 1) {
			return inventory.Errorf(inventory.Invalid, "lateral_share: %v, expected a share from 0 to 1", l.V)
		}
		setLateral(s, l.V, p)
	}
	if ch.CycleYears.OK {
		if ch.CycleYears.V < 1 {
			return inventory.Errorf(inventory.Invalid, "cycle_years: %d, expected years from 1", ch.CycleYears.V)
		}
		s.CycleYears = ch.CycleYears.V
	}
	if ch.Note.OK {
		if ch.Note.V != "" && strings.TrimSpace(ch.Note.V) == "" {
			return inventory.Errorf(inventory.Invalid, "note: expected words, or nothing at all to take the note out")
		}
		s.Note = ch.Note.V
	}
	return nil
}

func setVisit(s *Specification, ch VisitChange) error {
	if ch.Number < 1 || ch.Number > len(s.Visits) {
		return inventory.Errorf(inventory.Invalid, "visits: there is no visit %d, expected 1 to %d", ch.Number, len(s.Visits))
	}
	v := &s.Visits[ch.Number-1]
	if ch.Dose.OK {
		if !(ch.Dose.V >= 0 && ch.Dose.V <= 1) {
			return inventory.Errorf(inventory.Invalid, "visits.%d.dose: %v, expected a share from 0 to 1", ch.Number, ch.Dose.V)
		}
		v.Dose = ch.Dose.V
	}
	if ch.AfterYears.OK {
		if ch.AfterYears.V < 0 || ch.AfterYears.V > 100 {
			return inventory.Errorf(inventory.Invalid, "visits.%d.after_years: %d, expected 0 to 100", ch.Number, ch.AfterYears.V)
		}
		v.AfterYears = ch.AfterYears.V
	}
	return nil
}

func addItem(s *Specification, a AddedItem) error {
	item := a.Item
	switch {
	case a.Visit < 1 || a.Visit > len(s.Visits):
		return inventory.Errorf(inventory.Invalid, "add: there is no visit %d, expected 1 to %d", a.Visit, len(s.Visits))
	case item.Cut != "" && !slices.Contains(inventory.CutKinds, item.Cut):
		return inventory.Errorf(inventory.Invalid, "add.item.cut: no kind of cut %q, expected removal, reduction or nothing", item.Cut)
	case !slices.Contains(Places, item.Place):
		return inventory.Errorf(inventory.Invalid, "add.item.place: no place %q, expected one of %v", item.Place, Places)
	case strings.TrimSpace(item.Text) == "":
		return inventory.Errorf(inventory.Invalid, "add.item.text: expected the instruction in words")
	}
	for _, v := range []float64{item.SizeFrom, item.SizeTo, item.LateralShare} {
		if !(v >= 0) || math.IsInf(v, 0) {
			return inventory.Errorf(inventory.Invalid, "add.item: a size or share of %v, expected 0 or more", v)
		}
	}
	item.Rule = ByHand
	v := &s.Visits[a.Visit-1]
	v.Items = append(v.Items, item)
	return nil
}

// setLateral writes the least lateral into every reduction, and into what is said
// of it.
func setLateral(s *Specification, share float64, p *practice.Practice) {
	preferred := p.Pruning.LateralSharePreferred.Value
	was := p.Pruning.LateralShare.Value
	eachReduction(s, func(item *Item) {
		if item.Rule != ByHand && item.LateralShare > 0 {
			was = item.LateralShare
		}
	})
	for i := range s.Visits {
		for k := range s.Visits[i].Items {
			item := &s.Visits[i].Items[k]
			old := was
			if item.Cut == inventory.CutReduction {
				old, item.LateralShare = item.LateralShare, share
			}
			item.Text = restated(item.Text, old, share, preferred)
		}
	}
	for i, line := range s.Not {
		if strings.HasPrefix(line, headingStart) {
			s.Not[i] = notHeading(share, preferred)
		}
	}
}

// restated says another least lateral in an instruction.
func restated(text string, old, share, preferred float64) string {
	was := shareWords(old)
	return strings.NewReplacer(was+" to "+shareWords(preferred), lateralRange(share, preferred), was+" or more", shareWords(share)+" or more").Replace(text)
}

// lateralRange says from which lateral on to which.
func lateralRange(least, preferred float64) string {
	if least >= preferred-slack {
		return shareWords(least) + " or more"
	}
	return shareWords(least) + " to " + shareWords(preferred)
}

// eachReduction calls fn on every reduction asked for.
func eachReduction(s *Specification, fn func(*Item)) {
	for i := range s.Visits {
		for k := range s.Visits[i].Items {
			if item := &s.Visits[i].Items[k]; item.Cut == inventory.CutReduction {
				fn(item)
			}
		}
	}
}
