// Package csv reads delimited text with a header row (RFC 4180, with comma,
// semicolon, tab or bar between cells) as a stream of records.
//
// The Source finds where each row begins and ends, quoted cells with newlines
// included, and the Parser splits rows into cells on as many goroutines as there
// are. The coordinate columns become the geometry and are left out of the
// fields; all other cells are text, and null where they are empty.
package csv

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"github.com/underbough/underbough/importers/source"
)

// Options names the columns that hold coordinates and sets limits. The zero
// value finds the columns by their names.
type Options struct {
	// Longitude and Latitude name the columns of coordinates in degrees, and WKT
	// the column of geometries as well-known text. Either the first two are given
	// or the last, or none. Names must be as in the header.
	Longitude, Latitude, WKT string
	// Delimiter stands between cells; found from the header where it is 0.
	Delimiter byte
	// MaxRecord is the most bytes a row may take; 64 MB where it is 0. A longer
	// one comes back with its Problem set and reading goes on after it.
	MaxRecord int
}

const defaultMaxRecord = 64 << 20

// Source cuts delimited text into rows. It implements source.Source.
type Source struct {
	cut    cutter
	header header
	comma  byte
	text   string // the header row as it stands
	number int64
	stop   error // what Next returns from now on
}

// New reads the header row. It is an error if there is none, if a name in it is
// missing or repeats, or if a column named in opts is not in it. A leading byte
// order mark is skipped.
func New(r io.Reader, opts Options) (*Source, error) {
	if opts.MaxRecord <= 0 {
		opts.MaxRecord = defaultMaxRecord
	}
	if opts.Delimiter >= 0x80 {
		return nil, fmt.Errorf("the delimiter is byte %#x; expected an ASCII character", opts.Delimiter)
	}
	s := &Source{cut: cutter{r: r, limit: opts.MaxRecord}}
	if err := s.cut.begin(); err != nil {
		return nil, err
	}
	s.cut.comma = [4]byte{',', ';', '\t', '|'}
	if opts.Delimiter != 0 {
		s.cut.comma = [4]byte{opts.Delimiter, opts.Delimiter, opts.Delimiter, opts.Delimiter}
	}
	row, err := s.cut.next()
	switch {
	case errors.Is(err, io.EOF):
		return nil, errors.New("the file is empty; expected a header row")
	case err != nil:
		return nil, fmt.Errorf("read the header row: %w", err)
	case row.trouble != "":
		return nil, fmt.Errorf("read the header row: %s", row.trouble)
	}
	s.comma = opts.Delimiter
	if s.comma == 0 {
		s.comma = delimiter(row.text)
	}
	s.cut.comma = [4]byte{s.comma, s.comma, s.comma, s.comma}
	s.header, err = readHeader(row.text, s.comma, opts)
	if err != nil {
		return nil, err
	}
	s.text = string(row.text)
	return s, nil
}

// Header returns the header row as it stands in the file.
func (s *Source) Header() string { return s.text }

// Coordinates returns the names of the columns the geometry is read from: a
// longitude and a latitude, or a WKT column, or none.
func (s *Source) Coordinates() (lon, lat, wkt string) {
	name := func(i int) string {
		if i < 0 {
			return ""
		}
		return s.header.names[i]
	}
	return name(s.header.lon), name(s.header.lat), name(s.header.wkt)
}

// Columns returns the header's names, in order.
func (s *Source) Columns() []string { return append([]string(nil), s.header.names...) }

// Delimiter returns what stands between cells.
func (s *Source) Delimiter() rune { return rune(s.comma) }

// Next returns the next row, without the newline that ends it. Empty lines are
// passed over. A quote that is never closed gives one last record, up to the end
// of the file or as much as a record may hold, with its Problem set.
// Text may share memory with its neighbours: clone it to keep it for long.
func (s *Source) Next() (source.Raw, error) {
	if s.stop != nil {
		return source.Raw{}, s.stop
	}
	row, err := s.cut.next()
	if err != nil {
		s.stop = err
		if !errors.Is(err, io.EOF) {
			s.stop = fmt.Errorf("read row %d: %w", s.number+1, err)
		}
		return source.Raw{}, s.stop
	}
	s.number++
	raw := source.Raw{Number: s.number, Offset: row.offset, Line: row.line, Text: row.text}
	if row.trouble != "" {
		raw.Problem = &source.Problem{Reason: fmt.Sprintf("line %d: %s", row.line, row.trouble)}
	}
	return raw, nil
}

// delimiter returns the byte that stands most often between the header's cells;
// a comma where there is none of the four.
func delimiter(header []byte) byte {
	best, most := byte(','), 0
	for _, c := range []byte(",;\t|") {
		if n := countOutside(header, c); n > most {
			best, most = c, n
		}
	}
	return best
}

func countOutside(row []byte, c byte) int {
	n := 0
	for i, part := range bytes.Split(row, []byte{'"'}) {
		if i%2 == 0 {
			n += bytes.Count(part, []byte{c})
		}
	}
	return n
}
