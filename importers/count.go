package importers

import (
	"strings"
	"time"

	"github.com/underbough/underbough/importers/source"
	"github.com/underbough/underbough/inventory"
)

// What can be counted.
const (
	countPeople   = "people"
	countVehicles = "vehicles"
)

// otherWords are words for what is counted that need no translation by the
// mapping.
var otherWords = map[string]string{
	"person": countPeople, "persons": countPeople, "pedestrian": countPeople, "pedestrians": countPeople, "ped": countPeople, "peds": countPeople,
	"car": countVehicles, "cars": countVehicles, "vehicle": countVehicles, "motorvehicle": countVehicles, "motorvehicles": countVehicles,
}

// clock is a time as a cell has it: a day, a time of day, or both.
type clock struct {
	at        time.Time // what is not given is zero
	day, time bool
	zoned     bool // the time of day has its offset from UTC
}

var clockLayouts = []string{
	"15:04", "15:04:05", "15", "15:04:05Z07:00", "15:04Z07:00", "15:04:05Z0700", "15:04Z0700", "15:04:05Z07", "15:04Z07", "15Z07:00", "15Z0700", "15Z07",
}

const clockForm = "expected the form 2026-03-02 08:00, alone or with an offset from UTC such as +01:00; or a date 2026-03-02 and an hour from 0 to 23"

// clock reads a day, a time of day in the 24 hours of the clock, or both.
func (c *compiled) clock(v source.Value) (clock, *source.Problem) {
	var out clock
	s := c.text(v)
	if missing(s) {
		return out, nil
	}
	rest := s
	if len(s) >= 10 && s[4] == '-' {
		day, err := time.Parse(time.DateOnly, s[:10])
		if err != nil {
			return out, c.problem("%q is not a time: %s", s, clockForm)
		}
		out.at, out.day = day, true
		if rest = s[10:]; rest == "" {
			return out, nil
		}
		if rest[0] != 'T' && rest[0] != 't' && rest[0] != ' ' {
			return out, c.problem("%q is not a time: %s", s, clockForm)
		}
		rest = rest[1:]
	}
	rest = strings.TrimSuffix(strings.ReplaceAll(rest, " ", ""), ".0") // 8.0 is how some tables write 8
	for _, layout := range clockLayouts {
		t, err := time.Parse(layout, rest)
		if err != nil {
			continue
		}
		if !out.day {
			out.at = time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC)
		}
		y, m, d := out.at.Date()
		out.at = time.Date(y, m, d, t.Hour(), t.Minute(), t.Second(), 0, t.Location())
		out.time, out.zoned = true, strings.Contains(layout, "Z")
		return out, nil
	}
	return out, c.problem("%q is not a time: %s", s, clockForm)
}

// count makes a count of the record taken.
func (c *converter) count(raw *source.Raw) (inventory.CountRow, *source.Problem) {
	s := &set{c: c}
	r := inventory.CountRow{Row: c.row(raw)}
	r.Text = raw.Text
	r.TargetSourceID, r.TargetName, r.TargetLayer = s.id("target_source_id"), s.id("target_name"), s.id("target_layer")
	if r.TargetLayer == "" {
		r.TargetLayer = c.layer
	}
	c.countedAt(s, &r)
	r.People, r.Vehicles = s.number("people"), s.number("vehicles")
	if _, _, ok := c.get("what"); ok {
		n := s.number("count")
		switch what := s.choice("what"); {
		case !n.OK:
		case what == countPeople:
			r.People = n
		case what == countVehicles:
			r.Vehicles = n
		default:
			s.fail("what", "the record does not say what was counted: expected people or vehicles")
		}
	}
	if !r.People.OK && !r.Vehicles.OK {
		s.fail(c.firstOf("people", "vehicles", "count"), "nothing was counted: the cell is empty")
	}
	r.Key = countKey(&r)
	return r, s.problem
}

// firstOf returns the first of the fields that the mapping has.
func (c *converter) firstOf(names ...string) string {
	for _, name := range names {
		if _, ok := c.byName[name]; ok {
			return name
		}
	}
	return names[0]
}

// countedAt puts the time of a count together from a time, a date and an hour.
func (c *converter) countedAt(s *set, r *inventory.CountRow) {
	at, date, hour := s.clock("counted_at"), s.clock("date"), s.clock("hour")
	day, of := at, at
	if !day.day {
		day = date
	}
	for _, other := range []clock{hour, date} {
		if !of.time {
			of = other
		}
	}
	field := c.firstOf("counted_at", "hour", "date")
	switch {
	case !day.day:
		s.fail(field, "the count has no day: %s", clockForm)
	case !of.time:
		s.fail(field, "the count has no hour: %s", clockForm)
	case day.at.Year() < firstYear:
		s.fail(field, "the count is dated %s: expected a day from the year %d on", day.at.Format(time.DateOnly), firstYear)
	case day.at.Year() > c.year:
		s.fail(field, "the count is dated %s, which is yet to come", day.at.Format(time.DateOnly))
	}
	y, m, d := day.at.Date()
	r.At = time.Date(y, m, d, of.at.Hour(), of.at.Minute(), 0, 0, of.at.Location())
	r.Zoned = of.zoned
}

func (s *set) clock(name string) clock { return read(s, name, (*compiled).clock) }

// countKey says what a count is of, in the words that a repeated one is reported
// in.
func countKey(r *inventory.CountRow) string {
	var what []string
	if r.People.OK {
		what = append(what, countPeople)
	}
	if r.Vehicles.OK {
		what = append(what, countVehicles)
	}
	layout := "2006-01-02 15:04"
	if r.Zoned {
		layout += "Z07:00"
	}
	place := r.TargetSourceID
	if place == "" {
		place = r.TargetName
	}
	if r.TargetLayer != "" {
		place = r.TargetLayer + "/" + place
	}
	return countPrefix + strings.Join(what, " and ") + " at " + place + ", " + r.At.Format(layout)
}

const countPrefix = "count:"
