package api

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"math"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
)

// workBytes is more than any request about work needs, pictures aside.
const workBytes = 1 << 20

// mostText and mostRows are more than any text or list of objects of such a request
// needs.
const (
	mostText = 10_000 // bytes
	mostRows = 1000
)

// fields are the members of an object that a request sends. Each is read once by
// its name; the first fault is kept and names the member, and end tells of members
// that nobody reads.
type fields struct {
	path  string // of the object in the body, such as cuts[0]. ; empty for the whole
	of    map[string]any
	known []string
	fault *error // of the whole body
	sum   string // SHA-256 of the whole body, in hex
}

// readFields reads a JSON object from a request's body.
func readFields(w http.ResponseWriter, r *http.Request) (*fields, error) {
	if name, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || name != typeJSON {
		w.Header().Set("Accept-Post", typeJSON)
		return nil, &statusError{http.StatusUnsupportedMediaType, fmt.Sprintf("Content-Type is %.60q: expected %s", r.Header.Get("Content-Type"), typeJSON)}
	}
	if err := plainlyCoded(w, r); err != nil {
		return nil, err
	}
	b, err := readBody(w, r, workBytes)
	if err != nil {
		return nil, err
	}
	tree, err := readJSON(b)
	if err != nil {
		return nil, invalid("the body is not JSON as I-JSON has it (RFC 7493): %v", err)
	}
	members, ok := tree.(map[string]any)
	if !ok {
		return nil, invalid("the body is %s: expected an object", kindOfJSON(tree))
	}
	if hasCodeZero(tree) {
		return nil, invalid("the body has a character of code 0 in a text or a name: leave it out")
	}
	sum := sha256.Sum256(b)
	return &fields{of: members, fault: new(error), sum: hex.EncodeToString(sum[:])}, nil
}

// plainlyCoded refuses a body that is compressed.
func plainlyCoded(w http.ResponseWriter, r *http.Request) error {
	coding := r.Header.Get("Content-Encoding")
	if coding == "" || coding == "identity" {
		return nil
	}
	w.Header().Set("Accept-Encoding", "identity")
	return &statusError{http.StatusUnsupportedMediaType, fmt.Sprintf("Content-Encoding is %.60q: send the body as it is", coding)}
}

// wrong keeps a fault of a member, if it is the first.
func (f *fields) wrong(name, format string, args ...any) {
	if *f.fault == nil {
		*f.fault = invalid("%s%s %s", f.path, name, fmt.Sprintf(format, args...))
	}
}

// take returns a member's value; ok is false where it is missing or null.
func (f *fields) take(name string) (v any, ok bool) {
	f.known = append(f.known, name)
	v = f.of[name]
	return v, v != nil
}

// need keeps a fault where a member is missing.
func (f *fields) need(name, expected string) {
	if f.of[name] == nil {
		f.wrong(name, "is missing: expected %s", expected)
	}
}

// end returns the first fault, of a member that nobody reads too.
func (f *fields) end() error {
	f.unread()
	return *f.fault
}

func (f *fields) unread() {
	for _, name := range slices.Sorted(maps.Keys(f.of)) {
		if !slices.Contains(f.known, name) {
			f.wrong(fmt.Sprintf("%.60q", name), "is not known here: expected some of %s", strings.Join(f.known, ", "))
		}
	}
}

func (f *fields) text(name string) inventory.Opt[string] {
	v, ok := f.take(name)
	if !ok {
		return inventory.Opt[string]{}
	}
	text, ok := v.(string)
	switch {
	case !ok:
		f.wrong(name, "is %s: expected text", kindOfJSON(v))
	case len(text) > mostText:
		f.wrong(name, "is %d bytes long: expected %d at most", len(text), mostText)
	}
	return inventory.Some(text)
}

// number reads a number times a unit.
func (f *fields) number(name string, unit float64) (out inventory.Opt[float64]) {
	v, ok := f.take(name)
	if !ok {
		return out
	}
	return inventory.Some(f.asNumber(name, v) * unit)
}

func (f *fields) asNumber(name string, v any) float64 {
	n, ok := v.(literalNumber)
	if !ok {
		f.wrong(name, "is %s: expected a number", kindOfJSON(v))
		return 0
	}
	x, err := strconv.ParseFloat(string(n), 64)
	if err != nil || math.IsInf(x, 0) {
		f.wrong(name, "is %s: expected a number below 1.8e308", kindOfJSON(v))
	}
	return x
}

func (f *fields) whole(name string) (out inventory.Opt[int]) {
	v, ok := f.take(name)
	if !ok {
		return out
	}
	n, ok := v.(literalNumber)
	if ok {
		i, fits := wholeNumber(string(n))
		out, ok = inventory.Some(int(i)), fits
	}
	if !ok {
		f.wrong(name, "is %s: expected a whole number", kindOfJSON(v))
	}
	return out
}

func (f *fields) truth(name string) inventory.Opt[bool] {
	v, ok := f.take(name)
	if !ok {
		return inventory.Opt[bool]{}
	}
	is, ok := v.(bool)
	if !ok {
		f.wrong(name, "is %s: expected true or false", kindOfJSON(v))
	}
	return inventory.Some(is)
}

// day reads a day, as a date or as the instant at its beginning that a document of
// ours has for it.
func (f *fields) day(name string) (out inventory.Opt[time.Time]) {
	v, ok := f.take(name)
	if !ok {
		return out
	}
	text, _ := v.(string)
	at, err := time.Parse(time.DateOnly, strings.TrimSuffix(text, "T00:00:00Z"))
	if err != nil {
		f.wrong(name, "is %s: expected a day such as 2027-02-14", kindOfJSON(v))
	}
	return inventory.Some(at)
}

// moment reads an instant (RFC 3339).
func (f *fields) moment(name string) (out inventory.Opt[time.Time]) {
	v, ok := f.take(name)
	if !ok {
		return out
	}
	text, _ := v.(string)
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		f.wrong(name, "is %s: expected an instant such as 2027-02-14T08:12:00Z", kindOfJSON(v))
	}
	return inventory.Some(at.UTC())
}

func (f *fields) list(name string) []any {
	v, ok := f.take(name)
	if !ok {
		return nil
	}
	list, ok := v.([]any)
	if !ok {
		f.wrong(name, "is %s: expected a list", kindOfJSON(v))
	}
	return list
}

func (f *fields) texts(name string) []string {
	var out []string
	for i, v := range f.list(name) {
		text, ok := v.(string)
		if !ok {
			f.wrong(fmt.Sprintf("%s[%d]", name, i), "is %s: expected text", kindOfJSON(v))
		}
		out = append(out, text)
	}
	return out
}

// numbers reads a list of numbers, or one number as a list of one.
func (f *fields) numbers(name string) []float64 {
	if one, ok := f.of[name].(literalNumber); ok {
		f.known = append(f.known, name)
		return []float64{f.asNumber(name, one)}
	}
	var out []float64
	for i, v := range f.list(name) {
		out = append(out, f.asNumber(fmt.Sprintf("%s[%d]", name, i), v))
	}
	return out
}

// each reads a list of objects.
func (f *fields) each(name string, read func(*fields)) {
	list := f.list(name)
	if len(list) > mostRows {
		f.wrong(name, "has %d entries: expected %d at most", len(list), mostRows)
		return
	}
	for i, v := range list {
		f.within(fmt.Sprintf("%s[%d]", name, i), v, read)
	}
}

// one reads an object.
func (f *fields) one(name string, read func(*fields)) {
	if v, ok := f.take(name); ok {
		f.within(name, v, read)
	}
}

func (f *fields) within(name string, v any, read func(*fields)) {
	members, ok := v.(map[string]any)
	if !ok {
		f.wrong(name, "is %s: expected an object", kindOfJSON(v))
		return
	}
	inner := &fields{path: f.path + name + ".", of: members, fault: f.fault}
	read(inner)
	inner.unread()
}
