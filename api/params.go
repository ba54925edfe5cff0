package api

import (
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

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
		case name == "as_of" && isPast(r.Context()):
			continue // read already, for all of the request
		case len(known) == 0:
			return nil, nil, &parameterError{name, "not known here: this has no parameters"}
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
		if f, ferr := strconv.ParseFloat(s, 64); ferr == nil && f > maxLimit && !math.IsInf(f, 0) && f == math.Trunc(f) {
			return maxLimit, nil
		}
		return 0, paramError("limit", s, "expected a whole number from 1")
	}
	return min(n, maxLimit), nil
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

// checkText reports a text that a property cannot have.
func checkText(p *inventory.Property, word string) error {
	if strings.ContainsRune(word, 0) || strings.ToValidUTF8(word, "") != word {
		return paramError(p.Name, word, "expected text in UTF-8")
	}
	if p.Values != nil && !slices.Contains(p.Values, word) {
		return paramError(p.Name, word, "expected some of "+strings.Join(p.Values, ", "))
	}
	return nil
}

// A cursor goes over the wire as text that means nothing to a client, so that
// what it holds can change.

// walkOf tells walks apart: a place in one order is none in another.
func walkOf(c *inventory.Collection, order []inventory.SortKey) uint16 {
	h := fnv.New32a()
	fmt.Fprintln(h, c.ID, order)
	return uint16(h.Sum32())
}

func writeCursor(walk uint16, c inventory.Cursor) string {
	b := binary.BigEndian.AppendUint16(nil, walk)
	for _, n := range c.IDs {
		b = binary.AppendVarint(b, n)
	}
	for _, k := range c.Keys {
		if k == nil {
			b = binary.AppendVarint(b, -1)
			continue
		}
		b = append(binary.AppendVarint(b, int64(len(*k))), *k...)
	}
	return base64.RawURLEncoding.EncodeToString(b)
}

// cursor reads the place to go on from, in a walk by so many keys.
func (p params) cursor(walk uint16, keys int) (inventory.Opt[inventory.Cursor], error) {
	var c inventory.Cursor
	s, ok := p["cursor"]
	if !ok {
		return inventory.Opt[inventory.Cursor]{}, nil
	}
	bad := paramError("cursor", s, "not one of this service for this collection and order: follow the link next of a page as it is")
	b, err := base64.RawURLEncoding.DecodeString(s)
	if err != nil || len(b) < 2 || binary.BigEndian.Uint16(b) != walk {
		return inventory.Opt[inventory.Cursor]{}, bad
	}
	b = b[2:]
	next := func() (n int64, ok bool) {
		n, size := binary.Varint(b)
		if size <= 0 {
			return 0, false
		}
		b = b[size:]
		return n, true
	}
	for i := range c.IDs {
		if c.IDs[i], ok = next(); !ok {
			return inventory.Opt[inventory.Cursor]{}, bad
		}
	}
	for range keys {
		size, ok := next()
		if !ok || size > int64(len(b)) || size < -1 {
			return inventory.Opt[inventory.Cursor]{}, bad
		}
		if size < 0 {
			c.Keys = append(c.Keys, nil)
			continue
		}
		key := string(b[:size])
		if !utf8.ValidString(key) || strings.ContainsRune(key, 0) {
			return inventory.Opt[inventory.Cursor]{}, bad
		}
		c.Keys, b = append(c.Keys, &key), b[size:]
	}
	if len(b) > 0 || c.IDs[0] < 0 {
		return inventory.Opt[inventory.Cursor]{}, bad
	}
	return inventory.Some(c), nil
}
