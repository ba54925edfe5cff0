package pruning

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/risk"
)

// Case is what is known of one tree.
type Case struct {
	Tree   *inventory.Tree
	Cuts   []inventory.Cut
	Visits []inventory.Visit // in order of their day
	// Sizes as zones are made from, metres; 0 for not known.
	Height, CrownRadius             float64
	HeightEstimated, CrownEstimated bool
	// Over is what lies under the crown or a limb.
	Over []inventory.TargetKind
	// Occupied is the share of the week's hours with somebody under it.
	Occupied float64
	// Regrowth is the length of the longest shoots by cut, measured or estimated,
	// metres. It may be shorter than Cuts; then what was measured counts.
	Regrowth []float64
	AsOf     time.Time
}

// shoots returns the length of the shoots at a cut, metres, and whether nobody
// measured them.
func (c *Case) shoots(i int) (length float64, estimated bool) {
	cut := &c.Cuts[i]
	if cut.RegrowthCount.OK && cut.RegrowthCount.V == 0 {
		return 0, false
	}
	if cut.RegrowthLength.OK {
		return positive(cut.RegrowthLength.V), false
	}
	if i < len(c.Regrowth) {
		return positive(c.Regrowth[i]), true
	}
	return 0, true
}

// headed reports whether a cut is one that shoots grow back from: topped, headed,
// or reduced to a lateral too small to take over.
func headed(cut *inventory.Cut, p *practice.Practice) bool {
	switch cut.Kind {
	case inventory.CutTopping, inventory.CutHeading:
		return true
	case inventory.CutReduction:
		kind, known := inventory.ClassByLateral(cut.Diameter, cut.LateralDiameter, p.Pruning.LateralShare.Value)
		return known && kind == inventory.CutHeading
	}
	return false
}

// standing returns the visits up to the day, in order.
func (c *Case) standing() []inventory.Visit {
	var seen []inventory.Visit
	for _, v := range c.Visits {
		if !v.On.After(c.AsOf) {
			seen = append(seen, v)
		}
	}
	slices.SortStableFunc(seen, func(a, b inventory.Visit) int { return a.On.Compare(b.On) })
	return seen
}

// conditions returns what the tree's record and its latest visit call its
// condition.
func (c *Case) conditions() []string {
	words := []string{c.Tree.Condition}
	seen := c.standing()
	for i := len(seen) - 1; i >= 0; i-- {
		if seen[i].Condition != "" {
			return append(words, seen[i].Condition)
		}
	}
	return words
}

// maturity goes by the planting year and then the stem; where neither is
// known the tree counts as mature, which allows the least.
func (c *Case) maturity(p *practice.Pruning) (Maturity, string) {
	dbh := c.Tree.DBH.V
	if !c.Tree.DBH.OK || !(dbh > 0) {
		dbh = -1
	}
	age := -1
	if c.Tree.PlantedYear.OK {
		age = c.AsOf.Year() - c.Tree.PlantedYear.V
	}
	grown := float64(age) >= p.YoungYears.Value
	switch {
	case dbh >= p.MatureDBH.Value:
		return Mature, "stem " + cm(dbh) + ", mature from " + cm(p.MatureDBH.Value)
	case age >= 0 && !grown:
		return Young, "planted " + count(age, "year", "years") + " ago, young to " + figure(p.YoungYears.Value)
	case dbh < 0:
		return Mature, "stem not recorded, so counted as mature"
	case dbh < p.YoungDBH.Value && !grown:
		return Young, "stem " + cm(dbh) + ", young below " + cm(p.YoungDBH.Value)
	}
	return Established, "stem " + cm(dbh) + ", mature from " + cm(p.MatureDBH.Value)
}

// stressed reports whether a condition is one of a stressed tree: by a word, or
// as a percentage.
func (c *Case) stressed(p *practice.Pruning) (string, bool) {
	for _, words := range c.conditions() {
		if v, ok := percent(words); ok && v <= p.StressedPercent.Value {
			return "condition " + words + ", stressed to " + figure(p.StressedPercent.Value) + " %", true
		}
		for _, w := range p.StressedWords {
			if holdsWords(words, w) {
				return "condition " + words, true
			}
		}
	}
	return c.dying(p)
}

// dying reports whether a condition is one of a tree that may not live on.
func (c *Case) dying(p *practice.Pruning) (string, bool) {
	for _, words := range c.conditions() {
		for _, w := range p.DyingWords {
			if holdsWords(words, w) {
				return "condition " + words, true
			}
		}
	}
	return "", false
}

// dead reports whether a tree is dead by its status or by its condition.
func (c *Case) dead() (string, bool) {
	if c.Tree.Status == inventory.Dead {
		return "recorded as dead", true
	}
	for _, words := range c.conditions() {
		if v, ok := percent(words); ok && v == 0 || strings.EqualFold(strings.TrimSpace(words), "dead") {
			return "condition " + words, true
		}
	}
	return "", false
}

// percent reads a condition such as 40, 40% or 40 %. A bare number below 10 may
// be a class of some other scale and is none.
func percent(words string) (float64, bool) {
	number, sign := strings.CutSuffix(strings.TrimSpace(words), "%")
	v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	return v, err == nil && v >= 0 && v <= 100 && (sign || v >= 10)
}

// holdsWords reports whether a text holds a word or a run of words.
func holdsWords(text, run string) bool {
	spaced := func(s string) string {
		return " " + strings.Join(strings.FieldsFunc(strings.ToLower(s), func(r rune) bool {
			return r < 'a' || r > 'z'
		}), " ") + " "
	}
	return strings.TrimSpace(run) != "" && strings.Contains(spaced(text), spaced(run))
}

// lastTopped returns the years since the latest topping cut.
func (c *Case) lastTopped() (years float64, ok bool) {
	for i := range c.Cuts {
		if c.Cuts[i].Kind != inventory.CutTopping {
			continue
		}
		y, known := c.yearsSince(&c.Cuts[i])
		if known && (!ok || y < years) {
			years, ok = y, true
		}
	}
	return years, ok
}

// lastHeaded returns the years since the latest of some cuts whose time is known.
func (c *Case) lastHeaded(cuts []int) (years float64, ok bool) {
	for _, i := range cuts {
		if y, known := c.yearsSince(&c.Cuts[i]); known && (!ok || y < years) {
			years, ok = y, true
		}
	}
	return years, ok
}

func (c *Case) yearsSince(cut *inventory.Cut) (float64, bool) {
	if cut.On.OK {
		return max(0, c.AsOf.Sub(cut.On.V).Hours()/(24*365.25)), true
	}
	if year, ok := cut.MadeYear(); ok {
		return max(0, float64(c.AsOf.Year()-year)), true
	}
	return 0, false
}

// loss returns the strength lost by the latest measured section that can be.
func (c *Case) loss() (risk.Loss, time.Time, bool) {
	seen := c.standing()
	for i := len(seen) - 1; i >= 0; i-- {
		if q, ok := risk.SectionOf(&seen[i]); ok {
			if l, err := q.Loss(); err == nil {
				return l, seen[i].On, true
			}
		}
	}
	return risk.Loss{}, time.Time{}, false
}

// imminent returns the part whose latest judgement is imminent.
func (c *Case) imminent() (part string, on time.Time, ok bool) {
	seen := c.standing()
	for _, of := range []struct {
		part string
		word func(*inventory.Visit) inventory.Likelihood
	}{
		{"the whole tree", func(v *inventory.Visit) inventory.Likelihood { return v.WholeTree }},
		{"the crown", func(v *inventory.Visit) inventory.Likelihood { return v.Crown }},
		{"a limb", func(v *inventory.Visit) inventory.Likelihood { return v.Limb }},
	} {
		for i := len(seen) - 1; i >= 0; i-- {
			if w := of.word(&seen[i]); w != inventory.Unjudged {
				if w == inventory.Imminent {
					return of.part, seen[i].On, true
				}
				break
			}
		}
	}
	return "", time.Time{}, false
}

// positive is v, and 0 for what is no positive finite number.
func positive(v float64) float64 {
	if !(v > 0) || math.IsInf(v, 0) {
		return 0
	}
	return v
}
