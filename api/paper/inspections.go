package paper

import "fmt"

// mostNeverSeen trees that nobody ever looked at are listed; the text says how
// many there are.
const mostNeverSeen = 40

// inspections lists the looks with a day first, then the trees with old bad cuts
// that no visit is on record of, in their own order.
func (v *reportView) inspections(list []Inspection) {
	never := 0
	for _, i := range list {
		if !i.Never {
			v.Inspections = append(v.Inspections, inspectionView{plain(i.Tag), plain(i.Species), day(i.Due), plain(i.Why), i.Overdue})
		}
	}
	for _, i := range list {
		if !i.Never {
			continue
		}
		if never++; never <= mostNeverSeen {
			v.Inspections = append(v.Inspections, inspectionView{plain(i.Tag), plain(i.Species), "never looked at", orNone(i.Why, "old cuts that weaken it, and no visit on record"), false})
		}
	}
	if never > 0 {
		v.NeverSeen = fmt.Sprintf("%s with old cuts that weaken a limb or the crown %s never looked at, as far as the records say: no visit is on record.", count(never, "tree"), map[bool]string{true: "was", false: "were"}[never == 1])
		if never > mostNeverSeen {
			v.NeverSeen += fmt.Sprintf(" The first %d of them by harm index are listed.", mostNeverSeen)
		}
	}
}

// dueWords says in the summary what is due a look.
func dueWords(list []Inspection) (lines []string) {
	dated, overdue, never := 0, 0, 0
	for _, i := range list {
		add(&never, i.Never)
		add(&dated, !i.Never)
		add(&overdue, i.Overdue && !i.Never)
	}
	if dated > 0 {
		lines = append(lines, fmt.Sprintf("%s due a look again; %s overdue.", isAreCount(dated), map[bool]string{true: "none is", false: isAreCount(overdue)}[overdue == 0]))
	}
	if never > 0 {
		lines = append(lines, fmt.Sprintf("No visit is on record of %s with old cuts that weaken a limb or the crown.", count(never, "tree")))
	}
	return lines
}
