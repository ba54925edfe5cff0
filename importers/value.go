package importers

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/underbough/underbough/importers/source"
	"github.com/underbough/underbough/inventory"
)

// compiled is a field with its rule, ready for a million records.
type compiled struct {
	Field
	rule Rule
	unit unit
	max  float64
}

func compile(f Field, r Rule) (compiled, error) {
	c := compiled{Field: f, rule: r, unit: unit{factor: 1}, max: f.Max}
	if r.Unit != "" {
		u, err := unitOf(f.Quantity, r.Unit)
		if err != nil {
			return c, err
		}
		c.unit = u
	}
	if r.Max > 0 {
		c.max = r.Max * c.unit.factor
	}
	return c, nil
}

// source names the field as the file does.
func (c *compiled) source() string {
	if c.rule.From != "" {
		return c.rule.From
	}
	return c.Name
}

func (c *compiled) problem(format string, args ...any) *source.Problem {
	return &source.Problem{Field: c.source(), Reason: fmt.Sprintf(format, args...)}
}

// missing reports whether a text stands for "no value" in common tables.
func missing(s string) bool {
	switch s {
	case "", "-", "--", "NA", "N/A", "n/a", "na", "null", "NULL", "None", "none", "unknown", "Unknown":
		return true
	}
	return false
}

// text returns a value as text, with the words translated that the rule
// translates.
func (c *compiled) text(v source.Value) string {
	s := strings.TrimSpace(v.Text)
	if c.rule.Values == nil {
		return s
	}
	if to, ok := c.rule.Values[s]; ok {
		return to
	}
	return s
}

// number reads a figure in the rule's unit, or in a unit written after it, and
// turns it into the unit kept.
func (c *compiled) number(v source.Value) (inventory.Opt[float64], *source.Problem) {
	var none inventory.Opt[float64]
	s := c.text(v)
	if missing(s) {
		return none, nil
	}
	n, rest, err := parseNumber(s)
	if err != nil {
		return none, c.problem("%q is not a number: %v", s, err)
	}
	u := c.unit
	if rest != "" {
		if u, err = unitOf(c.Quantity, rest); err != nil {
			return none, c.problem("%q: %v", s, err)
		}
	}
	kept := n * u.factor
	switch {
	case kept == 0 && c.Min > 0:
		return none, nil // nobody measured it
	case kept < c.Min:
		return none, c.problem("%s is impossible: it is below %s", s, c.inUnit(max(c.Min, 0), u))
	case c.max > 0 && kept > c.max:
		return none, c.problem("%s is impossible: it is above %s; correct it, or raise the limit with max in the mapping", s, c.inUnit(c.max, u))
	}
	return inventory.Some(kept), nil
}

func (c *compiled) inUnit(kept float64, u unit) string {
	v := kept / u.factor
	if v < 1e-6 {
		v = 0
	}
	return strings.TrimSpace(strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) + " " + u.name)
}

func plain(s string) bool {
	for i := range len(s) {
		if (s[i] < '0' || s[i] > '9') && s[i] != '.' && s[i] != '-' && s[i] != '+' && s[i] != 'e' && s[i] != 'E' {
			return false
		}
	}
	return true
}

// parseNumber reads a leading number and returns what follows it. A decimal
// comma is read where it cannot be a separator of thousands.
func parseNumber(s string) (n float64, rest string, err error) {
	// Only plain decimal figures: the parser would take 0x1p4, inf and 1_000 too.
	if plain(s) {
		if n, err := strconv.ParseFloat(s, 64); err == nil && !math.IsInf(n, 0) {
			return n, "", nil
		}
	}
	end := 0
	for end < len(s) && strings.IndexByte("+-0123456789.,eE", s[end]) >= 0 {
		end++
	}
	// "3e" of "3 each" is no exponent.
	for end > 0 && strings.IndexByte("eE+-", s[end-1]) >= 0 {
		end--
	}
	figures, rest := s[:end], strings.TrimSpace(s[end:])
	if i := strings.IndexByte(figures, ','); i >= 0 {
		if strings.Count(figures, ",") > 1 || strings.Contains(figures, ".") || len(figures)-i == 4 {
			return 0, "", fmt.Errorf("write it with a decimal point and without separators of thousands")
		}
		figures = figures[:i] + "." + figures[i+1:]
	}
	n, err = strconv.ParseFloat(figures, 64)
	if err != nil || math.IsInf(n, 0) {
		return 0, "", fmt.Errorf("expected a figure such as 12.5")
	}
	return n, rest, nil
}

// diameters reads one stem diameter, or several written as 12; 8; 6, which are
// combined.
func (c *compiled) diameters(v source.Value) (d inventory.Opt[float64], stems int, p *source.Problem) {
	s := c.text(v)
	if missing(s) || !strings.ContainsAny(s, ";/+") {
		d, p = c.number(v)
		return d, 1, p
	}
	parts := strings.FieldsFunc(s, func(r rune) bool { return r == ';' || r == '/' || r == '+' })
	if len(parts) < 2 {
		d, p = c.number(v)
		return d, 1, p
	}
	var each []float64
	for _, part := range parts {
		one, p := c.number(source.Value{Kind: source.Text, Text: part})
		if p != nil {
			return d, 0, p
		}
		if one.OK {
			each = append(each, one.V)
		}
	}
	if len(each) == 0 {
		return d, 0, nil
	}
	combined := inventory.CombinedDiameter(each...)
	if combined > c.max {
		return d, 0, c.problem("%s is impossible: the stems together are above %s; correct them, or raise the limit with max in the mapping", s, c.inUnit(c.max, c.unit))
	}
	return inventory.Some(combined), len(each), nil
}

func (c *compiled) whole(v source.Value) (inventory.Opt[int], *source.Problem) {
	n, p := c.number(v)
	if p != nil || !n.OK {
		return inventory.Opt[int]{}, p
	}
	if n.V != math.Trunc(n.V) {
		return inventory.Opt[int]{}, c.problem("%s is not a whole number", v.Text)
	}
	return inventory.Some(int(n.V)), nil
}

// year reads a year, alone or at the head of a date. Zero is no year.
func (c *compiled) year(v source.Value) (inventory.Opt[int], *source.Problem) {
	s := c.text(v)
	if missing(s) || s == "0" {
		return inventory.Opt[int]{}, nil
	}
	if len(s) > 4 && (s[4] == '-' || s[4] == '.' || s[4] == '/') {
		s = s[:4]
	}
	n, err := strconv.Atoi(s)
	if err != nil || float64(n) < c.Min || float64(n) > c.max {
		return inventory.Opt[int]{}, c.problem("%q is not a year: expected four figures such as 2014", v.Text)
	}
	return inventory.Some(n), nil
}

// firstYear is the first that days are kept of; the tables hold the same.
const firstYear = 1000

// day reads a date in the international form, a time after it left out.
func (c *compiled) day(v source.Value) (inventory.Opt[time.Time], *source.Problem) {
	s := c.text(v)
	if missing(s) {
		return inventory.Opt[time.Time]{}, nil
	}
	head := s
	if len(s) > 10 && (s[10] == 'T' || s[10] == ' ') {
		head = s[:10]
	}
	t, err := time.Parse(time.DateOnly, head)
	if err != nil {
		return inventory.Opt[time.Time]{}, c.problem("%q is not a date: expected the form 2024-03-31", s)
	}
	if t.Year() < firstYear {
		return inventory.Opt[time.Time]{}, c.problem("%q: expected a day from the year %d on", s, firstYear)
	}
	return inventory.Some(t), nil
}

func (c *compiled) yesNo(v source.Value) (inventory.Opt[bool], *source.Problem) {
	switch strings.ToLower(c.text(v)) {
	case "", "na", "n/a", "unknown", "null":
		return inventory.Opt[bool]{}, nil
	case "true", "t", "yes", "y", "1", "x":
		return inventory.Some(true), nil
	case "false", "f", "no", "n", "0", "none":
		return inventory.Some(false), nil
	}
	return inventory.Opt[bool]{}, c.problem("%q is neither yes nor no", v.Text)
}

// choice reads one of the field's words, in any case and with spaces, hyphens
// or underscores.
func (c *compiled) choice(v source.Value) (string, *source.Problem) {
	s := c.text(v)
	if missing(s) {
		return "", nil
	}
	if slices.Contains(c.Choices, s) {
		return s, nil
	}
	word := squeeze(normal(strings.ToLower(s)))
	for _, w := range c.Choices {
		if squeeze(normal(w)) == word {
			return w, nil
		}
	}
	if to, ok := otherWords[word]; ok && slices.Contains(c.Choices, to) {
		return to, nil
	}
	return "", c.problem("%q is none of %s: say which of them it means, in the mapping where the field comes from", s, strings.Join(c.Choices, ", "))
}

var compassPoints = []string{"N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW"}

// bearing reads degrees clockwise from north, or one of the sixteen points of
// the compass.
func (c *compiled) bearing(v source.Value) (inventory.Opt[float64], *source.Problem) {
	if i := slices.Index(compassPoints, strings.ToUpper(c.text(v))); i >= 0 {
		return inventory.Some(float64(i) * 22.5), nil
	}
	n, p := c.number(v)
	if n.OK && n.V == 360 {
		n.V = 0
	}
	return n, p
}
