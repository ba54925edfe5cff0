package filter

import (
	"strings"

	"github.com/twpayne/go-geom"
)

// coordinates are the numbers of a geometry as GeoJSON nests them: a position,
// or a list of what is one level down.
type coordinates struct {
	position []float64
	parts    []coordinates
}

// geometry reads a geometry in WKT.
func (p *parser) geometry() (Expr, error) {
	start := p.token.at
	g, err := p.tagged()
	if err != nil {
		return nil, err
	}
	return &Geometry{start, g}, p.node(start)
}

// tagged reads a geometry from its name on.
func (p *parser) tagged() (geom.T, error) {
	t := p.token
	s := shapes[strings.ToLower(t.value)]
	if t.kind != word || s == nil {
		return nil, p.unexpected("a geometry such as POINT(x y)")
	}
	p.advance()
	if p.token.isWord("z") {
		p.advance()
	}
	if p.token.isWord("empty") {
		return nil, errorAt(p.token.at, "an empty geometry: expected coordinates in brackets")
	}
	if s.depth < 0 {
		return p.collection(t.at)
	}
	c, err := p.coordinates(s, s.depth)
	if err != nil {
		return nil, err
	}
	g, err := s.build(c)
	if err != nil {
		return nil, errorAt(t.at, "%s: %s", strings.ToUpper(t.value), err)
	}
	return g, nil
}

// coordinates reads a list in brackets of what is one level down. A point's
// brackets hold its position alone.
func (p *parser) coordinates(s *shapeOf, depth int) (c coordinates, err error) {
	if depth == 0 && s.name != "Point" {
		return p.position()
	}
	if err := p.expect("(", "around coordinates"); err != nil {
		return c, err
	}
	for depth > 0 {
		var part coordinates
		if s.name == "MultiPoint" && p.token.is("(") {
			p.advance()
			if part, err = p.position(); err == nil {
				err = p.expect(")", "after the point")
			}
		} else {
			part, err = p.coordinates(s, depth-1)
		}
		if err != nil {
			return c, err
		}
		c.parts = append(c.parts, part)
		if !p.token.is(",") {
			break
		}
		p.advance()
	}
	if depth == 0 {
		if c, err = p.position(); err != nil {
			return c, err
		}
	}
	return c, p.expect(")", "or \",\" after coordinates")
}

// position reads the two or three numbers of a position.
func (p *parser) position() (c coordinates, err error) {
	if p.vertices++; p.vertices > MaxVertices {
		return c, errorAt(p.token.at, "the geometries have more than %d positions", MaxVertices)
	}
	start := p.token.at
	for p.token.kind == numeral || p.token.is("-") || p.token.is("+") {
		v, err := p.coordinate()
		if err != nil {
			return c, err
		}
		c.position = append(c.position, v)
		if len(c.position) > 3 {
			return c, errorAt(start, "a position of more than three numbers")
		}
	}
	if len(c.position) < 2 {
		return c, p.unexpected("a number: a position has two or three")
	}
	return c, nil
}

// coordinate reads a number with or without sign.
func (p *parser) coordinate() (float64, error) {
	factor := 1.0
	if p.token.is("-") || p.token.is("+") {
		if p.token.is("-") {
			factor = -1
		}
		p.advance()
	}
	if p.token.kind != numeral {
		return 0, p.unexpected("a number")
	}
	v := factor * p.token.num
	p.advance()
	return v, nil
}

// collection reads the geometries of a collection.
func (p *parser) collection(start at) (geom.T, error) {
	if err := p.expect("(", "around the geometries"); err != nil {
		return nil, err
	}
	var list []geom.T
	for {
		if p.token.isWord("geometrycollection") {
			return nil, p.unexpected("no collection in a collection")
		}
		g, err := p.tagged()
		if err != nil {
			return nil, err
		}
		if err := p.node(start); err != nil {
			return nil, err
		}
		list = append(list, g)
		if !p.token.is(",") {
			break
		}
		p.advance()
	}
	if err := p.expect(")", "or \",\" after a geometry"); err != nil {
		return nil, err
	}
	g, err := collect(list)
	if err != nil {
		return nil, errorAt(start, "GEOMETRYCOLLECTION: %s", err)
	}
	return g, nil
}

// box reads BBOX(…) behind the bracket.
func (p *parser) box(t token) (Expr, error) {
	var numbers []float64
	for {
		v, err := p.coordinate()
		if err != nil {
			return nil, err
		}
		if numbers = append(numbers, v); len(numbers) > 6 || !p.token.is(",") {
			break
		}
		p.advance()
	}
	if n := len(numbers); n != 4 && n != 6 {
		return nil, errorAt(t.at, "BBOX has %d numbers: expected 4 or 6", n)
	}
	if err := p.expect(")", "after the numbers of BBOX"); err != nil {
		return nil, err
	}
	return &BBox{at: t.at, Numbers: numbers}, p.node(t.at)
}
