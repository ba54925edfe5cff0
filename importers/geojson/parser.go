package geojson

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"github.com/go-json-experiment/json/jsontext"

	"github.com/underbough/underbough/importers/source"
)

// maxDepth is how deep arrays and objects may nest in one record.
const maxDepth = 512

// Parser reads Features. It implements source.Parser.
type Parser struct {
	dec    *jsontext.Decoder
	buf    bytes.Buffer
	fields fieldReader
	shapes shapeReader
}

// NewParser returns a Parser, for use by one goroutine.
func (s *Source) NewParser() source.Parser { return &Parser{dec: new(jsontext.Decoder)} }

// Parse reads one Feature: its id, its properties in their order and its
// geometry. Of a property that comes twice the last value counts, in the place
// of the first. Numbers keep their digits; nested arrays and objects are kept as
// the JSON text they are. A Feature with no properties is fine.
//
// GeometryProblem is set where the geometry is missing, null, empty or not as
// RFC 7946 section 3.1 has it. The winding of rings is never a problem.
func (p *Parser) Parse(raw source.Raw, rec *source.Record) {
	rec.Reset()
	rec.Number = raw.Number
	rec.Problem = raw.Problem
	if rec.Problem == nil {
		rec.Problem = p.validate(raw)
	}
	if rec.Problem == nil {
		rec.Problem = p.feature(raw.Text, rec)
	}
	if rec.Problem != nil {
		*rec = source.Record{Number: rec.Number, ID: rec.ID, Fields: rec.Fields[:0], Problem: rec.Problem}
	}
}

// validate checks that the whole record is one JSON value in UTF-8 (RFC 8259),
// so that what reads it afterwards need not.
func (p *Parser) validate(raw source.Raw) *source.Problem {
	p.buf = *bytes.NewBuffer(raw.Text)
	p.dec.Reset(&p.buf, allowDuplicates)
	_, err := p.dec.ReadValue()
	at := p.dec.InputOffset()
	if err == nil {
		if _, err = p.dec.ReadToken(); err == io.EOF {
			return nil
		}
		return &source.Problem{Reason: fmt.Sprintf("there is more after the end of the Feature, %s; expected one Feature a record", place(raw, at, ""))}
	}
	syntax, ok := errors.AsType[*jsontext.SyntacticError](err)
	if !ok {
		return &source.Problem{Reason: fmt.Sprintf("the record is not valid JSON: %v, %s", err, place(raw, at, ""))}
	}
	why := syntax.Err
	if errors.Is(why, io.ErrUnexpectedEOF) {
		why = errors.New("the record ends too early")
	}
	return &source.Problem{Reason: fmt.Sprintf("the record is not valid JSON: %v, %s", why, place(raw, syntax.ByteOffset, syntax.JSONPointer))}
}

// place says where in the file a byte of a record is.
func place(raw source.Raw, offset int64, in jsontext.Pointer) string {
	where := fmt.Sprintf("at byte %d of the file", raw.Offset+offset)
	if in != "" {
		where += " in " + shortened(string(in))
	}
	if raw.Line > 0 {
		where += fmt.Sprintf(", line %d", raw.Line)
	}
	return where
}

var allowDuplicates = jsontext.AllowDuplicateNames(true)

// members are the texts of the Feature's members that are looked at last; nil
// where absent.
type members struct {
	kind, id, properties, crs []byte
	geometry                  bool
}

func (p *Parser) feature(text []byte, rec *source.Record) *source.Problem {
	c := cursor{b: text}
	if c.space() != '{' {
		return &source.Problem{Reason: fmt.Sprintf("the record is %s; expected a Feature object", kindOf(c.value()))}
	}
	p.fields.begin()
	m := p.members(&c, rec)
	if c.depth > maxDepth {
		return &source.Problem{Reason: fmt.Sprintf("arrays and objects nest %d deep; at most %d are read", c.depth, maxDepth)}
	}
	if problem := m.check(); problem != nil {
		return problem
	}
	p.fields.finish(m.id, rec)
	if !m.geometry {
		rec.GeometryProblem = &source.Problem{Field: "geometry", Reason: `no geometry: the Feature has no "geometry" member`}
	}
	return nil
}

// members reads the Feature's members in one go; of those that come twice the
// last one counts.
func (p *Parser) members(c *cursor, rec *source.Record) members {
	var m members
	for c.more() {
		c.level = 1
		switch name := c.key(); string(name) {
		case "type":
			m.kind = c.value()
		case "id":
			m.id = c.value()
		case "geometry":
			m.geometry = true
			rec.Geometry, rec.GeometryProblem = nil, nil
			c.level = 2
			p.geometry(c, rec)
		case "properties":
			from := c.i
			rec.Fields = rec.Fields[:0]
			p.fields.begin()
			if c.b[from] == '{' {
				c.level = 2
				p.fields.object(c, rec)
			} else {
				c.value()
			}
			m.properties = c.b[from:c.i]
		case "crs":
			m.crs = c.value()
		default:
			c.value()
		}
	}
	return m
}

func (p *Parser) geometry(c *cursor, rec *source.Record) {
	from := c.i
	p.shapes.holes = 0
	shape, err := p.shapes.read(c, 1)
	if err != nil {
		c.i, c.level = from, 1
		c.value()
		rec.GeometryProblem = &source.Problem{Field: "geometry", Reason: err.Error()}
		return
	}
	rec.Geometry = shape
	if p.shapes.holes > 0 {
		rec.Repair = fmt.Sprintf("%d holes of fewer than 4 positions left out", p.shapes.holes)
	}
}

func (m *members) check() *source.Problem {
	switch {
	case m.kind == nil:
		return &source.Problem{Field: "type", Reason: `the record has no "type"; expected "Feature"`}
	case string(m.kind) != `"Feature"` && unquoted(m.kind) != "Feature":
		return &source.Problem{Field: "type", Reason: fmt.Sprintf(`the record's type is %s; expected "Feature"`, kindOf(m.kind))}
	case m.id != nil && (m.id[0] == '{' || m.id[0] == '[' || m.id[0] == 't' || m.id[0] == 'f'):
		return &source.Problem{Field: "id", Reason: fmt.Sprintf("the id is %s; expected a string or a number", kindOf(m.id))}
	case m.properties != nil && m.properties[0] != '{' && m.properties[0] != 'n':
		return &source.Problem{Field: "properties", Reason: fmt.Sprintf("properties is %s; expected an object or null", kindOf(m.properties))}
	}
	if m.crs != nil {
		if err := checkCRS(m.crs); err != nil {
			return &source.Problem{Field: "crs", Reason: err.Error()}
		}
	}
	return nil
}
