package api

import (
	"fmt"
	"io"
	"math"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
)

// maxEditBytes is more than any one feature needs.
const maxEditBytes = 8 << 20

// body reads what an edit sends, in one of the media types; header names the one
// that tells which.
func (e *editing) body(header string, types ...string) (any, error) {
	given := e.r.Header.Get("Content-Type")
	name, _, err := mime.ParseMediaType(given)
	if err != nil || !slices.Contains(types, name) {
		e.w.Header().Set(header, strings.Join(types, ", "))
		return nil, &statusError{http.StatusUnsupportedMediaType, fmt.Sprintf("Content-Type is %.60q: expected %s", given, strings.Join(types, " or "))}
	}
	if coding := e.r.Header.Get("Content-Encoding"); coding != "" && coding != "identity" {
		e.w.Header().Set("Accept-Encoding", "identity")
		return nil, &statusError{http.StatusUnsupportedMediaType, fmt.Sprintf("Content-Encoding is %.60q: send the body as it is", coding)}
	}
	b, err := readBody(e.w, e.r, maxEditBytes)
	if err != nil {
		return nil, err
	}
	tree, err := readJSON(b)
	if err != nil {
		return nil, invalid("the body is not JSON as I-JSON has it (RFC 7493): %v", err)
	}
	if _, ok := tree.(map[string]any); !ok {
		return nil, invalid("the body is %s: expected one GeoJSON Feature", kindOfJSON(tree))
	}
	return tree, nil
}

// droppedBytes is how much of a body that is too large is taken in all the same.
const droppedBytes = 64 << 20

// readBody reads a body of at most most bytes. What follows in a longer one is
// taken in and dropped: a client that listens only when it has sent all would find
// the connection broken, and never read why. One that asks first is told first.
func readBody(w http.ResponseWriter, r *http.Request, most int64) ([]byte, error) {
	large := &statusError{http.StatusRequestEntityTooLarge, fmt.Sprintf("the body is larger than %d MiB: send less", most>>20)}
	if r.ContentLength > most && r.Header.Get("Expect") != "" {
		w.Header().Set("Connection", "close")
		return nil, large
	}
	b, err := io.ReadAll(io.LimitReader(r.Body, most+1))
	if err != nil {
		return nil, &statusError{http.StatusBadRequest, "the body broke off: " + err.Error()}
	}
	if int64(len(b)) <= most {
		return b, nil
	}
	w.Header().Set("Connection", "close")
	io.CopyN(io.Discard, r.Body, droppedBytes) // whatever comes of it, the answer is the same
	return nil, large
}

func invalid(format string, args ...any) error {
	return inventory.Errorf(inventory.Invalid, format, args...)
}

// takeFeature takes a whole Feature into the edit.
func (e *editing) takeFeature(sent any) error {
	f := sent.(map[string]any)
	if f["type"] == nil {
		return invalid(`the body has no "type": expected a GeoJSON Feature`)
	}
	if err := e.checkMembers(f); err != nil {
		return err
	}
	if _, ok := f["properties"]; !ok {
		return invalid(`the Feature has no "properties"`)
	}
	if _, ok := f["geometry"]; !ok {
		return invalid(`the Feature has no "geometry": null stands for none`)
	}
	properties, ok := f["properties"].(map[string]any)
	if !ok && f["properties"] != nil {
		return invalid("properties is %s: expected an object", kindOfJSON(f["properties"]))
	}
	if err := e.takeProperties(properties); err != nil {
		return err
	}
	return e.takeGeometry(f["geometry"])
}

// checkMembers looks at what a Feature, or a patch of one, says of itself.
func (e *editing) checkMembers(f map[string]any) error {
	if kind, ok := f["type"]; ok && kind != "Feature" {
		if kind == "FeatureCollection" {
			return invalid("the body is a FeatureCollection: send one Feature at a time")
		}
		return invalid("type is %s: expected Feature", kindOfJSON(kind))
	}
	if _, ok := f["crs"]; ok {
		return invalid("the Feature has a member crs, which GeoJSON no longer has (RFC 7946, 4): name the reference system in the header Content-Crs")
	}
	id, ok := f["id"]
	if !ok || e.edit.Kind == inventory.Create { // a new feature gets its id from the service
		return nil
	}
	text, _ := id.(string)
	if n, ok := id.(literalNumber); ok {
		text = string(n)
	}
	if text != strconv.FormatInt(e.edit.ID, 10) {
		return invalid("id is %s, and the address names feature %d: an id does not change", kindOfJSON(id), e.edit.ID)
	}
	return nil
}

// takePatch takes a merge patch into the edit. It reports whether the outcome
// rests on what is there now.
func (e *editing) takePatch(sent any) (onCurrent bool, err error) {
	patch := sent.(map[string]any)
	if id, ok := patch["id"]; ok && id == nil {
		return false, invalid("id is null: an id does not change")
	}
	if kind, ok := patch["type"]; ok && kind == nil {
		return false, invalid("type is null: a Feature stays one")
	}
	if err := e.checkMembers(patch); err != nil {
		return false, err
	}
	body, version, err := e.current()
	if err != nil {
		return false, e.outcome(err)
	}
	now, err := readJSON(body)
	if err != nil {
		return false, err
	}
	merged := mergePatch(now, patch).(map[string]any)
	if given, ok := patch["properties"]; ok {
		changes, ok := given.(map[string]any)
		if !ok && given != nil {
			return false, invalid("properties is %s: expected an object", kindOfJSON(given))
		}
		if given == nil {
			changes = now.(map[string]any)["properties"].(map[string]any) // all of them go
		}
		after, _ := merged["properties"].(map[string]any)
		properties := make(map[string]any, len(changes))
		for name := range changes {
			properties[name] = after[name] // nil where it is gone
			_, nested := changes[name].(map[string]any)
			onCurrent = onCurrent || nested && given != nil
		}
		if err := e.takeProperties(properties); err != nil {
			return false, err
		}
	}
	if given, ok := patch["geometry"]; ok {
		if g, ok := given.(map[string]any); ok && (g["type"] == nil || g["coordinates"] == nil && g["geometries"] == nil) {
			onCurrent = true
			if e.r.Header.Get("Content-Crs") != "" {
				return false, invalid("geometry is given in part: give it whole with Content-Crs")
			}
		}
		if err := e.takeGeometry(merged["geometry"]); err != nil {
			return false, err
		}
	}
	if onCurrent && e.any {
		e.edit.Versions = []int64{version}
	}
	return onCurrent, nil
}

// takeProperties takes the values of properties. Fixed ones are passed over,
// since clients send back the whole of what they read; unknown ones are not.
func (e *editing) takeProperties(properties map[string]any) error {
	c := e.edit.Collection
	e.edit.Values = make(map[string]inventory.Value, len(properties))
	for name, given := range properties {
		p, ok := c.Property(name)
		if !ok {
			return invalid("properties: %s have no %.60q: expected some of %s", c.ID, name, strings.Join(editableNames(c), ", "))
		}
		if p.Fixed && p.Type != inventory.Text {
			continue
		}
		v, err := readValue(p, given)
		if err != nil {
			if p.Fixed {
				continue
			}
			return err
		}
		if most := e.lastPlanting(); p.Name == plantedYear && !v.Null && v.Int > int64(most) {
			return inventory.FieldErrorf(p.Name, "is %d, which is yet to come: expected at most %d", v.Int, most)
		}
		e.edit.Values[name] = v
	}
	return nil
}

// editableNames lists the properties that can be edited.
func editableNames(c *inventory.Collection) (names []string) {
	for _, p := range c.Properties {
		if !p.Fixed {
			names = append(names, p.Name)
		}
	}
	return names
}

// readValue reads a value as its property's type is served.
func readValue(p *inventory.Property, given any) (v inventory.Value, err error) {
	wrong := func(expected string) (inventory.Value, error) {
		return v, inventory.FieldErrorf(p.Name, "is %s: expected %s", kindOfJSON(given), expected)
	}
	if given == nil {
		return inventory.Value{Null: true}, nil
	}
	switch p.Type {
	case inventory.Integer:
		n, ok := given.(literalNumber)
		if !ok {
			return wrong("a whole number")
		}
		if v.Int, ok = wholeNumber(string(n)); !ok {
			return wrong("a whole number of at most 9223372036854775807")
		}
	case inventory.Number:
		n, ok := given.(literalNumber)
		if !ok {
			return wrong("a number")
		}
		if v.Float, err = strconv.ParseFloat(string(n), 64); err != nil {
			return wrong("a number below 1.8e308")
		}
	case inventory.Boolean:
		truth, ok := given.(bool)
		if !ok {
			return wrong("true or false")
		}
		if truth {
			v.Int = 1
		}
	case inventory.Date:
		text, _ := given.(string)
		if v.Time, err = time.Parse(time.DateOnly, text); err != nil {
			return wrong("a day such as 2024-05-01")
		}
	case inventory.Object:
		object, ok := given.(map[string]any)
		if !ok {
			return wrong("an object")
		}
		if hasCodeZero(object) {
			return wrong("no character of code 0 in it")
		}
		v.Bytes = appendTree(nil, object)
	default:
		text, ok := given.(string)
		if !ok {
			return wrong("text")
		}
		if strings.ContainsRune(text, 0) {
			return wrong("no character of code 0 in it")
		}
		v.Bytes = []byte(text)
	}
	return v, nil
}

// wholeNumber reads a whole number however it is written; none is rounded.
func wholeNumber(s string) (int64, bool) {
	if n, err := strconv.ParseInt(s, 10, 64); err == nil {
		return n, true
	}
	// 3.0 and 3e2 are whole too.
	f, err := strconv.ParseFloat(s, 64)
	if err != nil || !strings.ContainsAny(s, ".eE") || f != math.Trunc(f) || math.Abs(f) > 1<<53 {
		return 0, false
	}
	return int64(f), true
}
