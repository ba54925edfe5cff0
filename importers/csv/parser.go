package csv

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/importers/source"
)

// Parser reads rows. It implements source.Parser.
type Parser struct {
	header header
	comma  byte
	text   bytes.Reader
	cells  *csv.Reader
}

// NewParser returns a Parser, for use by one goroutine.
func (s *Source) NewParser() source.Parser {
	p := &Parser{header: s.header, comma: s.comma}
	p.reset()
	return p
}

func (p *Parser) reset() {
	p.cells = csv.NewReader(&p.text)
	p.cells.Comma = rune(p.comma)
	p.cells.ReuseRecord = true
	p.cells.FieldsPerRecord = -1
}

// Parse reads one row. Its cells become fields, text or null, in the header's
// order and without the coordinate columns. A cell in quotes has the newlines of
// its text; "\r\n" becomes "\n" there.
//
// GeometryProblem is set where coordinates are missing or cannot be read. A
// decimal comma is accepted in them where the delimiter is not a comma.
func (p *Parser) Parse(raw source.Raw, rec *source.Record) {
	rec.Reset()
	rec.Number = raw.Number
	if raw.Problem != nil {
		rec.Problem = raw.Problem
		return
	}
	cells, err := p.split(raw.Text)
	if err != nil {
		rec.Problem = &source.Problem{Reason: fmt.Sprintf("line %d: %v", raw.Line, err)}
		return
	}
	if len(cells) != len(p.header.names) {
		rec.Problem = &source.Problem{Reason: fmt.Sprintf("line %d: the row has %d cells; expected %d, as the header has", raw.Line, len(cells), len(p.header.names))}
		return
	}
	for i, cell := range cells {
		if !utf8.ValidString(cell) {
			rec.Fields = rec.Fields[:0]
			rec.Problem = &source.Problem{Field: p.header.names[i], Reason: fmt.Sprintf("line %d: %q is not UTF-8; convert the file to UTF-8", raw.Line, cell)}
			return
		}
		if i == p.header.lon || i == p.header.lat || i == p.header.wkt {
			continue
		}
		value := source.Value{Kind: source.Text, Text: cell}
		if cell == "" {
			value.Kind = source.Null
		}
		rec.Fields = append(rec.Fields, source.Field{Name: p.header.names[i], Value: value})
	}
	rec.Geometry, rec.GeometryProblem = p.geometry(cells)
}

// split returns the row's cells, good until the next call.
func (p *Parser) split(text []byte) ([]string, error) {
	p.text.Reset(text)
	from := p.cells.InputOffset()
	cells, err := p.cells.Read()
	if err == nil && p.cells.InputOffset()-from == int64(len(text)) {
		return cells, nil
	}
	// The reader may hold what is left of the bad row: take a new one.
	p.reset()
	var bad *csv.ParseError
	switch {
	case errors.As(err, &bad) && errors.Is(bad.Err, csv.ErrBareQuote):
		return nil, errors.New("a quote stands within a cell that is not in quotes; put the cell in quotes and double the quote")
	case errors.As(err, &bad) && errors.Is(bad.Err, csv.ErrQuote):
		return nil, errors.New("a quoted cell goes on after its closing quote; double the quotes inside it")
	case err == nil || errors.Is(err, io.EOF):
		return nil, errors.New("the row is not one row; is a carriage return out of place?")
	}
	return nil, err
}

func (p *Parser) geometry(cells []string) (orb.Geometry, *source.Problem) {
	h := &p.header
	switch {
	case h.wkt >= 0:
		shape, err := readWKT(cells[h.wkt])
		if err != nil {
			return nil, &source.Problem{Field: h.names[h.wkt], Reason: err.Error()}
		}
		return shape, nil
	case h.lon < 0:
		return nil, &source.Problem{Field: "geometry", Reason: "no coordinate columns"}
	}
	var point orb.Point
	for i, column := range [2]int{h.lon, h.lat} {
		degrees, err := p.degrees(cells[column])
		if err != nil {
			return nil, &source.Problem{Field: h.names[column], Reason: err.Error()}
		}
		point[i] = degrees
	}
	return point, nil
}

func (p *Parser) degrees(cell string) (float64, error) {
	text := strings.TrimSpace(cell)
	if text == "" {
		return 0, errors.New("no coordinate: the cell is empty")
	}
	if p.comma != ',' && strings.Count(text, ",") == 1 && !strings.Contains(text, ".") {
		text = strings.Replace(text, ",", ".", 1)
	}
	degrees, ok := number(text)
	if !ok {
		return 0, fmt.Errorf("coordinate %q is not a number; expected degrees such as -71.1167", shortened(cell))
	}
	return degrees, nil
}

// number reads a finite decimal number, and nothing else that Go takes for one.
func number(text string) (float64, bool) {
	for i := range len(text) {
		switch c := text[i]; {
		case c >= '0' && c <= '9', c == '.', c == '-', c == '+', c == 'e', c == 'E':
		default:
			return 0, false
		}
	}
	value, err := strconv.ParseFloat(text, 64)
	return value, err == nil && !math.IsInf(value, 0)
}

// shortened keeps a message readable however long the text it quotes.
func shortened(text string) string {
	const most = 60
	if len(text) <= most {
		return text
	}
	return strings.ToValidUTF8(text[:most], "") + "…"
}
