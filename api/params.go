package api

import (
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
)

// The number of features of a page, where none is asked for and at most.
const (
	defaultLimit = 100
	maxLimit     = 10_000
)

// params are the query parameters of a request, each given once.
type params map[string]string

// parseParams reads the query. A parameter that is not known here, or that
// comes twice, is an error: a typing error must not widen the answer.
func parseParams(r *http.Request, known ...string) (params, error) {
	p, _, err := parseRepeated(r, "", known...)
	return p, err
}

// parseRepeated is parseParams with one parameter that may be given many times;
// its values come in their order.
func parseRepeated(r *http.Request, many string, known ...string) (p params, list []string, err error) {
	values, err := url.ParseQuery(r.URL.RawQuery)
	if err != nil {
		return nil, nil, &statusError{http.StatusBadRequest, "the query does not parse: " + err.Error()}
	}
	names := make([]string, 0, len(values))
	for name := range values {
		names = append(names, name)
	}
	slices.Sort(names)
	p = make(params, len(values))
	for _, name := range names {
		switch {
		case !slices.Contains(known, name):
			return nil, nil, &parameterError{name, "not known here: expected some of " + strings.Join(known, ", ")}
		case slices.Contains(values[name], ""):
			return nil, nil, &parameterError{name, "empty: give a value or leave it out"}
		case name == many:
			list = values[name]
			continue
		case len(values[name]) > 1:
			return nil, nil, &parameterError{name, "given more than once: give it once, with commas between values"}
		}
		p[name] = values[name][0]
	}
	return p, list, nil
}

// whole reads a whole number of some bounds; without the parameter, or.
func (p params) whole(name string, or, least, most int) (int, error) {
	s, ok := p[name]
	if !ok {
		return or, nil
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < least || n > most {
		return 0, paramError(name, s, fmt.Sprintf("expected a whole number from %d to %d", least, most))
	}
	return n, nil
}

// only reports a parameter that means nothing without another.
func (p params) only(with string, names ...string) error {
	if _, ok := p[with]; ok {
		return nil
	}
	for _, name := range names {
		if _, ok := p[name]; ok {
			return &parameterError{name, "means nothing without " + with}
		}
	}
	return nil
}

// limit reads the number of features asked for; more than the most is the
// most (OGC API - Features, fc-limit-response).
func (p params) limit() (int, error) {
	s, ok := p["limit"]
	if !ok {
		return defaultLimit, nil
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < 1 {
		// A number past any integer is still above the most.
		if f, ferr := strconv.ParseFloat(s, 64); ferr == nil && f > maxLimit && f == math.Trunc(f) {
			return maxLimit, nil
		}
		return 0, paramError("limit", s, "expected a whole number from 1")
	}
	return min(n, maxLimit), nil
}

// boxes reads bbox: west, south, east, north in degrees, or the same with
// heights, which are left aside. West of more than east crosses the
// antimeridian and gives two boxes.
func (p params) boxes() ([]orb.Bound, error) {
	s, ok := p["bbox"]
	if !ok {
		return nil, nil
	}
	var v []float64
	for _, part := range strings.Split(s, ",") {
		f, err := strconv.ParseFloat(strings.TrimSpace(part), 64)
		if err != nil || math.IsNaN(f) || math.IsInf(f, 0) {
			return nil, paramError("bbox", s, "expected 4 or 6 numbers with commas between")
		}
		v = append(v, f)
	}
	switch len(v) {
	case 4:
	case 6:
		if v[2] > v[5] {
			return nil, paramError("bbox", s, "the lower height is above the upper")
		}
		v = []float64{v[0], v[1], v[3], v[4]}
	default:
		return nil, paramError("bbox", s, fmt.Sprintf("%d numbers, expected west,south,east,north", len(v)))
	}
	west, south, east, north := v[0], v[1], v[2], v[3]
	switch {
	case math.Abs(west) > 180 || math.Abs(east) > 180:
		return nil, paramError("bbox", s, "a longitude is outside -180 to 180")
	case math.Abs(south) > 90 || math.Abs(north) > 90:
		return nil, paramError("bbox", s, "a latitude is outside -90 to 90")
	case south > north:
		return nil, paramError("bbox", s, "south is above north: expected west,south,east,north")
	case west > east:
		return []orb.Bound{
			{Min: orb.Point{west, south}, Max: orb.Point{180, north}},
			{Min: orb.Point{-180, south}, Max: orb.Point{east, north}},
		}, nil
	}
	return []orb.Bound{{Min: orb.Point{west, south}, Max: orb.Point{east, north}}}, nil
}

// filters reads the conditions on properties; values with commas between mean
// any of them.
func (p params) filters(c *inventory.Collection) ([]inventory.Filter, error) {
	var out []inventory.Filter
	for i := range c.Properties {
		property := &c.Properties[i]
		s, ok := p[property.Name]
		if !ok {
			continue
		}
		f := inventory.Filter{Property: property.Name}
		for _, word := range strings.Split(s, ",") {
			if err := addValue(&f, property, word); err != nil {
				return nil, err
			}
		}
		out = append(out, f)
	}
	return out, nil
}

// filterable lists the properties that can be filtered on.
func filterable(c *inventory.Collection) []string {
	var names []string
	for _, p := range c.Properties {
		if p.Type != inventory.Object {
			names = append(names, p.Name)
		}
	}
	return names
}

func addValue(f *inventory.Filter, p *inventory.Property, word string) error {
	switch p.Type {
	case inventory.Integer:
		n, err := strconv.ParseInt(word, 10, 64)
		if err != nil {
			return paramError(p.Name, word, "expected a whole number")
		}
		f.Ints = append(f.Ints, n)
	case inventory.Boolean:
		n, ok := map[string]int64{"true": 1, "false": 0}[word]
		if !ok {
			return paramError(p.Name, word, "expected true or false")
		}
		f.Ints = append(f.Ints, n)
	case inventory.Number:
		v, err := strconv.ParseFloat(word, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return paramError(p.Name, word, "expected a number")
		}
		f.Floats = append(f.Floats, v)
	case inventory.Date, inventory.Timestamp:
		layout, expected := time.RFC3339, "expected an instant such as 2024-05-01T12:00:00Z"
		if p.Type == inventory.Date {
			layout, expected = time.DateOnly, "expected a day such as 2024-05-01"
		}
		t, err := time.Parse(layout, word)
		if err != nil {
			return paramError(p.Name, word, expected)
		}
		f.Times = append(f.Times, t)
	default:
		if strings.ContainsRune(word, 0) || strings.ToValidUTF8(word, "") != word {
			return paramError(p.Name, word, "expected text in UTF-8")
		}
		if p.Values != nil && !slices.Contains(p.Values, word) {
			return paramError(p.Name, word, "expected some of "+strings.Join(p.Values, ", "))
		}
		f.Texts = append(f.Texts, word)
	}
	return nil
}

// A cursor goes over the wire as text that means nothing to a client, so that
// what it holds can change.

func writeCursor(c inventory.Cursor) string {
	var b []byte
	for _, n := range c {
		b = binary.AppendVarint(b, n)
	}
	return base64.RawURLEncoding.EncodeToString(b)
}

func (p params) cursor() (inventory.Opt[inventory.Cursor], error) {
	var c inventory.Cursor
	s, ok := p["cursor"]
	if !ok {
		return inventory.Opt[inventory.Cursor]{}, nil
	}
	bad := paramError("cursor", s, "not one of this service: follow the link next of a page as it is")
	b, err := base64.RawURLEncoding.DecodeString(s)
	if err != nil {
		return inventory.Opt[inventory.Cursor]{}, bad
	}
	for i := range c {
		n, size := binary.Varint(b)
		if size <= 0 {
			return inventory.Opt[inventory.Cursor]{}, bad
		}
		c[i], b = n, b[size:]
	}
	if len(b) > 0 || c[0] < 0 {
		return inventory.Opt[inventory.Cursor]{}, bad
	}
	return inventory.Some(c), nil
}
