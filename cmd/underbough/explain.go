package main

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/mechanics"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
	"github.com/underbough/underbough/inventory/risk"
)

type explainCmd struct {
	Tag    string `arg:"" help:"The tree's tag or source id."`
	Site   string `help:"Site of the tree; may be left out where there is only one." placeholder:"NAME"`
	Format string `default:"text" enum:"text,json" help:"text or json."`
	assumptions
}

// Run opens one tree's sum.
func (e *explainCmd) Run(c *cli) error {
	s, sweep, err := c.look(e.Site, &e.assumptions)
	if err != nil {
		return err
	}
	defer s.close()
	x, err := question.Explain(c.ctx, s, sweep.Site, e.Tag, sweep.Profile, sweep.AsOf)
	if err != nil {
		return err
	}
	if e.Format == "json" {
		return encode(c.stdout, object(x.Properties(sweep.Site, sweep.AsOf)))
	}
	w := bufio.NewWriter(c.stdout)
	if err := writeExplanation(w, x, terminalWidth(c.stdout)); err != nil {
		return err
	}
	return w.Flush()
}

func writeExplanation(w io.Writer, x *question.Explanation, width int) error {
	l := notes{w, width}
	l.paragraph(x.Paragraph())
	fmt.Fprintln(w)
	writeTree(l, x)
	regrown := false
	for i := range x.Assessment.Parts {
		p := &x.Assessment.Parts[i]
		fmt.Fprintln(w)
		writePart(l, x, i)
		if p.Part == exposure.Limb {
			regrown = writeRegrowth(l, x, &x.Facts.Cuts[p.Cut]) || regrown
		}
		if err := writeOverlaps(w, x, i, width); err != nil {
			return err
		}
	}
	fmt.Fprintln(w)
	writeSum(l, x)
	for i := range x.Work {
		if x.Work[i].Completion != nil {
			l.say("work done: %s", question.WorkText(&x.Work[i]))
		}
	}
	if regrown {
		fmt.Fprintln(w)
		l.say("The bending stress is an index that orders limbs and says nothing of when a shoot breaks. It takes for granted:")
		for _, a := range mechanics.Assumptions(x.Profile.Mechanics) {
			l.sayIn("- ", "%s", a)
		}
	}
	fmt.Fprintln(w)
	l.say("%s.", capital(exposure.SlopeIgnored))
	l.say("Chances, shares struck and weights are assumptions of profile %s %d: underbough profile prints each with its source.", x.Profile.Name, x.Profile.Version)
	return l.cautions()
}

func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

func writeTree(l notes, x *question.Explanation) {
	t := &x.Facts.Tree
	name := "tree " + t.Tag
	if t.Tag == "" {
		name = "tree without a tag"
	}
	if t.SourceID != "" && t.SourceID != t.Tag {
		name += " (source id " + t.SourceID + ")"
	}
	l.say("%s, %s, %s, at %.6f, %.6f", name, orUnknown(t.Species, "species unknown"), t.Status, t.Point[0], t.Point[1])
	dbh := "not measured"
	if t.DBH.OK {
		dbh = fmt.Sprintf("%.1f cm", t.DBH.V*100)
	} else if x.Assessment.Dimensions.DBHAssumed {
		dbh = fmt.Sprintf("not measured (taken to be %.0f cm, %s)", x.Profile.Sizing.UnknownDBH.Value*100, x.Profile.Sizing.UnknownDBH.Source)
	}
	l.say("stem %s", dbh)
	writeDimensions(l, x)
	if t.Lean.OK {
		text := fmt.Sprintf("leans by %.0f°", t.Lean.V)
		if t.LeanBearing.OK {
			text += fmt.Sprintf(" to bearing %.0f°", t.LeanBearing.V)
		}
		l.say("%s", text)
	}
	if t.Brittle.Or(false) {
		l.say("brittle: a fall throws parts as far as a dead tree's")
	}
	for i := range x.Facts.Cuts {
		c := &x.Facts.Cuts[i]
		l.say("cut %d: %s%s", c.ID, x.Screener.Describe(c), given(*c))
	}
	for _, v := range x.Facts.Visits {
		l.say("visit %s%s: %s", v.On.Format(time.DateOnly), by(v), strings.Join(said(v), ", "))
	}
}

func writeDimensions(l notes, x *question.Explanation) {
	d := &x.Assessment.Dimensions
	height := size("height", d.Height, d.HeightSE, d.HeightFrom)
	if d.HeightTopped {
		height += "; " + exposure.ToppedHeight
	}
	l.say("%s", height)
	crown := size("crown radius", d.CrownRadius, d.CrownRadiusSE, d.CrownFrom)
	if x.Facts.Tree.Crown != nil && !x.Facts.Tree.CrownRadius.OK && !d.CrownRadiusEstimated() {
		crown = fmt.Sprintf("crown radius %.1f m, of a disc as large as the surveyed outline", d.CrownRadius)
	}
	l.say("%s", crown)
	if d.Extrapolated {
		l.say("the stem is thinner or thicker than any that the equations were made from")
	}
}

// size is a dimension with its origin and one standard error.
func size(name string, v, se float64, from exposure.Origin) string {
	if from == exposure.Measured {
		return fmt.Sprintf("%s %.1f m, measured", name, v)
	}
	text := fmt.Sprintf("%s %.1f m", name, v)
	if se > 0 {
		text += fmt.Sprintf(" ± %.1f m (one standard error)", se)
	}
	return text + ", estimated by " + ranking.OriginWords(from)
}

func writePart(l notes, x *question.Explanation, i int) {
	p := &x.Assessment.Parts[i]
	title := p.Part.String()
	var cut *inventory.Cut
	if p.Part == exposure.Limb {
		cut = &x.Facts.Cuts[p.Cut]
		title += fmt.Sprintf(" with cut %d: %s", cut.ID, x.Screener.Describe(cut))
	}
	l.say("%s", title)
	l.sayIn("  ", "zone: %s", x.ZoneWords(p, cut))
	l.sayIn("  ", "failure %s: %s", p.Judgement.Likelihood, judgedBy(x, p, cut))
	l.sayIn("  ", "assumed chance %.3g %s, striking %.0f %% of those in the zone", p.Chance, question.ChanceOver(x.Profile), p.Struck*100)
	c, week, vehicles := p.Exposure.Count, x.Meter.Week(p.Exposure), x.Meter.VehicleWeek(p.Exposure)
	l.sayIn("  ", "on average %s people in the open, %s in vehicles, %s under roofs, %s vehicles",
		ranking.Figure(c.People), ranking.Figure(c.InVehicles), ranking.Figure(c.Sheltered), ranking.Figure(c.Vehicles))
	if week.Busiest > 0 {
		l.sayIn("  ", "busiest hour: %s people (%s), somebody there in %.1f %% of hours", ranking.Figure(week.Busiest), ranking.HourName(week.BusiestHour), week.Occupied*100)
	}
	if vehicles.Busiest > 0 {
		l.sayIn("  ", "busiest hour of vehicles: %s (%s), one there in %.1f %% of hours", ranking.Figure(vehicles.Busiest), ranking.HourName(vehicles.BusiestHour), vehicles.Occupied*100)
	}
	if m := p.Exposure.Meeting; m.Vehicles > 0 {
		l.sayIn("  ", "drivers who could meet what has fallen, in the zone or too close to stop: %s vehicles with %s people (counted apart, no part of the harm index)",
			ranking.Figure(m.Vehicles), ranking.Figure(m.Persons))
	}
	l.sayIn("  ", "rated %s; harm index %s (people %s, property %s before its weight)",
		ranking.RatingWords(p.Score), ranking.Figure((p.Harm+p.HarmProperty*x.Profile.Weights.Property.Value)*1000), ranking.Figure(p.Harm*1000), ranking.Figure(p.HarmProperty*1000))
	if x.Points != nil {
		n := x.Points[i]
		l.sayIn("  ", "points for people %s; for property %s", pointWords(n.People), pointWords(n.Property))
	}
}

// pointWords opens a sum of points.
func pointWords(p risk.Points) string {
	if p.Target == 0 {
		return "none, as nothing is there"
	}
	return fmt.Sprintf("%d = failure %d + size of part %d + target %d + other %d", p.Total(), p.Failure, p.Size, p.Target, p.Other)
}

func judgedBy(x *question.Explanation, p *ranking.PartAssessment, cut *inventory.Cut) string {
	why := x.Screener.Why(p.Judgement, &x.Facts.Tree, cut, x.Facts.Visits)
	if p.Judgement.Inferred {
		return "inferred and judged by nobody: " + why
	}
	return why
}

// writeRegrowth says how hard a gust bends the shoots at a cut; false where
// there are none.
func writeRegrowth(l notes, x *question.Explanation, cut *inventory.Cut) bool {
	r := x.Sizer.Regrowth(&x.Facts, cut)
	load := mechanics.Stress(r, x.Profile.Mechanics)
	if load.LeverM == 0 {
		return false
	}
	base := "of unknown base"
	if r.BaseDiameter > 0 {
		base = fmt.Sprintf("%.1f cm at the base%s", r.BaseDiameter*100, estimated(r.DiameterEstimated))
	}
	l.sayIn("  ", "shoots: %d, the longest %.1f m%s, %s", r.Count, r.Length, estimated(r.LengthEstimated), base)
	text := fmt.Sprintf("in a gust of %g m/s: sail %.2f m², lever arm %.2f m, moment %.0f N·m at the attachment, bending stress %.1f MPa",
		x.Profile.Mechanics.Gust.Value, load.SailM2, load.LeverM, load.MomentNm, load.StressMPa)
	if r.LengthEstimated || r.DiameterEstimated {
		text += " (rests on an estimate)"
	}
	l.sayIn("  ", "%s", text)
	return true
}

func writeSum(l notes, x *question.Explanation) {
	a := x.Assessment
	l.say("harm index %s = people %s + property %s × %s; rated %s",
		ranking.Figure(a.Harm*1000), ranking.Figure(a.HarmPeople*1000), ranking.Figure(a.HarmProperty*1000), ranking.Figure(x.Profile.Weights.Property.Value),
		ranking.RatingWords(a.Score))
	l.say("over the most: the %s, %s people in the busiest hour (%s), somebody there in %.1f %% of hours",
		a.Parts[a.Under].Part, ranking.Figure(a.Week.Busiest), ranking.HourName(a.Week.BusiestHour), a.Week.Occupied*100)
}

func writeOverlaps(w io.Writer, x *question.Explanation, zone, width int) error {
	t := &table{columns: []column{
		{title: "  target", least: 8}, {title: "name", least: 8}, {title: "covers", right: true},
		{title: "people", right: true}, {title: "in vehicles", right: true}, {title: "vehicles", right: true},
	}}
	for _, o := range x.Overlaps {
		if o.Zone != zone {
			continue
		}
		u := ranking.Under{Kind: o.Kind, LengthM: o.LengthM, AreaM2: o.AreaM2, Points: o.Points}
		kind, amount, _ := strings.Cut(u.String(), " ")
		if o.Kind == inventory.TransitStop || o.Kind == inventory.UtilityLine {
			kind = strings.ReplaceAll(string(o.Kind), "_", " ")
			amount = strings.TrimPrefix(u.String(), kind+" ")
		}
		target := x.Targets[o.Target]
		name := target.Name
		if name == "" {
			name = target.SourceID
		}
		t.add("", fmt.Sprintf("  %s %d", kind, o.Target), name, amount, ranking.Figure(o.Count.People+o.Count.Sheltered), ranking.Figure(o.Count.InVehicles), ranking.Figure(o.Count.Vehicles))
	}
	if len(t.rows) == 0 {
		_, err := fmt.Fprintln(w, "  nothing recorded lies in it")
		return err
	}
	return t.write(w, width)
}

func estimated(yes bool) string {
	if yes {
		return " (estimated)"
	}
	return ""
}

func orUnknown(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}

func given(c inventory.Cut) string {
	if c.GivenKind == "" {
		return ""
	}
	return fmt.Sprintf(" (recorded as %s; lateral %.0f cm on %.0f cm classes it as %s)", c.GivenKind, c.LateralDiameter.V*100, c.Diameter.V*100, c.Kind)
}

func by(v inventory.Visit) string {
	if v.By == "" {
		return ""
	}
	return " by " + v.By
}

func said(v inventory.Visit) []string {
	var out []string
	if v.Condition != "" {
		out = append(out, "condition "+v.Condition)
	}
	for _, p := range []struct {
		part string
		l    inventory.Likelihood
	}{{"whole tree", v.WholeTree}, {"crown", v.Crown}, {"limb", v.Limb}} {
		if p.l != inventory.Unjudged {
			out = append(out, p.part+" "+p.l.String())
		}
	}
	if v.Note != "" {
		out = append(out, v.Note)
	}
	if out == nil {
		out = []string{"nothing judged"}
	}
	return out
}
