package filter

import (
	"errors"
	"fmt"
	"strings"

	"github.com/twpayne/go-geom"
)

// expression makes of an object's members what they stand for.
func (m *members) expression() (Expr, error) {
	switch {
	case m.has["op"]:
		return m.operation()
	case m.only("property"):
		if m.property == "" {
			return nil, errors.New("an empty property name")
		}
		return &Property{Name: m.property}, nil
	case m.only("date"):
		t, ok := parseDate(m.date)
		if !ok {
			return nil, fmt.Errorf("%s is no date: expected one such as 2026-01-31", quoted(m.date))
		}
		return &Date{Value: t}, nil
	case m.only("timestamp"):
		t, ok := parseTimestamp(m.stamp)
		if !ok {
			return nil, fmt.Errorf("%s is no timestamp: expected one in UTC such as 2026-01-31T12:00:00Z", quoted(m.stamp))
		}
		return &Timestamp{Value: t}, nil
	case m.only("interval"):
		return m.ends()
	case m.has["type"]:
		g, err := m.geometry()
		return &Geometry{Geometry: g}, err
	case m.only("bbox"):
		if n := len(m.bbox); n != 4 && n != 6 {
			return nil, fmt.Errorf("bbox has %d numbers: expected 4 or 6", n)
		}
		return &BBox{Numbers: m.bbox}, nil
	}
	return nil, errors.New("expected one of: op and args, property, date, timestamp, interval, bbox, or a geometry with type and coordinates")
}

// only reports whether the object has just one member, and that one.
func (m *members) only(name string) bool { return m.has[name] && len(m.has) == 1 }

// operation makes an operation of the right shape, or the call of a function.
func (m *members) operation() (Expr, error) {
	if !m.has["args"] || len(m.has) > 2 {
		return nil, errors.New("expected op with args and nothing else")
	}
	if _, ok := operations[m.op]; ok {
		return &Op{Name: m.op, Args: m.args}, shape(m.op, m.args)
	}
	if err := callName(m.op); err != nil {
		return nil, err
	}
	return &Call{Name: m.op, Args: m.args}, nil
}

// ends makes an interval, whose literal ends are plain strings.
func (m *members) ends() (Expr, error) {
	if len(m.interval) != 2 {
		return nil, fmt.Errorf("interval has %d ends: expected 2", len(m.interval))
	}
	var ends [2]Expr
	for i, e := range m.interval {
		if s, ok := e.(*String); ok {
			if e, ok = intervalEnd(s.Value, at{}); !ok {
				return nil, fmt.Errorf("%s is no end of an interval: expected a date, a timestamp in UTC or \"..\"", quoted(s.Value))
			}
		}
		if err := intervalMember(e); err != nil {
			return nil, err
		}
		ends[i] = e
	}
	return &Interval{Start: ends[0], End: ends[1]}, nil
}

// geometry makes a GeoJSON geometry.
func (m *members) geometry() (geom.T, error) {
	s := shapes[strings.ToLower(m.kind)]
	if s == nil || s.name != m.kind {
		return nil, fmt.Errorf("type is %s: expected a geometry such as Point or Polygon", quoted(m.kind))
	}
	body := "coordinates"
	if s.depth < 0 {
		body = "geometries"
	}
	for name := range m.has {
		if name != "type" && name != "bbox" && name != body {
			return nil, fmt.Errorf("a %s has %s: expected type and %s", s.name, quoted(name), body)
		}
	}
	if !m.has[body] {
		return nil, fmt.Errorf("a %s has no %s", s.name, body)
	}
	if s.depth < 0 {
		return collect(m.geometries)
	}
	if !nested(m.coordinates, s.depth) {
		return nil, fmt.Errorf("the coordinates of a %s are lists %d deep", s.name, s.depth+1)
	}
	return s.build(m.coordinates)
}

// nested reports whether coordinates are just depth levels above positions of
// two numbers or more.
func nested(c coordinates, depth int) bool {
	if depth == 0 {
		return len(c.position) >= 2
	}
	for _, p := range c.parts {
		if !nested(p, depth-1) {
			return false
		}
	}
	return len(c.parts) > 0
}
