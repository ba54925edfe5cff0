package pruning

import (
	"math"
	"slices"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/allometry"
	"github.com/underbough/underbough/inventory/practice"
)

// Specify returns the pruning that the rules ask for on a tree, from what is
// recorded of it. It passes Check. Where a rule asks for a second opinion nothing
// is cut before it. Where no tree stands the specification has no work and no
// visits.
func Specify(c *Case, p *practice.Practice) Specification { return specify(c, p, false) }

// SpecifyKept returns the pruning of a tree that somebody qualified has looked at
// and decided to keep: the rules of second opinion do not speak. A dead tree is
// not pruned all the same.
func SpecifyKept(c *Case, p *practice.Practice) Specification { return specify(c, p, true) }

func specify(c *Case, p *practice.Practice, kept bool) Specification {
	b := builder{c: c, p: p}
	b.s = Specification{
		Tree: c.Tree.ID, System: Natural, PracticeName: p.Name, PracticeDigest: p.Digest, AsOf: c.AsOf.Format(time.DateOnly),
		Visits: []Visit{}, Not: []string{}, Rules: []Fired{},
	}
	if !c.Tree.Status.Standing() {
		b.s.Objective = "Nothing to prune: no tree stands here (" + string(c.Tree.Status) + ")."
		b.fire(NoTree, "status "+string(c.Tree.Status), "")
		return b.s
	}
	group := allometry.Find(c.Tree.Species).Group()
	b.palm, b.conifer = group == "palm", strings.Contains(group, "conifer")
	b.old = b.headedCuts()
	b.limits()
	if b.opinion(kept) {
		return b.s
	}
	b.begin()
	if b.palm {
		b.fronds()
		b.finish()
		return b.s
	}
	switch {
	case len(b.old) > 0 && b.conifer:
		b.unruled()
	case len(b.old) > 0:
		b.restore()
	}
	for i := range c.Cuts {
		switch c.Cuts[i].Kind {
		case inventory.CutLionTailing:
			b.rebalance(i)
		case inventory.CutStub:
			b.stub(i)
		case inventory.CutFlush:
			b.flush(i)
		}
	}
	b.reduceLong()
	if b.s.Maturity == Young {
		b.train()
	}
	b.clean()
	b.finish()
	return b.s
}

// builder gathers what the rules ask for.
type builder struct {
	c     *Case
	p     *practice.Practice
	s     Specification
	old   []int // topped and headed cuts
	bad   bool  // old bad cuts of any kind are recorded
	steps []step
	doses []dose
	// palm and conifer are what the species is known to be: a crown does not come
	// back on them as on a broadleaf.
	palm, conifer bool
	// shortened are the cuts whose long shoots are shortened already.
	shortened []int
}

// dose is what a kind of work takes on a visit: one work's items share it.
type dose struct {
	visit int
	work  practice.Work
	share float64
}

func (b *builder) fire(rule Rule, why, source string) {
	if source == "" {
		source = sourceOf(rule)
	}
	b.s.Rules = append(b.s.Rules, Fired{Rule: rule, Why: why, Source: source})
}

// heavier is the order of the kinds of work; the first of those found is the
// specification's.
var heavier = []practice.Work{practice.SecondOpinion, practice.Restoration, practice.Rebalancing, practice.Reduction, practice.Structural, practice.Cleaning}

func (b *builder) work(w practice.Work) {
	if b.s.Work == "" || slices.Index(heavier, w) < slices.Index(heavier, b.s.Work) {
		b.s.Work = w
	}
}

// limits sets maturity, vigour, the cap of the dose and the years to wait.
func (b *builder) limits() {
	p, s := &b.p.Pruning, &b.s
	var why string
	s.Maturity, why = b.c.maturity(p)
	n := byMaturity(s.Maturity, p)
	b.fire(ByMaturity, why+": at most "+percentOf(n.Value)+" of the live crown in a season", n.Source)
	if words, ok := b.c.stressed(p); ok {
		s.Stressed = true
		b.fire(Stressed, words+": at most "+percentOf(capOf(s.Maturity, true, p))+" of the live crown in a season", p.Dose.Stressed.Source)
	}
	s.DoseCap = capOf(s.Maturity, s.Stressed, p)
	if dbh := b.c.Tree.DBH; dbh.OK && dbh.V > p.UnusualDBH.Value {
		b.fire(UnusualStem, "stem "+cm(dbh.V)+", over "+cm(p.UnusualDBH.Value)+": unusually large, check the record (a girth, several stems, a wrong unit)", p.UnusualDBH.Source)
	}
	if years, ok := b.c.lastTopped(); ok && years < p.ToppedLatelyYears.Value {
		s.WaitYears = int(math.Ceil(p.ToppedLatelyYears.Value - years))
		b.fire(ToppedLately, "topped "+yearsOf(math.Floor(years*10)/10)+" ago, nothing live before "+yearsOf(p.ToppedLatelyYears.Value)+" from then", p.Dose.ToppedLately.Source)
	}
}

func byMaturity(m Maturity, p *practice.Pruning) practice.Number {
	switch m {
	case Young:
		return p.Dose.Young
	case Established:
		return p.Dose.Established
	}
	return p.Dose.Mature
}

// capOf is the most of the live crown that is taken in one season.
func capOf(m Maturity, stressed bool, p *practice.Pruning) float64 {
	limit := byMaturity(m, p).Value
	if stressed {
		limit = min(limit, p.Dose.Stressed.Value)
	}
	return limit
}

// headedCuts lists the topped and headed cuts, and notes whether any old bad cut
// is recorded.
func (b *builder) headedCuts() []int {
	var old []int
	for i := range b.c.Cuts {
		cut := &b.c.Cuts[i]
		if headed(cut, b.p) {
			old = append(old, i)
		}
		if headed(cut, b.p) || cut.Kind == inventory.CutLionTailing || cut.Kind == inventory.CutFlush || cut.Kind == inventory.CutStub {
			b.bad = true
		}
	}
	return old
}

// begin lays out the visits: those of a restoration, later where the tree was
// topped lately, or one.
func (b *builder) begin() {
	b.s.Visits = append(b.s.Visits, Visit{Items: []Item{}})
	if dbh := b.c.Tree.DBH; dbh.OK && dbh.V > b.p.Pruning.UnusualDBH.Value {
		b.put(0, Item{Place: UpperCrown, Rule: UnusualStem, Text: "Measure the stem: a diameter of " + cm(dbh.V) + " is recorded, which is unusually large. Say what it is before anything else."})
	}
	if len(b.old) == 0 || b.palm || b.conifer {
		return
	}
	b.steps = b.plan()
	for _, s := range b.steps {
		if s.years > 0 {
			b.s.Visits = append(b.s.Visits, Visit{AfterYears: s.years, Items: []Item{}})
		}
	}
}

// put adds an item that takes nothing live to a visit.
func (b *builder) put(visit int, item Item) {
	b.s.Visits[visit].Items = append(b.s.Visits[visit].Items, item)
}

// live adds items that take live crown, for one kind of work, to the first visit
// from so many years on, and makes one where there is none. It returns the visit.
func (b *builder) live(years int, w practice.Work, share float64, items ...Item) int {
	at := b.visitAt(max(years, b.s.WaitYears))
	b.s.Visits[at].Items = append(b.s.Visits[at].Items, items...)
	for i := range b.doses {
		if d := &b.doses[i]; d.visit == at && d.work == w {
			d.share = max(d.share, share)
			return at
		}
	}
	b.doses = append(b.doses, dose{at, w, share})
	return at
}

// visitAt returns the first visit from so many years on, and makes one where
// there is none.
func (b *builder) visitAt(years int) int {
	at := slices.IndexFunc(b.s.Visits, func(v Visit) bool { return v.AfterYears >= years })
	if at < 0 {
		last := b.s.Visits[len(b.s.Visits)-1].AfterYears
		years = max(years, last+int(b.p.Restoration.Between.Value))
		b.s.Visits = append(b.s.Visits, Visit{AfterYears: years, Items: []Item{}})
		at = len(b.s.Visits) - 1
	}
	return at
}

// finish works out the doses, the texts and the cycle.
func (b *builder) finish() {
	s, p := &b.s, b.p
	asked := make([]float64, len(s.Visits))
	for _, d := range b.doses {
		v := &s.Visits[d.visit]
		asked[d.visit] += d.share
		v.Dose = min(v.Dose+d.share, s.DoseCap)
	}
	total := 0.0
	for _, v := range s.Visits {
		total += v.Dose
	}
	// Long sequences are made lighter evenly, not cut off at the end.
	if most := p.Pruning.DoseTotal.Value; total > most {
		for i := range s.Visits {
			s.Visits[i].Dose *= most / total
		}
	}
	for i := range s.Visits {
		v := &s.Visits[i]
		v.Dose = math.Floor(v.Dose*1e4+1e-6) / 1e4
		fit(v, asked[i])
	}
	first := true
	s.Visits = slices.DeleteFunc(s.Visits, func(v Visit) bool {
		empty := !first && len(v.Items) == 0
		first = false
		return empty
	})
	b.lookBetween()
	for i := range s.Visits {
		v := &s.Visits[i]
		v.Number = i + 1
		if v.Goal == "" {
			v.Goal = goalOf(v, s.Work)
		}
	}
	s.DoseTotal = doseTotal(s)
	b.cycle()
	s.Objective = objectiveOf(s)
	s.Not = notTo(b.c, p, s)
	if b.palm {
		s.Not = notToPalm()
	}
}

func doseTotal(s *Specification) float64 {
	total := 0.0
	for _, v := range s.Visits {
		total += v.Dose
	}
	return math.Round(total*1e6) / 1e6
}

// of starts an item about a cut, where that is.
func of(c *inventory.Cut, place Place, rule Rule) Item {
	return Item{Place: place, OnCut: c.ID, Bearing: c.Bearing, Height: c.Height, Reach: c.Reach, Rule: rule}
}
