package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"strings"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

type hoursCmd struct {
	Tag    string `arg:"" help:"The tree's tag or source id."`
	Site   string `help:"Site of the tree; may be left out where there is only one." placeholder:"NAME"`
	Part   string `enum:",crown,limb,whole-tree" default:"" help:"Under what: crown, limb or whole-tree (default: the crown or the limb that is over the most people)." placeholder:"PART"`
	Window int    `default:"4" help:"Find the quietest so many hours in a row, to close the place for work; 0 asks for none (default: 4)." placeholder:"HOURS"`
	From   int    `default:"7" help:"Work begins no earlier than this hour of the day (default: 7)." placeholder:"HOUR"`
	To     int    `default:"19" help:"Work is done by this hour of the day, of the next day where it is before --from: --from 20 --to 6 is night work (default: 19)." placeholder:"HOUR"`
	Days   string `default:"mon-fri" help:"Days on which work may begin, such as sat,sun (default: mon-fri)." placeholder:"DAYS"`
	Format string `default:"table" enum:"table,json,csv" help:"table, json or csv (168 rows)."`
	assumptions
}

// Run opens the week under one tree.
func (h *hoursCmd) Run(c *cli) error {
	days, err := parseDays(h.Days)
	if err != nil {
		return err
	}
	q := question.HoursQuery{Tag: h.Tag, Window: h.Window, From: h.From, To: h.To, Days: days}
	for _, part := range []exposure.Part{exposure.WholeTree, exposure.Crown, exposure.Limb} {
		if h.Part != "" && h.Part == strings.ReplaceAll(part.String(), " ", "-") {
			q.Part = inventory.Some(part)
		}
	}
	s, sweep, err := c.look(h.Site, &h.assumptions)
	if err != nil {
		return err
	}
	defer s.close()
	week, err := question.Hours(c.ctx, s, sweep.Site, q, sweep.Profile, sweep.AsOf)
	if err != nil {
		return err
	}
	switch h.Format {
	case "json":
		return hoursListing(sweep, week).writeHoursJSON(c.stdout)
	case "csv":
		return hoursListing(sweep, week).write(c.stdout, c.stderr, "csv")
	}
	return h.chart(c.stdout, sweep, week, blocksFor(os.Getenv))
}

var dayNames = [...]string{"mon", "tue", "wed", "thu", "fri", "sat", "sun"}

// parseDays reads days of the week: a list of names and of spans, which may run
// over the weekend. 0 is Monday.
func parseDays(text string) (days []int, err error) {
	find := func(name string) (int, error) {
		for i, d := range dayNames {
			if strings.EqualFold(strings.TrimSpace(name), d) {
				return i, nil
			}
		}
		return 0, inventory.Errorf(inventory.Invalid, "--days %s: there is no day %q: expected some of %s, such as mon-fri or sat,sun", text, name, strings.Join(dayNames[:], ", "))
	}
	for _, part := range splitList(text) {
		first, last, isSpan := strings.Cut(part, "-")
		from, err := find(first)
		if err != nil {
			return nil, err
		}
		to := from
		if isSpan {
			if to, err = find(last); err != nil {
				return nil, err
			}
		}
		for d := from; ; d = (d + 1) % 7 {
			days = append(days, d)
			if d == to {
				break
			}
		}
	}
	return days, nil
}

// blocks are the signs of a chart: for nobody, and then eight steps.
type blocks []rune

var (
	blockSigns = blocks("·▁▂▃▄▅▆▇█")
	plainSigns = blocks(".12345678")
)

// blocksFor picks block characters where the terminal's locale has them (POSIX:
// LC_ALL goes before LC_CTYPE and that before LANG).
func blocksFor(getenv func(string) string) blocks {
	for _, name := range []string{"LC_ALL", "LC_CTYPE", "LANG"} {
		if v := getenv(name); v != "" {
			v = strings.ToLower(strings.ReplaceAll(v, "-", ""))
			if strings.Contains(v, "utf8") {
				return blockSigns
			}
			return plainSigns
		}
	}
	return plainSigns
}

// sign is the step that v stands at, of the steps up to peak.
func (b blocks) sign(v, peak float64) rune {
	if v <= 0 || peak <= 0 {
		return b[0]
	}
	steps := len(b) - 1
	// A hair keeps a peak that was summed in another order on the last step.
	step := int(math.Ceil(v/peak*float64(steps) - 1e-9))
	return b[min(max(step, 1), steps)]
}

// chart is the week for people: a row a day, a sign an hour.
func (h *hoursCmd) chart(w io.Writer, sweep *ranking.Sweep, k *question.Week, b blocks) error {
	n := notes{w, terminalWidth(w)}
	n.say("%s: the ordinary week under the %s of tree %s%s", sweep.Site.Name, k.Part, treeLabel(&k.Tree), whichCut(k))
	n.say("profile %s, hours in the site's local time%s\n", sweep.Profile.Name, zoneName(sweep.Site.TimeZone))
	persons := k.Persons()
	fmt.Fprintln(w, "     0     6     12    18     busiest hour     person-hours")
	for day := range 7 {
		line := &strings.Builder{}
		total, most, at := 0.0, -1.0, 0
		for hour, v := range persons[day*24 : day*24+24] {
			line.WriteRune(b.sign(v, k.Peak))
			if total += v; v > most {
				most, at = v, hour
			}
		}
		fmt.Fprintf(w, "%s  %s  %7s at %02d:00  %11s\n", ranking.HourName(day * 24)[:3], line, ranking.Figure(most), at, ranking.Figure(total))
	}
	steps := len(b) - 1
	if k.Peak == 0 {
		n.say("\nNobody is there in any hour, as far as is recorded; %s vehicles on average", ranking.Figure(k.Mean.Vehicles))
		return n.cautions()
	}
	n.say("\n%c = %s people, the peak (%s); %c = up to an eighth of it, %s; %c = nobody", b[steps], ranking.Figure(k.Peak), ranking.HourName(k.PeakHour), b[1], ranking.Figure(k.Peak/float64(steps)), b[0])
	n.say("mean of the %s: %s people in the open and in vehicles, %s under roofs, %s vehicles; somebody there in %.1f %% of hours",
		period(sweep.Profile), ranking.Figure(k.Mean.Persons()), ranking.Figure(k.Mean.Sheltered), ranking.Figure(k.Mean.Vehicles), k.Summary.Occupied*100)
	if note := k.ShutNote(); note != "" {
		n.say("%s", note)
	}
	if k.Summary.Busiest > k.Peak*(1+1e-9) {
		n.say("on days that are busier than ordinary up to %s people (%s)", ranking.Figure(k.Summary.Busiest), ranking.HourName(k.Summary.BusiestHour))
	}
	if k.Quietest.OK {
		q := k.Quietest.V
		when := fmt.Sprintf("%s between %d and %d o'clock", h.Days, h.From, h.To)
		if h.To > 0 && h.From > h.To {
			when = fmt.Sprintf("in nights that begin %s, %d to %d o'clock", h.Days, h.From, h.To)
		}
		n.say("quietest %d hours in a row, %s: %s, %s person-hours", q.Length, when, q, ranking.Figure(q.PersonHours))
	}
	return n.cautions()
}

func treeLabel(t *inventory.Tree) string {
	if t.Tag != "" {
		return t.Tag
	}
	return t.SourceID
}

func whichCut(k *question.Week) string {
	if !k.Cut.OK {
		return ""
	}
	c := k.Cut.V
	text := fmt.Sprintf(" with cut %d, %s", c.ID, c.Kind)
	if year, ok := c.MadeYear(); ok {
		text += fmt.Sprintf(" %d", year)
	}
	return text
}

func zoneName(zone string) string {
	if zone == "" {
		return ""
	}
	return " (" + zone + ")"
}

// period is what a mean is taken over.
func period(p *profile.Profile) string {
	switch p.Calendar.Season {
	case profile.LeafOn:
		return "season in leaf"
	case profile.LeafOff:
		return "season out of leaf"
	}
	return "year"
}

// hoursAnswer is the week for programs: a row an hour, or a series each.
type hoursAnswer struct {
	*listing
	week *question.Week
}

func hoursListing(sweep *ranking.Sweep, k *question.Week) *hoursAnswer {
	l := &listing{head: &orderedMap{}}
	l.head.set("site", sweep.Site.Name)
	l.head.set("time_zone", sweep.Site.TimeZone)
	l.head.set("tag", k.Tree.Tag)
	l.head.set("source_id", k.Tree.SourceID)
	l.head.set("part", k.Part.String())
	if k.Cut.OK {
		l.head.set("cut_id", k.Cut.V.ID)
	}
	l.head.set("profile", sweep.Profile.Name)
	l.head.set("profile_digest", sweep.Profile.Digest)
	l.head.set("mean_people", ranking.Rounded(k.Mean.Persons()))
	l.head.set("mean_sheltered", ranking.Rounded(k.Mean.Sheltered))
	l.head.set("mean_vehicles", ranking.Rounded(k.Mean.Vehicles))
	l.head.set("peak_people", ranking.Rounded(k.Peak))
	l.head.set("peak_hour", k.PeakHour)
	l.head.set("busiest_people", ranking.Rounded(k.Summary.Busiest))
	l.head.set("busiest_hour", k.Summary.BusiestHour)
	l.head.set("occupied_share", ranking.Rounded(k.Summary.Occupied))
	if k.Quietest.OK {
		q := &orderedMap{}
		q.set("start_hour", k.Quietest.V.Start)
		q.set("name", k.Quietest.V.String())
		q.set("length_hours", k.Quietest.V.Length)
		q.set("person_hours", ranking.Rounded(k.Quietest.V.PersonHours))
		l.head.set("quietest", q)
	}
	if note := k.ShutNote(); note != "" {
		l.head.set("note", note)
	}
	for hour := range profile.HoursInWeek {
		l.rows = append(l.rows, listed{properties: []ranking.Property{
			{Name: "hour_of_week", Value: hour}, {Name: "hour", Value: ranking.HourName(hour)},
			{Name: "people", Value: ranking.Rounded(k.People[hour])}, {Name: "people_in_vehicles", Value: ranking.Rounded(k.InVehicles[hour])},
			{Name: "people_sheltered", Value: ranking.Rounded(k.Sheltered[hour])}, {Name: "vehicles", Value: ranking.Rounded(k.Vehicles[hour])},
		}})
	}
	l.columns = names(l.rows[0].properties)
	return &hoursAnswer{listing: l, week: k}
}

// writeHoursJSON gives each series as 168 numbers from Monday 00:00.
func (a *hoursAnswer) writeHoursJSON(w io.Writer) error {
	for _, s := range []struct {
		name   string
		series [profile.HoursInWeek]float64
	}{{"people", a.week.People}, {"people_in_vehicles", a.week.InVehicles}, {"people_sheltered", a.week.Sheltered}, {"vehicles", a.week.Vehicles}} {
		for hour, v := range s.series {
			s.series[hour] = ranking.Rounded(v)
		}
		a.head.set(s.name, s.series)
	}
	a.head.set("cautions", cautions)
	return encode(w, a.head)
}
