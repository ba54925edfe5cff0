package importers

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/cespare/xxhash/v2"
	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/wkb"

	"github.com/underbough/underbough/importers/source"
	"github.com/underbough/underbough/inventory"
)

// converter turns parsed records into rows by a mapping. It belongs to one
// goroutine.
type converter struct {
	role   inventory.Role
	fields []compiled
	byName map[string]int // of field by name of ours
	values []source.Value // of the record at hand, alongside fields
	salt   uint64         // of the mapping, so that a new mapping is a new digest
	year   int            // this year; nothing was cut later
	layer  string         // of the targets
	open   OpenOptions    // which name the coordinates of the stem, where the geometry is the crown

	// Columns come in the same order record after record; at remembers which
	// field each place went to last time.
	at     []placed
	fromOf map[string][]int
	where  []Where
	seen   []bool
	extra  []byte
	list   cutList
}

// placed is a source column's name and the fields that take its value.
type placed struct {
	name   string
	fields []int
	where  []int
	nested bool
	loose  bool // it holds an outline only where it looks like one
}

// Where keeps only the records whose column has one of the values.
type Where struct {
	Column string   `json:"column"`
	Values []string `json:"values"`
}

// nestedCuts is the property that holds a tree's cuts as a list of objects.
const nestedCuts = "cuts"

func newConverter(role inventory.Role, m Mapping, where []Where, year int) (*converter, error) {
	c := &converter{role: role, byName: make(map[string]int), fromOf: make(map[string][]int), where: where, year: year}
	for _, f := range fieldsOf(role) {
		rule, ok := m[f.Name]
		if ok {
			cf, err := compile(f, rule)
			if err != nil {
				return nil, inventory.Errorf(inventory.Invalid, "mapping: %s: %w", f.Name, err)
			}
			if rule.From != "" {
				c.fromOf[rule.From] = append(c.fromOf[rule.From], len(c.fields))
			}
			c.byName[f.Name] = len(c.fields)
			c.fields = append(c.fields, cf)
		}
	}
	c.values = make([]source.Value, len(c.fields))
	c.seen = make([]bool, len(where))
	c.salt = xxhash.Sum64(m.marshal())
	return c, nil
}

// columns returns the columns of ours that the mapping fills.
func (c *converter) columns() []string {
	var out []string
	for _, f := range c.fields {
		switch {
		case f.Name == "crown_diameter":
			out = append(out, "crown_radius_m")
		case f.Column != "":
			out = append(out, f.Column)
		}
	}
	if c.role == inventory.RoleTargets {
		out = append(out, "layer")
	}
	if c.role == inventory.RoleCuts { // every cut has a kind, given or by the lateral rule
		out = append(out, "kind", "given_kind")
	}
	return out
}

// take spreads a record's fields over the mapping; it reports false where the
// record is to be left out.
func (c *converter) take(rec *source.Record) bool {
	for i := range c.fields {
		c.values[i] = source.Value{}
		if v := c.fields[i].rule.Value; v != "" {
			c.values[i] = source.Value{Kind: source.Text, Text: v}
		}
	}
	clear(c.seen)
	c.extra = c.extra[:0]
	c.list = cutList{}
	for i := range rec.Fields {
		f := &rec.Fields[i]
		p := c.place(i, f.Name)
		for _, w := range p.where {
			for _, want := range c.where[w].Values {
				c.seen[w] = c.seen[w] || strings.TrimSpace(f.Value.Text) == want
			}
		}
		mapped := false
		for _, at := range p.fields {
			if p.loose && c.fields[at].Quantity == Outline && !drawn(f.Value) {
				continue
			}
			c.values[at], mapped = f.Value, true
		}
		switch {
		// Some writers turn what is nested into text.
		case p.nested && isList(f.Value):
			c.list = cutList{name: f.Name, text: f.Value.Text}
		case !mapped:
			c.extra = appendExtra(c.extra, f)
		}
	}
	for w := range c.where {
		if !c.seen[w] {
			return false
		}
	}
	return true
}

// isList reports whether a value is meant for a list of cuts: anything but
// nothing and a number, which other tables have under that name.
func isList(v source.Value) bool {
	if v.Kind == source.Null || v.Kind == source.Number || v.Kind == source.Bool {
		return false
	}
	_, err := strconv.ParseFloat(strings.TrimSpace(v.Text), 64)
	return err != nil && !missing(strings.TrimSpace(v.Text))
}

// place looks up a column, first where it was in the last record.
func (c *converter) place(i int, name string) *placed {
	for len(c.at) <= i {
		c.at = append(c.at, placed{})
	}
	p := &c.at[i]
	if p.name == name && name != "" {
		return p
	}
	*p = placed{name: name, fields: c.fromOf[name], nested: c.role == inventory.RoleTrees && name == nestedCuts, loose: isLoose(name)}
	for w := range c.where {
		if c.where[w].Column == name {
			p.where = append(p.where, w)
		}
	}
	return p
}

// appendExtra adds an unmapped field to a JSON object under way. Empty ones are
// left out.
func appendExtra(b []byte, f *source.Field) []byte {
	if f.Value.Kind == source.Null || f.Value.Text == "" {
		return b
	}
	if len(b) == 0 {
		b = append(b, '{')
	} else {
		b = append(b, ',')
	}
	b = appendJSONString(b, f.Name)
	b = append(b, ':')
	if f.Value.Kind == source.Text {
		return appendJSONString(b, f.Value.Text)
	}
	return append(b, f.Value.Text...)
}

func appendJSONString(b []byte, s string) []byte {
	for i := range len(s) {
		if s[i] < ' ' || s[i] == '"' || s[i] == '\\' || s[i] > '~' {
			// jsonb cannot hold NUL, escaped or not.
			quoted, err := json.Marshal(strings.ReplaceAll(s, "\x00", "\uFFFD"))
			if err != nil {
				panic("a string does not marshal: " + err.Error())
			}
			return append(b, quoted...)
		}
	}
	b = append(b, '"')
	b = append(b, s...)
	return append(b, '"')
}

// row makes the part that all rows share.
func (c *converter) row(raw *source.Raw) inventory.Row {
	r := inventory.Row{Record: raw.Number, Digest: xxhash.Sum64(raw.Text) ^ c.salt}
	if len(c.extra) > 0 {
		r.Extra = append(append(make([]byte, 0, len(c.extra)+1), c.extra...), '}')
	}
	return r
}

// get returns the value and the compiled field of a name; ok is false where the
// mapping lacks it.
func (c *converter) get(name string) (*compiled, source.Value, bool) {
	i, ok := c.byName[name]
	if !ok {
		return nil, source.Value{}, false
	}
	return &c.fields[i], c.values[i], true
}

// set reads values one after the other and remembers the first problem, so that
// a row is written as a plain list of fields.
type set struct {
	c       *converter
	problem *source.Problem
}

func (s *set) text(name string) string {
	if f, v, ok := s.c.get(name); ok {
		return f.text(v)
	}
	return ""
}

// longestID is more than any id needs and less than an index entry holds.
const longestID = 500

// id reads a name that records are found by.
func (s *set) id(name string) string {
	id := s.text(name)
	if len(id) > longestID {
		s.fail(name, "%d bytes are too long for an id or tag: at most %d", len(id), longestID)
	}
	return id
}

func read[T any](s *set, name string, fn func(*compiled, source.Value) (T, *source.Problem)) T {
	var none T
	f, v, ok := s.c.get(name)
	if !ok {
		return none
	}
	got, p := fn(f, v)
	if p != nil && s.problem == nil {
		s.problem = p
	}
	return got
}

func (s *set) number(name string) inventory.Opt[float64] { return read(s, name, (*compiled).number) }
func (s *set) whole(name string) inventory.Opt[int]      { return read(s, name, (*compiled).whole) }
func (s *set) year(name string) inventory.Opt[int]       { return read(s, name, (*compiled).year) }
func (s *set) yesNo(name string) inventory.Opt[bool]     { return read(s, name, (*compiled).yesNo) }
func (s *set) choice(name string) string                 { return read(s, name, (*compiled).choice) }

// fail notes a problem that lies in no single value.
func (s *set) fail(field, format string, args ...any) {
	if s.problem == nil {
		if f, _, ok := s.c.get(field); ok {
			field = f.source()
		}
		s.problem = &source.Problem{Field: field, Reason: fmt.Sprintf(format, args...)}
	}
}

// placeKey is the key of a record that has neither id nor tag: where it is.
func placeKey(p orb.Point) string {
	return "at:" + strconv.FormatFloat(p[0], 'f', 7, 64) + "," + strconv.FormatFloat(p[1], 'f', 7, 64)
}

// shapeKey is the key of a target without an id: its shape.
func shapeKey(g orb.Geometry) string {
	b, err := wkb.Marshal(g, binary.LittleEndian)
	if err != nil {
		return "shape:?"
	}
	return "shape:" + strconv.FormatUint(xxhash.Sum64(b), 36)
}

// optionKey writes an optional figure into a key.
func optionKey(v inventory.Opt[float64]) string {
	if !v.OK {
		return ""
	}
	return strconv.FormatFloat(math.Round(v.V*1000)/1000, 'f', -1, 64)
}
