package ranking

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/risk"
)

// Case is one tree's assessment with all that it rests on.
type Case struct {
	Facts      *Facts
	Assessment *Assessment
	Screener   *risk.Screener
	Sizer      *Sizer
	Meter      *exposure.Meter // that measured the assessment's zones last
	// Overlaps lists each target under each part, and Targets what they are.
	Overlaps []exposure.Overlap
	Targets  map[inventory.TargetID]inventory.Target
}

// Paragraph says in plain words why a tree stands where it does: which cut, how
// old, what hangs over what, how many people, how likely, by whose word, how it
// rates, and what of that is estimated.
func Paragraph(c *Case) string {
	part := &c.Assessment.Parts[c.Assessment.Worst]
	sentences := []string{c.identity(part), c.shoots(part), c.place(part), c.numbers(part), c.failure(part), c.ratings(), c.estimates(part),
		"This is a screening from records and geometry, not an inspection."}
	return strings.Join(slices.DeleteFunc(sentences, func(s string) bool { return s == "" }), " ")
}

// cutOf is the cut to speak of: that of the worst part, or of the limb that
// weighs most; nil where no cut weakens the tree.
func (c *Case) cutOf(worst *PartAssessment) *inventory.Cut {
	at, most := worst.Cut, -1.0
	for i := range c.Assessment.Parts {
		p := &c.Assessment.Parts[i]
		if worst.Cut < 0 && p.Cut >= 0 && p.Harm+p.HarmProperty > most {
			at, most = p.Cut, p.Harm+p.HarmProperty
		}
	}
	if at < 0 {
		return nil
	}
	return &c.Facts.Cuts[at]
}

func (c *Case) identity(worst *PartAssessment) string {
	t := &c.Facts.Tree
	name := "Tree " + TreeName{Tag: t.Tag, SourceID: t.SourceID}.Label()
	if t.Species != "" {
		name += " (" + t.Species + ")"
	} else if t.CommonName != "" {
		name += " (" + t.CommonName + ")"
	}
	if t.Status == inventory.Dead {
		name += " is dead and"
	}
	cut := c.cutOf(worst)
	if cut == nil {
		return name + " carries no recorded cut that weakens it."
	}
	text := name + " " + c.cutWords(cut)
	others := 0
	for i := range c.Facts.Cuts {
		if o := &c.Facts.Cuts[i]; o != cut && exposure.Weakens(o.Kind) {
			others++
		}
	}
	switch others {
	case 0:
	case 1:
		text += "; one more weakening cut is recorded"
	default:
		text += fmt.Sprintf("; %d more weakening cuts are recorded", others)
	}
	return text + "."
}

// cutWords says what was done to the tree, when, and how wide.
func (c *Case) cutWords(cut *inventory.Cut) string {
	text := map[inventory.CutKind]string{
		inventory.CutTopping: "was topped", inventory.CutLionTailing: "has a limb that was lion-tailed", inventory.CutHeading: "carries a heading cut made",
		inventory.CutFlush: "carries a flush cut made", inventory.CutStub: "carries a stub cut made",
	}[cut.Kind]
	if year, ok := cut.MadeYear(); ok {
		years, _ := c.Screener.Years(cut)
		text += fmt.Sprintf(" in %d, %s", year, ago(years))
	} else {
		text += " in a year that nobody recorded"
	}
	if cut.Count.OK && cut.Count.V > 1 {
		text += fmt.Sprintf(" (%d such cuts)", cut.Count.V)
	}
	if cut.Diameter.OK {
		text += fmt.Sprintf(", through wood of %.0f cm", cut.Diameter.V*100)
	}
	if cut.Decay.Or(false) {
		text += ", with decay seen at the cut"
	}
	return text
}

func ago(years float64) string {
	switch n := math.Floor(years + 1e-9); {
	case n < 1:
		return "less than a year ago"
	case n == 1:
		return "a year ago"
	default:
		return fmt.Sprintf("%.0f years ago", n)
	}
}

func (c *Case) shoots(worst *PartAssessment) string {
	cut := c.cutOf(worst)
	if cut == nil {
		return ""
	}
	r := c.Sizer.Regrowth(c.Facts, cut)
	if !(r.Length > 0) {
		return ""
	}
	text := fmt.Sprintf("Its shoots are %.1f m long", r.Length)
	if r.LengthEstimated {
		text = fmt.Sprintf("Nobody measured its shoots; they are taken to be %.1f m long", r.Length)
	}
	if !r.DiameterEstimated {
		text += fmt.Sprintf(" and %.0f cm thick at the base", r.BaseDiameter*100)
	}
	return text + "."
}

// place says what the worst part hangs over, the busiest first.
func (c *Case) place(worst *PartAssessment) string {
	var under []exposure.Overlap
	for _, o := range c.Overlaps {
		if o.Zone == c.Assessment.Worst {
			under = append(under, o)
		}
	}
	where := map[exposure.Part]string{
		exposure.WholeTree: "Were the whole tree to fall, it could reach", exposure.Crown: "The crown hangs over", exposure.Limb: "The limb with this cut hangs over",
	}[worst.Part]
	if len(under) == 0 {
		return where + " nothing that is recorded."
	}
	slices.SortStableFunc(under, func(a, b exposure.Overlap) int {
		return cmp.Or(cmp.Compare(b.Count.Persons(), a.Count.Persons()), cmp.Compare(b.Count.Sheltered, a.Count.Sheltered), cmp.Compare(b.Count.Vehicles, a.Count.Vehicles))
	})
	const named = 3
	var parts []string
	for _, o := range under[:min(named, len(under))] {
		parts = append(parts, c.placeWords(o))
	}
	switch rest := len(under) - len(parts); rest {
	case 0:
	case 1:
		parts = append(parts, "one more place")
	default:
		parts = append(parts, fmt.Sprintf("%d more places", rest))
	}
	return where + " " + listed(parts) + "."
}

func (c *Case) placeWords(o exposure.Overlap) string {
	kind := kindWords(o.Kind)
	var amounts []string
	if o.AreaM2 > 0 {
		amounts = append(amounts, figure(o.AreaM2)+" m²")
	}
	if o.LengthM > 0 {
		amounts = append(amounts, figure(o.LengthM)+" m")
	}
	text := kind
	switch o.Kind {
	case inventory.TransitStop, inventory.Playground, inventory.Building, inventory.Plaza, inventory.Other:
		text = "a " + kind
	}
	if len(amounts) > 0 {
		text = strings.Join(amounts, " and ") + " of " + kind
	} else if o.Points > 1 {
		text = fmt.Sprintf("%d × %s", o.Points, kind)
	}
	if name := c.Targets[o.Target].Name; name != "" {
		text += " (" + name + ")"
	}
	return text
}

func kindWords(k inventory.TargetKind) string {
	if k == inventory.Other {
		return "place of another kind"
	}
	return strings.ReplaceAll(string(k), "_", " ")
}

func listed(parts []string) string {
	if n := len(parts); n > 1 {
		return strings.Join(parts[:n-1], ", ") + " and " + parts[n-1]
	}
	return parts[0]
}

// numbers says how many are under the worst part.
func (c *Case) numbers(worst *PartAssessment) string {
	n := worst.Exposure.Count
	if n == (exposure.Count{}) {
		return ""
	}
	week, vehicles := c.Meter.Week(worst.Exposure), c.Meter.VehicleWeek(worst.Exposure)
	text := fmt.Sprintf("On average %s people are there, in the open and in vehicles", twoDigits(n.Persons()))
	if n.Persons() > 0 {
		text += fmt.Sprintf(", and %s in the busiest hour (%s); somebody is there in %s of all hours", twoDigits(week.Busiest), HourName(week.BusiestHour), percent(week.Occupied))
	}
	text += "."
	if n.Sheltered > 0 {
		text += fmt.Sprintf(" %s people are under roofs.", twoDigits(n.Sheltered))
	}
	if n.Vehicles > 0 {
		text += fmt.Sprintf(" On average %s vehicles are there, and %s in their busiest hour (%s).", twoDigits(n.Vehicles), twoDigits(vehicles.Busiest), HourName(vehicles.BusiestHour))
	}
	return text
}

// twoDigits writes a number of people or vehicles with two digits that mean
// something: more would claim what nobody knows.
func twoDigits(v float64) string {
	switch {
	case v <= 0:
		return "0"
	case v < 0.001:
		return "less than 0.001"
	case v >= 9.95:
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	decimals := 1 - int(math.Floor(math.Log10(v)))
	if text := strconv.FormatFloat(v, 'f', decimals, 64); math.Log10(round(v, decimals)) < float64(2-decimals) {
		return text
	}
	return strconv.FormatFloat(v, 'f', decimals-1, 64) // 0.996 is 1.0
}

func percent(share float64) string {
	if share > 0 && share < 0.001 {
		return "less than 0.1 %"
	}
	if share < 0.0995 {
		return fmt.Sprintf("%.1f %%", share*100)
	}
	return fmt.Sprintf("%.0f %%", share*100)
}

// failure says how likely and by whose word.
func (c *Case) failure(worst *PartAssessment) string {
	var cut *inventory.Cut
	if worst.Cut >= 0 {
		cut = &c.Facts.Cuts[worst.Cut]
	}
	why := c.Screener.Why(worst.Judgement, &c.Facts.Tree, cut, c.Facts.Visits)
	what := map[exposure.Part]string{exposure.WholeTree: "Failure of the whole tree", exposure.Crown: "Failure of a branch of the crown", exposure.Limb: "Failure of this limb"}[worst.Part]
	if !worst.Judgement.Inferred {
		return what + " was " + why + "."
	}
	rule, values, _ := strings.Cut(why, ": ")
	text := fmt.Sprintf("%s is %s by the screening rule \"%s\"", what, worst.Judgement.Likelihood, rule)
	if values != "" {
		text += ": " + values
	}
	return text + ". Nobody has judged it."
}

func (c *Case) ratings() string {
	s := c.Assessment.Score
	return fmt.Sprintf("The tree rates %s for people by the mean of all hours, %s by the busiest hour, and %s for property; its harm index is %s, a figure that orders trees and predicts nothing.",
		gradeWords(s.People), gradeWords(s.Busiest), gradeWords(s.Property), Figure(c.Assessment.Harm*1000))
}

// gradeWords is a grade in a sentence.
func gradeWords(g risk.Grade) string {
	if g == risk.GradeOfPoints(0) {
		return "as without a target"
	}
	return g.String()
}

// estimates says what was not measured or counted, and how far it may be off.
func (c *Case) estimates(worst *PartAssessment) string {
	d := &c.Assessment.Dimensions
	var parts []string
	if d.HeightEstimated() {
		text := fmt.Sprintf("the height, %s by %s", plusMinus(d.Height, d.HeightSE), OriginWords(d.HeightFrom))
		if d.HeightTopped {
			text += ", and likely less as the tree was topped"
		}
		parts = append(parts, text)
	}
	if d.CrownRadiusEstimated() {
		parts = append(parts, fmt.Sprintf("the crown's radius, %s by %s", plusMinus(d.CrownRadius, d.CrownRadiusSE), OriginWords(d.CrownFrom)))
	}
	if worst.RegrowthEstimated {
		parts = append(parts, "how far the limb's shoots reach")
	}
	seen := make(map[inventory.TargetKind]bool)
	var kinds []string
	for _, o := range c.Overlaps {
		if t := c.Targets[o.Target]; o.Zone == c.Assessment.Worst && !seen[o.Kind] && !useKnown(&t) {
			seen[o.Kind] = true
			kinds = append(kinds, kindWords(o.Kind))
		}
	}
	if len(kinds) > 0 {
		parts = append(parts, "the use of "+listed(kinds)+", by the profile's default as nobody counted it")
	}
	if len(parts) == 0 {
		return ""
	}
	return "Estimated: " + strings.Join(parts, "; ") + "."
}

// plusMinus writes a size with one standard error, metres.
func plusMinus(v, se float64) string {
	if se > 0 {
		return fmt.Sprintf("%.1f ± %.1f m (one standard error)", v, se)
	}
	return fmt.Sprintf("%.1f m", v)
}

// OriginWords says where a size comes from.
func OriginWords(o exposure.Origin) string {
	return map[exposure.Origin]string{
		exposure.Measured: "measure", exposure.FromSpecies: "equations of its species from the stem", exposure.FromGenus: "equations of its genus from the stem",
		exposure.FromGroup: "equations of its group of trees from the stem", exposure.FromGeneral: "equations of trees at large from the stem",
	}[o]
}

// useKnown reports whether anything is known of how much a target is used.
func useKnown(t *inventory.Target) bool {
	o := &t.Occupancy
	return t.PeopleCounted != nil || t.VehiclesCounted != nil || o.PeoplePerHour.OK || o.PeoplePresent.OK || o.VehiclesPerDay.OK ||
		o.Stalls.OK || o.ShareOccupied.OK || o.TurnoverPerDay.OK
}
