package season

import (
	"slices"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

// Calendar answers for many trees: the openings of work that the same windows
// apply to are worked out once. It belongs to one goroutine.
type Calendar struct {
	from, to time.Time
	windows  []practice.Window
	genera   [][]string // by window, in lower case
	droughts []applied
	bySort   map[string]*Openings
	known    map[string][]string // genera by the species as recorded
	key      []byte
}

// mostNames bounds what is remembered of species: inventories hold a few hundred.
const mostNames = 8192

// What a window is to some work.
const (
	applies   = 'a'
	unsure    = 'u' // no species
	near      = 'n' // misspelled, perhaps
	otherwise = '-'
)

// NewCalendar makes a calendar of the days from one to another, both included.
func NewCalendar(p *practice.Windows, from, to time.Time) *Calendar {
	c := &Calendar{from: midnight(from), to: midnight(to), bySort: map[string]*Openings{}, known: map[string][]string{}}
	for _, w := range p.List {
		if w.Open {
			continue
		}
		var genera []string
		for _, g := range w.Genera {
			genera = append(genera, strings.ToLower(strings.TrimSpace(g)))
		}
		c.windows, c.genera = append(c.windows, w), append(c.genera, genera)
	}
	for _, d := range p.Drought {
		first, errFrom := time.Parse(time.DateOnly, d.From)
		last, errTo := time.Parse(time.DateOnly, d.To)
		if errFrom != nil || errTo != nil {
			continue // a practice that was parsed holds none
		}
		// A hazard does not wait for rain: what is urgent may be done, and no more.
		c.droughts = append(c.droughts, applied{
			Window: Window{Name: "drought", Reason: "no live crown is taken in a declared drought", Source: d.Source},
			urgent: "allowed", note: "declared drought: take the hazard only",
			covers: func(day time.Time) bool { return !day.Before(first) && !day.After(last) },
		})
	}
	return c
}

// Openings says which days are open for some work. The answer is shared: it is
// not to be changed.
func (c *Calendar) Openings(k Case) *Openings {
	sort := c.sort(k)
	if o := c.bySort[string(sort)]; o != nil {
		return o
	}
	o := &Openings{From: c.from, To: c.to, urgent: k.Urgent}
	for i := range c.windows {
		if sort[i] == otherwise {
			continue
		}
		w := &c.windows[i]
		r := applied{Window: Window{Name: w.Name, Reason: w.Reason, Source: w.Source}, covers: w.Covers, urgent: w.Urgent, note: w.UrgentNote, survey: w.Urgent == "survey"}
		switch genera := strings.Join(w.Genera, " or "); sort[i] {
		case unsure:
			r.Unsure = "the species is not recorded and could be " + genera
		case near:
			r.Unsure = "the species is spelled nearly as " + genera
		}
		o.rules = append(o.rules, r)
	}
	if k.TakesLive {
		o.rules = append(o.rules, c.droughts...)
	}
	o.fill()
	c.bySort[string(sort)] = o
	return o
}

// sort says what each window is to some work, and the rest that its openings hang
// on. It is valid until the next call.
func (c *Calendar) sort(k Case) []byte {
	genera, ok := c.known[k.Species]
	if !ok {
		genera = Genera(k.Species)
		if len(c.known) < mostNames {
			c.known[strings.Clone(k.Species)] = genera
		}
	}
	c.key = c.key[:0]
	for i := range c.windows {
		w := &c.windows[i]
		is := byte(applies)
		switch {
		case w.Live && !k.TakesLive, len(w.Over) > 0 && !meet(w.Over, k.Over):
			is = otherwise
		case len(w.Genera) == 0:
		case len(genera) == 0:
			is = unsure
		case slices.ContainsFunc(genera, func(g string) bool { return slices.Contains(c.genera[i], g) }):
		case slices.ContainsFunc(genera, func(g string) bool {
			return slices.ContainsFunc(c.genera[i], func(of string) bool { return misspelled(g, of) })
		}):
			is = near
		default:
			is = otherwise
		}
		c.key = append(c.key, is)
	}
	for _, set := range [...]bool{k.TakesLive, k.Urgent} {
		if set {
			c.key = append(c.key, '1')
		} else {
			c.key = append(c.key, '0')
		}
	}
	return c.key
}

func meet(a, b []inventory.TargetKind) bool {
	return slices.ContainsFunc(a, func(k inventory.TargetKind) bool { return slices.Contains(b, k) })
}
