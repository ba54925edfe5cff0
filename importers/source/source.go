// Package source holds what every file format hands to the importer: records
// cut from a stream one after the other, and parsed on as many cores as there
// are.
//
// A format is two small types. Its Source cuts the stream into raw records and
// is used by one goroutine; its Parser turns a raw record into fields and a
// geometry and is used by one goroutine each, so that parsing runs in parallel
// while the order of the file is kept.
package source

import "github.com/paulmach/orb"

// Raw is the text of one record, with its place in the file.
type Raw struct {
	// Number counts records from 1: features in GeoJSON, data rows (the header
	// left out) in CSV.
	Number int64
	// Offset is the position of the record's first byte in the unpacked stream.
	Offset int64
	// Line is the line of the file the record begins on, from 1, in formats that
	// go by lines; 0 in the others.
	Line int64
	// Text is the record as it stands in the file. The Source does not touch it
	// after handing it over.
	Text []byte
	// Problem is set when the record could not even be cut from the stream,
	// such as JSON that breaks off half-way; Text then holds what there was.
	Problem *Problem
}

// Problem says why a record cannot be used.
type Problem struct {
	// Field is the source's name of the field at fault: a column, a property,
	// or "geometry"; empty when the whole record is at fault.
	Field string
	// Reason says what was found and what was expected.
	Reason string
}

// Error makes a Problem an error.
func (p *Problem) Error() string {
	if p.Field == "" {
		return p.Reason
	}
	return p.Field + ": " + p.Reason
}

// Kind is the type a value had in the source.
type Kind uint8

// The kinds of value a record can hold.
const (
	Null   Kind = iota // absent, JSON null, or an empty CSV cell
	Text               // a string
	Number             // a JSON number, its digits kept as written
	Bool               // "true" or "false"
	JSON               // a nested array or object, as JSON text
)

// Value is one field's value, kept as text so that no digit is lost.
type Value struct {
	Kind Kind
	Text string
}

// Field is one named value, in the order of the source.
type Field struct {
	Name  string
	Value Value
}

// Record is one parsed record.
type Record struct {
	Number   int64
	ID       Value // the GeoJSON Feature's own id; Null where there is none
	Geometry orb.Geometry
	// GeometryProblem is set where the geometry is missing, null or malformed.
	// It is apart from Problem because cuts and visits need no geometry.
	GeometryProblem *Problem
	Fields          []Field
	// Repair says what was mended in the geometry while reading it; empty where
	// nothing was.
	Repair string
	// Problem is set where the record as a whole cannot be read.
	Problem *Problem
}

// Reset empties the record for reuse, keeping the room of its fields.
func (r *Record) Reset() { *r = Record{Fields: r.Fields[:0]} }

// Source cuts a stream into records.
type Source interface {
	// Next returns the next record, or io.EOF after the last one. Any other
	// error means the stream itself failed and nothing more can be read; a
	// record that is merely bad comes back with its Problem set.
	Next() (Raw, error)
	// NewParser returns a parser for this source's records, for one goroutine.
	NewParser() Parser
}

// Parser turns raw records into records.
type Parser interface {
	// Parse fills rec from raw. It reports trouble in rec, never by panicking.
	// What it stores in rec must not alias raw.Text.
	Parse(raw Raw, rec *Record)
}
