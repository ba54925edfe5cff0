package api

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/go-json-experiment/json/jsontext"
)

// JSON that a request brings is read into a tree: maps, lists, strings, booleans,
// nil, and numbers as they are written, so that none is rounded on its way.

// literalNumber is a number as it is written.
type literalNumber string

// maxJSONDepth is deeper than any feature.
const maxJSONDepth = 64

// readJSON reads one value. A name that comes twice in an object is refused: no
// two readers agree on which is meant.
func readJSON(b []byte) (any, error) {
	d := jsontext.NewDecoder(bytes.NewReader(b))
	v, err := readTree(d, 0)
	if err == nil {
		if _, more := d.ReadToken(); more == nil {
			err = errors.New("something follows the value")
		}
	}
	return v, err
}

func readTree(d *jsontext.Decoder, depth int) (any, error) {
	if depth > maxJSONDepth {
		return nil, fmt.Errorf("nested deeper than %d levels", maxJSONDepth)
	}
	switch d.PeekKind() {
	case '{':
		if _, err := d.ReadToken(); err != nil {
			return nil, err
		}
		object := make(map[string]any)
		for d.PeekKind() != '}' {
			name, err := d.ReadToken()
			if err != nil {
				return nil, err
			}
			key := name.String()
			if object[key], err = readTree(d, depth+1); err != nil {
				return nil, err
			}
		}
		_, err := d.ReadToken()
		return object, err
	case '[':
		if _, err := d.ReadToken(); err != nil {
			return nil, err
		}
		list := []any{}
		for d.PeekKind() != ']' {
			v, err := readTree(d, depth+1)
			if err != nil {
				return nil, err
			}
			list = append(list, v)
		}
		_, err := d.ReadToken()
		return list, err
	case '0':
		v, err := d.ReadValue()
		return literalNumber(v), err
	}
	t, err := d.ReadToken()
	if err != nil {
		return nil, err
	}
	switch t.Kind() {
	case '"':
		return t.String(), nil
	case 't', 'f':
		return t.Bool(), nil
	}
	return nil, nil
}

// appendTree writes a tree as JSON, members by name.
func appendTree(dst []byte, v any) []byte {
	switch v := v.(type) {
	case map[string]any:
		dst = append(dst, '{')
		for i, name := range slices.Sorted(maps.Keys(v)) {
			if i > 0 {
				dst = append(dst, ',')
			}
			dst = appendTree(append(appendString(dst, name), ':'), v[name])
		}
		return append(dst, '}')
	case []any:
		dst = append(dst, '[')
		for i, e := range v {
			if i > 0 {
				dst = append(dst, ',')
			}
			dst = appendTree(dst, e)
		}
		return append(dst, ']')
	case string:
		return appendString(dst, v)
	case bool:
		return appendBool(dst, v)
	case literalNumber:
		return append(dst, v...)
	}
	return append(dst, "null"...)
}

// hasCodeZero reports whether a text or name in a tree has the character of code 0,
// which the database cannot hold.
func hasCodeZero(v any) bool {
	switch v := v.(type) {
	case map[string]any:
		for name, member := range v {
			if hasCodeZero(name) || hasCodeZero(member) {
				return true
			}
		}
	case []any:
		return slices.ContainsFunc(v, hasCodeZero)
	case string:
		return strings.ContainsRune(v, 0)
	}
	return false
}

// mergePatch is MergePatch of RFC 7396, section 2. The target is left as it is.
func mergePatch(target, patch any) any {
	p, ok := patch.(map[string]any)
	if !ok {
		return patch
	}
	out := make(map[string]any)
	if t, ok := target.(map[string]any); ok {
		maps.Copy(out, t)
	}
	for name, v := range p {
		if v == nil {
			delete(out, name)
		} else {
			out[name] = mergePatch(out[name], v)
		}
	}
	return out
}

// kindOfJSON is what a value is, in words.
func kindOfJSON(v any) string {
	switch v := v.(type) {
	case nil:
		return "null"
	case map[string]any:
		return "an object"
	case []any:
		return "a list"
	case string:
		return fmt.Sprintf("the text %.60q", v)
	case bool:
		return fmt.Sprint(v)
	}
	return fmt.Sprintf("the number %.60v", v)
}
