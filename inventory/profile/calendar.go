package profile

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// DaysInYear is the length of the year that means are taken over. The 29th of
// February is left out: a mean of many years should not move for it.
const DaysInYear = 365

// Season is the part of the year that an analysis looks at.
type Season string

// The seasons.
const (
	WholeYear Season = "year"
	LeafOn    Season = "leaf-on"
	LeafOff   Season = "leaf-off"
)

// Seasons lists every season.
var Seasons = []Season{WholeYear, LeafOn, LeafOff}

// Exception is a run of days on which some weeks are busier or quieter than
// they ordinarily are: holidays, a season, a fair. Both ends belong to it.
type Exception struct {
	Name string `yaml:"name"`
	// From and To are MM-DD for every year, over New Year where To comes before
	// From, or YYYY-MM-DD for the one year that Calendar.Year names.
	From   string   `yaml:"from"`
	To     string   `yaml:"to"`
	Weeks  []string `yaml:"weeks"`
	Factor float64  `yaml:"factor"` // times the ordinary week; 0 is shut
	Source string   `yaml:"source"`
}

// Leaf is when trees carry leaves, MM-DD, both ends included.
type Leaf struct {
	From   string `yaml:"from"`
	To     string `yaml:"to"`
	Source string `yaml:"source"`
}

// Calendar says how the days of a year differ. What a target records is the
// mean of an ordinary week, outside every exception. Days are not tied to days
// of the week: an exception falls on each day of the week alike, as it does
// over the years.
type Calendar struct {
	// Year is the year whose full dates count; 0 where only yearly dates are
	// given.
	Year   int    `yaml:"year"`
	Season Season `yaml:"season"`
	LeafOn Leaf   `yaml:"leaf_on"`
	// Exceptions in order: where two hold for a week on a day, the later one
	// counts.
	Exceptions []Exception `yaml:"exceptions"`
}

// Period is the days of a season that are alike for every week.
type Period struct {
	Days int
	// Factors hold for the weeks in the order asked for, times the ordinary week.
	Factors []float64
}

// LeafShare is the share of the year's days on which trees carry leaves.
func (c *Calendar) LeafShare() float64 {
	leaf := c.LeafOn.span()
	days := 0
	for day := range DaysInYear {
		if leaf.covers(day) {
			days++
		}
	}
	return float64(days) / DaysInYear
}

// Periods sorts the days of the season into those that are alike for the weeks
// named. Ordinary days come first where the season has any, then periods in
// the order of their first day; the days add up to the season's.
func (c *Calendar) Periods(weeks []string) []Period {
	leaf, spans := c.LeafOn.span(), c.spans()
	var periods []Period
	factors := make([]float64, len(weeks))
next:
	for day := range DaysInYear {
		if c.Season == LeafOn && !leaf.covers(day) || c.Season == LeafOff && leaf.covers(day) {
			continue
		}
		for i := range factors {
			factors[i] = 1
		}
		for i, e := range c.Exceptions {
			if !spans[i].covers(day) {
				continue
			}
			for w, name := range weeks {
				if slices.Contains(e.Weeks, name) {
					factors[w] = e.Factor
				}
			}
		}
		for i := range periods {
			if slices.Equal(periods[i].Factors, factors) {
				periods[i].Days++
				continue next
			}
		}
		periods = append(periods, Period{Days: 1, Factors: slices.Clone(factors)})
	}
	isOrdinary := func(p Period) bool { return !slices.ContainsFunc(p.Factors, func(f float64) bool { return f != 1 }) }
	if i := slices.IndexFunc(periods, isOrdinary); i > 0 {
		first := periods[i]
		copy(periods[1:i+1], periods[:i])
		periods[0] = first
	}
	return periods
}

// span is a run of days of the year, both ends included, from 0 on the 1st of
// January; over New Year where to comes before from. It is empty where none of
// its days lie in the year looked at.
type span struct {
	from, to int
	empty    bool
}

func (s span) covers(day int) bool {
	if s.empty {
		return false
	}
	if s.from <= s.to {
		return s.from <= day && day <= s.to
	}
	return day >= s.from || day <= s.to
}

func (l *Leaf) span() span {
	from, errFrom := parseDate(l.From)
	to, errTo := parseDate(l.To)
	return span{from: from.day, to: to.day, empty: errFrom != nil || errTo != nil}
}

// spans places each exception in the calendar's year. Of dates with a year only
// the part within that year counts.
func (c *Calendar) spans() []span {
	spans := make([]span, len(c.Exceptions))
	for i, e := range c.Exceptions {
		from, errFrom := parseDate(e.From)
		to, errTo := parseDate(e.To)
		s := span{from: from.day, to: to.day, empty: errFrom != nil || errTo != nil}
		if from.year != 0 {
			s.empty = s.empty || from.year > c.Year || to.year < c.Year
			if from.year < c.Year {
				s.from = 0
			}
			if to.year > c.Year {
				s.to = DaysInYear - 1
			}
		}
		spans[i] = s
	}
	return spans
}

// date is a day of the year from 0, and its year where one was given.
type date struct{ year, day int }

var monthDays = [12]int{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31}

func parseDate(s string) (date, error) {
	parts := strings.Split(s, "-")
	var d date
	var err error
	if len(parts) == 3 && len(parts[0]) == 4 {
		if d.year, err = strconv.Atoi(parts[0]); err != nil || d.year < 1 {
			return d, fmt.Errorf("%q is not a date: expected MM-DD or YYYY-MM-DD", s)
		}
		parts = parts[1:]
	}
	if len(parts) != 2 || len(parts[0]) != 2 || len(parts[1]) != 2 {
		return d, fmt.Errorf("%q is not a date: expected MM-DD or YYYY-MM-DD", s)
	}
	month, errMonth := strconv.Atoi(parts[0])
	day, errDay := strconv.Atoi(parts[1])
	if errMonth != nil || errDay != nil || month < 1 || month > 12 {
		return d, fmt.Errorf("%q is not a date: expected MM-DD or YYYY-MM-DD", s)
	}
	if day < 1 || day > monthDays[month-1] {
		return d, fmt.Errorf("%q: month %d has days 1 to %d in a year of %d days", s, month, monthDays[month-1], DaysInYear)
	}
	for _, n := range monthDays[:month-1] {
		d.day += n
	}
	d.day += day - 1
	return d, nil
}
