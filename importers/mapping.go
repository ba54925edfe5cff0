package importers

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"

	"github.com/underbough/underbough/importers/source"
	"github.com/underbough/underbough/inventory"
)

// Rule says where one field comes from.
type Rule struct {
	// From is the source's column or property.
	From string `yaml:"from,omitempty" json:"from,omitempty"`
	// Unit is the unit of the source's figures.
	Unit string `yaml:"unit,omitempty" json:"unit,omitempty"`
	// Value is one value for the whole file, in place of From.
	Value string `yaml:"value,omitempty" json:"value,omitempty"`
	// Values turns the source's words into ours.
	Values map[string]string `yaml:"values,omitempty" json:"values,omitempty"`
	// Max replaces the field's upper limit of the possible, in the unit given.
	Max float64 `yaml:"max,omitempty" json:"max,omitempty"`
}

// Mapping says where the fields of a record come from, by field name.
type Mapping map[string]Rule

// UnmarshalYAML lets a rule be written as the bare name of a column.
// It takes the node rather than its text, so that errors keep their lines.
func (r *Rule) UnmarshalYAML(node ast.Node) error {
	if _, scalar := node.(ast.ScalarNode); scalar {
		*r = Rule{}
		return yaml.NodeToValue(node, &r.From)
	}
	type plain Rule
	return yaml.NodeToValue(node, (*plain)(r), yaml.Strict())
}

// ParseMapping reads a mapping file: a YAML document of field names and rules.
// The error names the line.
func ParseMapping(b []byte) (Mapping, error) {
	var m Mapping
	if err := yaml.NewDecoder(bytes.NewReader(b), yaml.Strict()).Decode(&m); err != nil && !errors.Is(err, io.EOF) {
		return nil, inventory.Errorf(inventory.Invalid, "mapping file: %s", yaml.FormatError(err, false, true))
	}
	if m == nil { // a file of nothing but comments
		m = make(Mapping)
	}
	return m, nil
}

// AddRule adds a rule written as field=COLUMN or field=COLUMN:unit. A colon in
// the column's own name is kept where what follows is no unit.
func (m Mapping) AddRule(text string, role inventory.Role) error {
	name, from, ok := strings.Cut(text, "=")
	if !ok || name == "" || from == "" {
		return inventory.Errorf(inventory.Invalid, "--map %s: expected field=COLUMN or field=COLUMN:unit", text)
	}
	rule := Rule{From: from}
	if i := strings.LastIndexByte(from, ':'); i > 0 {
		f, known := findField(role, name)
		if known && hasUnits(f.Quantity) {
			if _, err := unitOf(f.Quantity, from[i+1:]); err == nil {
				rule = Rule{From: from[:i], Unit: from[i+1:]}
			}
		}
	}
	m[name] = rule
	return nil
}

// Check reports what is wrong with a mapping for a role, given the columns of
// the file where they are known.
func (m Mapping) Check(role inventory.Role, columns []string) error {
	for _, name := range m.names() {
		r := m[name]
		f, ok := findField(role, name)
		if !ok {
			return inventory.Errorf(inventory.Invalid, "mapping: there is no field %q for %s: expected one of %s", name, role, strings.Join(fieldNames(role), ", "))
		}
		if (r.From == "") == (r.Value == "") {
			return inventory.Errorf(inventory.Invalid, "mapping: %s: give from (a column) or value, one of the two", name)
		}
		if r.From != "" && columns != nil && !slices.Contains(columns, r.From) {
			return inventory.Errorf(inventory.Invalid, "mapping: %s: the file has no column %q; it has %s", name, r.From, strings.Join(columns, ", "))
		}
		if r.Unit != "" {
			if _, err := unitOf(f.Quantity, r.Unit); err != nil {
				return inventory.Errorf(inventory.Invalid, "mapping: %s: %w", name, err)
			}
		} else if needsUnit(f.Quantity) && r.From != "" {
			return inventory.Errorf(inventory.Invalid, "mapping: %s: the unit of %q must be given: one of %s", name, r.From, strings.Join(unitNames(f.Quantity), ", "))
		}
		if err := f.checkMax(r); err != nil {
			return inventory.Errorf(inventory.Invalid, "mapping: %s: %w", name, err)
		}
		if err := f.checkValue(r); err != nil {
			return inventory.Errorf(inventory.Invalid, "mapping: %s: %w", name, err)
		}
		for _, to := range r.Values {
			if f.Quantity == Choice && to != "" && !slices.Contains(f.Choices, to) {
				return inventory.Errorf(inventory.Invalid, "mapping: %s: %q is none of %s", name, to, strings.Join(f.Choices, ", "))
			}
		}
	}
	return nil
}

// checkMax keeps a raised limit within what the inventory holds.
func (f Field) checkMax(r Rule) error {
	if r.Max == 0 {
		return nil
	}
	c, err := compile(f, r)
	if err != nil {
		return err
	}
	most := max(f.Most, f.Max)
	if slices.Contains([]Quantity{Words, Choice, Clock, Outline}, f.Quantity) || r.Max < 0 || c.max > most {
		return fmt.Errorf("max %v: the limit of this field can be at most %s", r.Max, c.inUnit(most, c.unit))
	}
	return nil
}

// checkValue reads the value that stands for the whole file as a record's would
// be read.
func (f Field) checkValue(r Rule) error {
	if r.Value == "" {
		return nil
	}
	c, err := compile(f, r)
	if err != nil {
		return err
	}
	v := source.Value{Kind: source.Text, Text: r.Value}
	var p *source.Problem
	switch f.Quantity {
	case Choice:
		_, p = c.choice(v)
	case Length, Number, Share, Speed, Angle:
		if _, rest, err := parseNumber(r.Value); err == nil && rest == "" && r.Unit == "" && needsUnit(f.Quantity) {
			return fmt.Errorf("%q: write its unit after it: one of %s", r.Value, strings.Join(unitNames(f.Quantity), ", "))
		}
		_, p = c.number(v)
	case Whole:
		_, p = c.whole(v)
	case Bearing:
		_, p = c.bearing(v)
	case Year:
		_, p = c.year(v)
	case Day:
		_, p = c.day(v)
	case Clock:
		_, p = c.clock(v)
	case Outline:
		return errors.New("one outline cannot be the crown of every tree: name a column")
	case YesNo:
		_, p = c.yesNo(v)
	}
	if p != nil {
		return errors.New(p.Reason)
	}
	return nil
}

func (m Mapping) names() []string {
	names := make([]string, 0, len(m))
	for n := range m {
		names = append(names, n)
	}
	slices.Sort(names)
	return names
}

// Lines writes the mapping as the lines a person reads before loading, those
// that were not given marked as guessed.
func (m Mapping) Lines(role inventory.Role, given Mapping) []string {
	var out []string
	for _, f := range fieldsOf(role) {
		r, ok := m[f.Name]
		if !ok {
			continue
		}
		line := fmt.Sprintf("%s from %s", f.Name, r.From)
		if r.From == "" {
			line = fmt.Sprintf("%s = %s", f.Name, r.Value)
		}
		if r.Unit != "" {
			line += ", unit " + r.Unit
		}
		if len(r.Values) > 0 {
			line += fmt.Sprintf(" (%d words translated)", len(r.Values))
		}
		if _, ok := given[f.Name]; !ok {
			line += " (guessed)"
		}
		out = append(out, line)
	}
	return out
}

func findField(role inventory.Role, name string) (Field, bool) {
	for _, f := range fieldsOf(role) {
		if f.Name == name {
			return f, true
		}
	}
	return Field{}, false
}

func fieldNames(role inventory.Role) []string {
	var names []string
	for _, f := range fieldsOf(role) {
		names = append(names, f.Name)
	}
	return names
}

// Unclear is a column that is named like a field, but does not tell the unit of
// its figures.
type Unclear struct {
	Column, Field string
	Units         []string // that the field can come in
}

// String says how to tell the unit on the command line.
func (u Unclear) String() string {
	return fmt.Sprintf("%s looks like %s, but its name does not tell the unit: give --map %s=%s:UNIT with one of %s",
		u.Column, u.Field, u.Field, u.Column, strings.Join(u.Units, ", "))
}

// Guess proposes a rule for each field that a column is plainly named for. It
// never guesses a unit: a column whose name does not tell it is returned in
// unclear, with the field it may be meant for.
func Guess(role inventory.Role, columns []string) (m Mapping, unclear []Unclear) {
	return GuessRest(role, columns, nil)
}

// GuessRest is Guess for the fields and columns that given does not name.
func GuessRest(role inventory.Role, columns []string, given Mapping) (m Mapping, unclear []Unclear) {
	m = make(Mapping)
	var free []string
	for _, c := range columns {
		if !given.uses(c) {
			free = append(free, c)
		}
	}
	for _, f := range fieldsOf(role) {
		if _, ok := given[f.Name]; ok {
			continue
		}
		for _, name := range append([]string{f.Name}, f.Also...) {
			if _, done := m[f.Name]; done {
				break
			}
			guessField(m, &unclear, f, name, free)
		}
	}
	return m, unclear
}

func guessField(m Mapping, unclear *[]Unclear, f Field, name string, columns []string) {
	for _, c := range columns {
		if m.uses(c) {
			continue
		}
		plain := normal(c)
		stem, u, hasUnit := plain, unit{}, false
		if hasUnits(f.Quantity) {
			stem, u, hasUnit = unitSuffix(f.Quantity, plain)
		}
		switch {
		case squeeze(stem) != squeeze(name):
			continue
		case hasUnit:
			m[f.Name] = Rule{From: c, Unit: u.name}
		case needsUnit(f.Quantity):
			*unclear = append(*unclear, Unclear{Column: c, Field: f.Name, Units: unitNames(f.Quantity)})
			continue
		default:
			m[f.Name] = Rule{From: c}
		}
		return
	}
}

func (m Mapping) uses(column string) bool {
	for _, r := range m {
		if r.From == column {
			return true
		}
	}
	return false
}

// normal writes a column name in small letters with single underscores:
// "Plant Year" and "PlantYear" are plant_year.
func normal(s string) string {
	var b strings.Builder
	lower := false
	for _, r := range s {
		switch {
		case r >= 'A' && r <= 'Z':
			if lower {
				b.WriteByte('_')
			}
			b.WriteRune(r + 'a' - 'A')
			lower = false
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9', r == '%', r == '/':
			b.WriteRune(r)
			lower = true
		default:
			if b.Len() > 0 && !strings.HasSuffix(b.String(), "_") {
				b.WriteByte('_')
			}
			lower = false
		}
	}
	return strings.Trim(b.String(), "_")
}

func squeeze(s string) string { return strings.ReplaceAll(s, "_", "") }

// marshal writes what is kept with the import.
func (m Mapping) marshal() json.RawMessage {
	b, err := json.Marshal(m)
	if err != nil {
		panic("a mapping of plain text does not marshal: " + err.Error())
	}
	return b
}
