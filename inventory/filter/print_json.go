package filter

import (
	"strconv"

	"github.com/go-json-experiment/json/jsontext"
	"github.com/twpayne/go-geom"
)

// JSON writes a tree in the JSON encoding. What it writes is read back as the
// same tree.
func JSON(e Expr) []byte { return appendJSON(nil, e) }

func appendJSON(b []byte, e Expr) []byte {
	switch e := e.(type) {
	case *Property:
		b = append(b, `{"property":`...)
		return append(appendString(b, e.Name), '}')
	case *String:
		return appendString(b, e.Value)
	case *Number:
		return append(b, number(e.Value)...)
	case *Bool:
		return strconv.AppendBool(b, e.Value)
	case *Date:
		b = append(b, `{"date":`...)
		return append(appendString(b, instantString(e)), '}')
	case *Timestamp:
		b = append(b, `{"timestamp":`...)
		return append(appendString(b, instantString(e)), '}')
	case *Interval:
		b = append(b, `{"interval":[`...)
		b = append(appendEnd(b, e.Start), ',')
		return append(appendEnd(b, e.End), "]}"...)
	case *Geometry:
		return appendGeometry(b, e.Geometry)
	case *BBox:
		b = append(b, `{"bbox":`...)
		return append(appendNumbers(b, e.Numbers), '}')
	case *Array:
		return appendList(b, e.Items)
	case *Op:
		return appendCall(b, e.Name, e.Args)
	case *Call:
		return appendCall(b, e.Name, e.Args)
	}
	return append(b, "null"...)
}

func appendCall(b []byte, op string, args []Expr) []byte {
	b = append(b, `{"op":`...)
	b = append(appendString(b, op), `,"args":`...)
	return append(appendList(b, args), '}')
}

func appendList(b []byte, items []Expr) []byte {
	b = append(b, '[')
	for i, e := range items {
		if i > 0 {
			b = append(b, ',')
		}
		b = appendJSON(b, e)
	}
	return append(b, ']')
}

func appendEnd(b []byte, e Expr) []byte {
	switch e.(type) {
	case nil, *Date, *Timestamp:
		return appendString(b, instantString(e))
	}
	return appendJSON(b, e)
}

// appendString writes a string; one that is not UTF-8 cannot have been read.
func appendString(b []byte, s string) []byte {
	b, _ = jsontext.AppendQuote(b, s)
	return b
}

func appendNumbers(b []byte, list []float64) []byte {
	b = append(b, '[')
	for i, v := range list {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(b, number(v)...)
	}
	return append(b, ']')
}

func appendGeometry(b []byte, g geom.T) []byte {
	b = append(b, `{"type":"`...)
	b = append(b, kindOf(g)...)
	if c, ok := g.(*geom.GeometryCollection); ok {
		b = append(b, `","geometries":[`...)
		for i, part := range c.Geoms() {
			if i > 0 {
				b = append(b, ',')
			}
			b = appendGeometry(b, part)
		}
		return append(b, "]}"...)
	}
	b = append(b, `","coordinates":`...)
	return append(appendNested(b, nestedOf(g)), '}')
}

func appendNested(b []byte, c coordinates) []byte {
	if c.parts == nil {
		return appendNumbers(b, c.position)
	}
	b = append(b, '[')
	for i, part := range c.parts {
		if i > 0 {
			b = append(b, ',')
		}
		b = appendNested(b, part)
	}
	return append(b, ']')
}
