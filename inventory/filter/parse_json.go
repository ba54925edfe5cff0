package filter

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/go-json-experiment/json/jsontext"
	"github.com/twpayne/go-geom"
)

// ParseJSON reads the JSON encoding (cql2-json). An error is an *Error that
// tells the path.
func ParseJSON(b []byte) (Expr, error) {
	if len(b) > MaxLength {
		return nil, &Error{At: -1, Msg: "the filter is longer than 1 MiB"}
	}
	r := &reader{Decoder: jsontext.NewDecoder(bytes.NewReader(b))}
	e, err := r.expression()
	if err == nil {
		if _, isList := e.(*Array); isList {
			err = errors.New("found a list: expected a predicate")
		}
	}
	if err == nil {
		if _, tail := r.ReadToken(); !errors.Is(tail, io.EOF) {
			err = errors.New("found more behind the filter: expected its end")
		}
	}
	if err != nil {
		return nil, r.located(err)
	}
	return e, nil
}

// reader reads the encoding value by value, so that nothing is held that is not
// part of the tree.
type reader struct {
	*jsontext.Decoder
	depth    int
	nodes    int
	vertices int
}

// located tells where an error was met.
func (r *reader) located(err error) *Error {
	var known *Error
	var syntax *jsontext.SyntacticError
	switch {
	case errors.As(err, &known):
		return known
	case errors.As(err, &syntax) && errors.Is(err, io.ErrUnexpectedEOF):
		return &Error{At: -1, Path: string(syntax.JSONPointer), Msg: "the JSON ends early"}
	case errors.As(err, &syntax):
		return &Error{At: -1, Path: string(syntax.JSONPointer), Msg: fmt.Sprintf("not JSON at byte %d: %s", syntax.ByteOffset+1, strings.TrimPrefix(syntax.Err.Error(), "jsontext: "))}
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return &Error{At: -1, Path: string(r.StackPointer()), Msg: "the JSON ends early"}
	}
	return &Error{At: -1, Path: string(r.StackPointer()), Msg: err.Error()}
}

// at makes an error about a place that has been read already.
func (r *reader) at(path string, err error) error {
	return &Error{At: -1, Path: path, Msg: err.Error()}
}

func (r *reader) node() error {
	if r.nodes++; r.nodes > MaxNodes {
		return fmt.Errorf("the filter has more than %d parts", MaxNodes)
	}
	return nil
}

// expression reads any value of the encoding.
func (r *reader) expression() (Expr, error) {
	if r.depth++; r.depth > MaxDepth {
		return nil, fmt.Errorf("expressions are nested more than %d deep", MaxDepth)
	}
	defer func() { r.depth-- }()
	if err := r.node(); err != nil {
		return nil, err
	}
	switch k := r.PeekKind(); k {
	case '"':
		s, err := r.text()
		return &String{Value: s}, err
	case '0':
		v, err := r.number()
		return &Number{Value: v}, err
	case 't', 'f':
		_, err := r.ReadToken()
		return &Bool{Value: k == 't'}, err
	case '[':
		items, err := r.list()
		return &Array{Items: items}, err
	case '{':
		return r.object()
	case 'n':
		return nil, r.skip("found null: to test for it use the op isNull")
	}
	return nil, r.skip("expected a value")
}

// skip reads the next token for its place and says what is wrong with it.
func (r *reader) skip(message string) error {
	if _, err := r.ReadToken(); err != nil {
		return err
	}
	return errors.New(message)
}

// text reads a string.
func (r *reader) text() (string, error) {
	t, err := r.ReadToken()
	switch {
	case err != nil:
		return "", err
	case t.Kind() != '"':
		return "", fmt.Errorf("found %s: expected a string", kindName(t.Kind()))
	}
	s := t.String()
	switch {
	case len(s) > MaxLiteral:
		return "", fmt.Errorf("a text of %d bytes: at most %d are read", len(s), MaxLiteral)
	case strings.ContainsRune(s, 0):
		return "", errors.New("the text holds a character of code 0")
	}
	return s, nil
}

// number reads a number.
func (r *reader) number() (float64, error) {
	t, err := r.ReadToken()
	switch {
	case err != nil:
		return 0, err
	case t.Kind() != '0':
		return 0, fmt.Errorf("found %s: expected a number", kindName(t.Kind()))
	}
	v, err := strconv.ParseFloat(t.String(), 64)
	if err != nil {
		return 0, fmt.Errorf("the number %s is too large", quoted(t.String()))
	}
	return v, nil
}

func kindName(k jsontext.Kind) string {
	switch k {
	case '"':
		return "a string"
	case '0':
		return "a number"
	case '{':
		return "an object"
	case '[':
		return "a list"
	}
	return k.String()
}

// each calls item for every element of an array.
func (r *reader) each(item func() error) error {
	t, err := r.ReadToken()
	switch {
	case err != nil:
		return err
	case t.Kind() != '[':
		return fmt.Errorf("found %s: expected a list", kindName(t.Kind()))
	}
	for r.PeekKind() != ']' {
		if err := item(); err != nil {
			return err
		}
	}
	_, err = r.ReadToken()
	return err
}

// list reads an array of expressions.
func (r *reader) list() (items []Expr, err error) {
	err = r.each(func() error {
		e, err := r.expression()
		if items = append(items, e); len(items) > MaxItems {
			return fmt.Errorf("a list of more than %d items", MaxItems)
		}
		return err
	})
	return items, err
}

// members are those of an object, of whatever kind it turns out to be.
type members struct {
	has                       map[string]bool
	op, property, date, stamp string
	kind                      string
	args, interval            []Expr
	bbox                      []float64
	coordinates               coordinates
	geometries                []geom.T
}

// object reads an object and tells by its members what it is.
func (r *reader) object() (Expr, error) {
	if _, err := r.ReadToken(); err != nil {
		return nil, err
	}
	path := string(r.StackPointer())
	m := members{has: map[string]bool{}}
	for r.PeekKind() != '}' {
		key, err := r.ReadToken()
		if err != nil {
			return nil, err
		}
		name := key.String()
		m.has[name] = true
		if err := r.member(name, &m); err != nil {
			return nil, err
		}
	}
	if _, err := r.ReadToken(); err != nil {
		return nil, err
	}
	e, err := m.expression()
	if err != nil {
		var known *Error
		if errors.As(err, &known) {
			return nil, err
		}
		return nil, r.at(path, err)
	}
	return e, nil
}

// member reads the value of a member.
func (r *reader) member(name string, m *members) (err error) {
	switch name {
	case "op":
		m.op, err = r.text()
	case "args":
		m.args, err = r.list()
	case "property":
		m.property, err = r.text()
	case "date":
		m.date, err = r.text()
	case "timestamp":
		m.stamp, err = r.text()
	case "interval":
		m.interval, err = r.list()
	case "type":
		m.kind, err = r.text()
	case "bbox":
		err = r.each(func() error {
			v, err := r.number()
			if m.bbox = append(m.bbox, v); len(m.bbox) > 6 {
				return errors.New("a box of more than 6 numbers")
			}
			return err
		})
	case "coordinates":
		m.coordinates, err = r.coordinates(0)
	case "geometries":
		err = r.each(func() error {
			e, err := r.expression()
			if err != nil {
				return err
			}
			g, ok := e.(*Geometry)
			if !ok || kindOf(g.Geometry) == "GeometryCollection" {
				return fmt.Errorf("found %s: expected a geometry that is no collection", describe(e))
			}
			m.geometries = append(m.geometries, g.Geometry)
			return nil
		})
	default:
		return fmt.Errorf("found a member %s: expected op and args, property, date, timestamp, interval, bbox, or a geometry", quoted(name))
	}
	return err
}

// coordinates reads the coordinates of a geometry, nested as they come.
func (r *reader) coordinates(depth int) (c coordinates, err error) {
	if depth > 4 {
		return c, errors.New("coordinates nested too deep for any geometry")
	}
	err = r.each(func() error {
		if r.PeekKind() == '[' {
			part, err := r.coordinates(depth + 1)
			c.parts = append(c.parts, part)
			return err
		}
		v, err := r.number()
		if c.position = append(c.position, v); len(c.position) > 3 {
			return errors.New("a position of more than three numbers")
		}
		return err
	})
	if r.vertices++; err == nil && r.vertices > MaxVertices {
		err = fmt.Errorf("the geometries have more than %d positions", MaxVertices)
	}
	if err == nil && (len(c.position) > 0) == (len(c.parts) > 0) {
		err = errors.New("expected either numbers or lists, and one at least")
	}
	return c, err
}
