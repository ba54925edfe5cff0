package main

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

type explainCmd struct {
	Tag  string `arg:"" help:"The tree's tag or source id."`
	Site string `help:"Site of the tree; may be left out where there is only one." placeholder:"NAME"`
	assumptions
}

// Run opens one tree's sum.
func (e *explainCmd) Run(c *cli) error {
	p, err := e.profile()
	if err != nil {
		return err
	}
	asOf, err := e.asOf()
	if err != nil {
		return err
	}
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	site, err := s.GetSite(c.ctx, s.client, e.Site)
	if err != nil {
		return err
	}
	x, err := question.Explain(c.ctx, s, site, e.Tag, p, asOf)
	if err != nil {
		return err
	}
	w := bufio.NewWriter(c.stdout)
	if err := writeExplanation(w, x, terminalWidth(c.stdout)); err != nil {
		return err
	}
	return w.Flush()
}

func writeExplanation(w io.Writer, x *question.Explanation, width int) error {
	writeTree(w, x)
	for i, part := range x.Assessment.Parts {
		writePart(w, x, i, part)
		if err := writeOverlaps(w, x, i, width); err != nil {
			return err
		}
	}
	a := x.Assessment
	fmt.Fprintf(w, "\nharm index %s = people %s + property %s × %s; rating %s\n", ranking.Figure(a.Harm*1000), ranking.Figure(a.HarmPeople*1000),
		ranking.Figure(a.HarmProperty*1000), ranking.Figure(x.Profile.Weights.Property.Value), a.Rating)
	fmt.Fprintf(w, "over the most: the %s, %s people in the busiest hour (%s), somebody there in %.1f %% of hours\n",
		a.Parts[a.Under].Part, ranking.Figure(a.Week.Busiest), ranking.HourName(a.Week.BusiestHour), a.Week.Occupied*100)
	_, err := fmt.Fprintf(w, "\nChances, shares struck and weights are assumptions of profile %s %d: underbough profile prints each with its source.\n%s\n",
		x.Profile.Name, x.Profile.Version, cautions)
	return err
}

func writeTree(w io.Writer, x *question.Explanation) {
	t, d := x.Facts.Tree, x.Assessment.Dimensions
	name := "tree " + t.Tag
	if t.Tag == "" {
		name = "tree without a tag"
	}
	if t.SourceID != "" && t.SourceID != t.Tag {
		name += " (source id " + t.SourceID + ")"
	}
	fmt.Fprint(w, plainText(name))
	fmt.Fprintf(w, ", %s, %s, at %.6f, %.6f\n", plainText(orUnknown(t.Species, "species unknown")), t.Status, t.Point[0], t.Point[1])
	dbh := "not measured"
	if t.DBH.OK {
		dbh = fmt.Sprintf("%.1f cm", t.DBH.V*100)
	}
	fmt.Fprintf(w, "stem %s, height %.1f m%s, crown radius %.1f m%s\n", dbh,
		d.Height, estimated(d.HeightEstimated), d.CrownRadius, estimated(d.CrownRadiusEstimated))
	for _, c := range x.Facts.Cuts {
		fmt.Fprintf(w, "cut: %s%s\n", x.Screener.Describe(c), given(c))
	}
	for _, v := range x.Facts.Visits {
		fmt.Fprintf(w, "visit %s%s: %s\n", v.On.Format(time.DateOnly), plainText(by(v)), plainText(strings.Join(said(v), ", ")))
	}
}

func writePart(w io.Writer, x *question.Explanation, i int, p ranking.PartAssessment) {
	fmt.Fprintf(w, "\n%s", p.Part)
	if p.Part == exposure.Limb {
		fmt.Fprintf(w, " with the cut: %s", x.Screener.Describe(x.Facts.Cuts[p.Cut]))
	}
	fmt.Fprintf(w, "\n  zone: ")
	if p.Zone.IsDisc() {
		fmt.Fprintf(w, "disc of %.1f m\n", p.Zone.Radius)
	} else {
		fmt.Fprintf(w, "sector of %.1f m, %.0f° about bearing %.0f°\n", p.Zone.Radius, p.Zone.Width, p.Zone.Bearing)
	}
	how := "judged on a visit"
	if p.Judgement.Inferred {
		how = "inferred: " + p.Judgement.Rule.String()
	} else if p.Judgement.Stale {
		how += ", out of date"
	}
	fmt.Fprintf(w, "  failure %s (%s), assumed chance %.4g a year\n", p.Judgement.Likelihood, how, p.Chance)
	c := p.Exposure.Count
	fmt.Fprintf(w, "  %s people in the open, %s in vehicles, %s under roofs, %s vehicles on average; harm index %s, rating %s\n",
		ranking.Figure(c.People), ranking.Figure(c.InVehicles), ranking.Figure(c.Sheltered), ranking.Figure(c.Vehicles), ranking.Figure(p.Harm*1000), p.Rating)
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
