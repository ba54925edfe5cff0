package api

import (
	"bytes"
	"encoding/json"
	"strconv"
)

// object is a JSON object whose members keep their order, for documents that
// people read too.
type object []member

type member struct {
	name  string
	value any
}

// MarshalJSON writes the members in their order.
func (o object) MarshalJSON() ([]byte, error) { return o.append(nil) }

// append writes straight into one buffer: a package of JSON would look through
// the bytes of each object again for every object about it.
func (o object) append(dst []byte) (_ []byte, err error) {
	dst = append(dst, '{')
	for i, m := range o {
		if i > 0 {
			dst = append(dst, ',')
		}
		dst = append(appendString(dst, m.name), ':')
		if dst, err = appendDocument(dst, m.value); err != nil {
			return dst, err
		}
	}
	return append(dst, '}'), nil
}

// appendDocument appends any value of a document.
func appendDocument(dst []byte, v any) (_ []byte, err error) {
	switch v := v.(type) {
	case object:
		return v.append(dst)
	case []object:
		dst = append(dst, '[')
		for i, o := range v {
			if i > 0 {
				dst = append(dst, ',')
			}
			if dst, err = o.append(dst); err != nil {
				return dst, err
			}
		}
		return append(dst, ']'), nil
	case string:
		return appendString(dst, v), nil
	case []string:
		return appendTexts(dst, v), nil
	case bool:
		return strconv.AppendBool(dst, v), nil
	case int:
		return strconv.AppendInt(dst, int64(v), 10), nil
	}
	b, err := plainJSON(v)
	return append(dst, b...), err
}

// plainJSON is json.Marshal that leaves &, < and > as they are.
func plainJSON(v any) ([]byte, error) {
	if o, ok := v.(object); ok {
		return o.append(nil)
	}
	b := &bytes.Buffer{}
	e := json.NewEncoder(b)
	e.SetEscapeHTML(false)
	err := e.Encode(v)
	return bytes.TrimSpace(b.Bytes()), err
}

// with returns the object with members added at its end.
func (o object) with(members ...member) object {
	return append(o[:len(o):len(o)], members...)
}

// get returns the value of a member; nil where there is none.
func (o object) get(name string) any {
	for _, m := range o {
		if m.name == name {
			return m.value
		}
	}
	return nil
}

// ref points to a component of the API definition.
func ref(kind, name string) object {
	return object{{"$ref", "#/components/" + kind + "/" + name}}
}
