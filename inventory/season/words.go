package season

import (
	"slices"
	"strings"
	"time"
)

// Words says which days are open: "1 Sep 2027 to 14 Apr 2028". Conditions of urgent
// work follow in parentheses.
func Words(o *Openings) string {
	if o.To.Before(o.From) {
		return "no day was asked for"
	}
	if len(o.Open) == 0 {
		var names []string
		for _, c := range o.Closed {
			for _, w := range c.Windows {
				if !slices.Contains(names, w.Name) {
					names = append(names, w.Name)
				}
			}
		}
		return "no day from " + days(o.From, o.To) + ": closed by " + strings.Join(names, ", ")
	}
	parts := make([]string, len(o.Open))
	for i, s := range o.Open {
		parts[i] = days(s.From, s.To)
		if len(s.Conditions) > 0 {
			parts[i] += " (" + strings.Join(s.Conditions, "; ") + ")"
		}
	}
	return strings.Join(parts, "; ")
}

// days writes a run of days, one day by itself.
func days(from, to time.Time) string {
	const form = "2 Jan 2006"
	if from.Equal(to) {
		return from.Format(form)
	}
	return from.Format(form) + " to " + to.Format(form)
}
