package profile

import (
	"fmt"
	"math"
	"slices"
)

// validate checks a calendar against the weeks of its profile.
func (c *Calendar) validate(weeks map[string]Week) error {
	if c.Season == "" {
		c.Season = WholeYear
	}
	if !slices.Contains(Seasons, c.Season) {
		return fmt.Errorf("season: %q: expected one of %v", c.Season, Seasons)
	}
	if c.LeafOn.Source == "" {
		return fmt.Errorf("leaf_on is missing or has no source (write 'assumption' where there is none)")
	}
	for _, end := range []struct{ name, text string }{{"from", c.LeafOn.From}, {"to", c.LeafOn.To}} {
		if d, err := parseDate(end.text); err != nil {
			return fmt.Errorf("leaf_on.%s: %v", end.name, err)
		} else if d.year != 0 {
			return fmt.Errorf("leaf_on.%s: %q: expected MM-DD without a year", end.name, end.text)
		}
	}
	if share := c.LeafShare(); c.Season == LeafOff && share == 1 {
		return fmt.Errorf("leaf_on covers the whole year: season leaf-off has no days")
	}
	for i := range c.Exceptions {
		e := &c.Exceptions[i]
		name := e.Name
		if name == "" {
			name = fmt.Sprintf("%d", i)
		}
		if err := e.validate(c.Year, weeks); err != nil {
			return fmt.Errorf("exceptions.%s: %v", name, err)
		}
	}
	return nil
}

func (e *Exception) validate(year int, weeks map[string]Week) error {
	if e.Name == "" {
		return fmt.Errorf("name is missing")
	}
	if e.Source == "" {
		return fmt.Errorf("source is missing (write 'assumption' where there is none)")
	}
	if e.Factor < 0 || math.IsNaN(e.Factor) || math.IsInf(e.Factor, 0) {
		return fmt.Errorf("factor: %v: expected 0 (shut) or more", e.Factor)
	}
	if len(e.Weeks) == 0 {
		return fmt.Errorf("weeks: name the weeks it holds for")
	}
	for _, w := range e.Weeks {
		if _, ok := weeks[w]; !ok {
			return fmt.Errorf("weeks: no week named %q", w)
		}
	}
	from, err := parseDate(e.From)
	if err != nil {
		return fmt.Errorf("from: %v", err)
	}
	to, err := parseDate(e.To)
	if err != nil {
		return fmt.Errorf("to: %v", err)
	}
	switch {
	case (from.year == 0) != (to.year == 0):
		return fmt.Errorf("from %s to %s: give both dates with a year or both without", e.From, e.To)
	case from.year == 0:
		return nil
	case year == 0:
		return fmt.Errorf("from %s: a date with a year counts in one year only: say which one is meant by calendar.year", e.From)
	case to.year*DaysInYear+to.day < from.year*DaysInYear+from.day:
		return fmt.Errorf("to %s comes before from %s", e.To, e.From)
	}
	return nil
}
