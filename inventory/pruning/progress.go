package pruning

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

// Done is a visit that was made.
type Done struct {
	Visit int                    `json:"visit"` // its number in the specification
	On    time.Time              `json:"on"`
	Dose  inventory.Opt[float64] `json:"dose,omitzero"` // share of the live crown taken
	// Finished is set where whoever looked found that the work is at its end: of a
	// restoration, what the specification says of when to stop.
	Finished bool `json:"finished,omitempty"`
}

// Progress is how far a specification has come.
type Progress struct {
	Done  []int   `json:"done"`  // numbers of the visits made, in order
	Dose  float64 `json:"dose"`  // taken over all visits, where it was recorded
	Next  int     `json:"next"`  // the visit to come, 0 for none
	Due   int     `json:"due"`   // the year it is due in; after the last visit, of the next look
	Late  bool    `json:"late"`  // that year is over
	Ended bool    `json:"ended"` // every visit was made, or somebody found the work at its end
	// Restored is set where a restoration's end was found on the tree: that all
	// visits were made does not say it.
	Restored bool   `json:"restored"`
	Words    string `json:"words"`
}

// ProgressOf says how far a specification has come by the visits made up to a
// day. A visit that came late moves those after it: the seasons between stay.
func ProgressOf(s *Specification, history []Done, asOf time.Time) Progress {
	made := slices.DeleteFunc(slices.Clone(history), func(d Done) bool { return d.On.After(asOf) || d.Visit < 1 || d.Visit > len(s.Visits) })
	slices.SortStableFunc(made, func(a, b Done) int { return a.On.Compare(b.On) })
	g := Progress{Done: []int{}}
	silent := 0
	var over []string
	for _, d := range made {
		if !slices.Contains(g.Done, d.Visit) {
			g.Done = append(g.Done, d.Visit)
		}
		if !d.Dose.OK {
			silent++
		}
		g.Dose += d.Dose.V
		if d.Dose.V > s.DoseCap+slack {
			over = append(over, fmt.Sprintf("visit %d took %s, over the cap of %s", d.Visit, percentOf(d.Dose.V), percentOf(s.DoseCap)))
		}
		g.Ended = g.Ended || d.Finished
	}
	g.Restored = g.Ended && s.Work == practice.Restoration
	slices.Sort(g.Done)
	for i := range s.Visits {
		if n := s.Visits[i].Number; !g.Ended && !slices.Contains(g.Done, n) {
			g.Next = n
			break
		}
	}
	g.Ended = g.Ended || g.Next == 0 && len(s.Visits) > 0
	g.due(s, made, asOf)
	g.Words = g.words(s, made, silent, over)
	return g
}

// due sets the year of the next visit, or of the next look.
func (g *Progress) due(s *Specification, made []Done, asOf time.Time) {
	if len(s.Visits) == 0 {
		return
	}
	from, after := asOf.Year(), 0
	if day, err := time.Parse(time.DateOnly, s.AsOf); err == nil {
		from = day.Year()
	}
	if len(made) > 0 {
		last := made[len(made)-1]
		from, after = last.On.Year(), s.Visits[last.Visit-1].AfterYears
	}
	if g.Next == 0 {
		g.Due = from + s.CycleYears
	} else {
		// A visit left out before one that was made is due at once.
		g.Due = from + max(0, s.Visits[g.Next-1].AfterYears-after)
	}
	g.Late = g.Due < asOf.Year()
}

func (g *Progress) words(s *Specification, made []Done, silent int, over []string) string {
	if len(s.Visits) == 0 {
		return "Nothing is asked for."
	}
	say := []string{fmt.Sprintf("%d of %d visits made", len(g.Done), len(s.Visits))}
	if len(made) > 0 {
		text := percentOf(g.Dose) + " of the live crown taken in all"
		if silent > 0 {
			text += ", " + notRecorded + " at " + count(silent, "visit", "visits")
		}
		say = append(say, text)
	}
	say = append(say, over...)
	late := ""
	if g.Late {
		late = ", overdue"
	}
	switch {
	case g.Restored:
		say = append(say, fmt.Sprintf("restored; next look due in %d%s", g.Due, late))
	case g.Next == 0 && s.Work == practice.Restoration:
		say = append(say, fmt.Sprintf("all visits made, not yet found restored; look at it in %d%s", g.Due, late))
	case g.Next == 0:
		say = append(say, fmt.Sprintf("finished; next look due in %d%s", g.Due, late))
	default:
		say = append(say, fmt.Sprintf("visit %d due in %d%s: %s", g.Next, g.Due, late, strings.TrimSuffix(s.Visits[g.Next-1].Goal, ".")))
	}
	return sentence(strings.Join(say, "; ")) + "."
}
