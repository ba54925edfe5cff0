package geojson

import (
	"errors"
	"fmt"
	"io"

	"github.com/underbough/underbough/importers/source"
)

// Options sets the limits of a Source. The zero value is good.
type Options struct {
	// MaxRecord is the most bytes one Feature may take; 64 MB where it is 0. A
	// longer one comes back with its Problem set and reading goes on after it.
	MaxRecord int
}

const defaultMaxRecord = 64 << 20

// Source cuts a GeoJSON stream into Features. It implements source.Source.
type Source struct {
	w      window
	next   func() (source.Raw, error)
	number int64
	line   int64 // lines read so far, where records are lines
	stop   error // what Next returns from now on

	// Of a FeatureCollection:
	first    bool   // no element has been read yet
	kind     string // value of its "type" member, as JSON text; empty if not yet seen
	features bool   // its "features" member has been seen
}

// New finds out what form of GeoJSON r holds and returns a Source for it. A
// leading byte order mark is skipped. It is an error if r is empty, is not
// GeoJSON, holds a geometry with no Feature around it, or has a "crs" member
// before its features that names anything but longitude and latitude in WGS 84.
func New(r io.Reader, opts Options) (*Source, error) {
	if opts.MaxRecord <= 0 {
		opts.MaxRecord = defaultMaxRecord
	}
	s := &Source{w: window{r: r, limit: opts.MaxRecord}}
	if err := s.detect(); err != nil {
		if failed := s.failed(); failed != nil {
			err = failed
		}
		return nil, err
	}
	return s, nil
}

// Next returns the next Feature's text. A stream that stops being JSON gives one
// last record with its Problem set, which says at which byte, and then io.EOF. A
// "crs" member after the features that names anything but longitude and latitude
// in WGS 84 is an error: what was read before it is in other units.
// Text may share memory with its neighbours: clone it to keep it for long.
func (s *Source) Next() (source.Raw, error) {
	if s.stop != nil {
		return source.Raw{}, s.stop
	}
	raw, err := s.next()
	if err == nil {
		return raw, nil
	}
	if bad, ok := errors.AsType[*syntaxError](err); ok {
		if s.failed() == nil {
			s.stop = io.EOF
			return s.broken(bad), nil
		}
		err = s.failed()
	}
	s.stop = err
	return raw, err
}

// failed is the reader's own error, if the stream ended by one.
func (s *Source) failed() error {
	if s.w.err == nil || errors.Is(s.w.err, io.EOF) {
		return nil
	}
	return fmt.Errorf("read GeoJSON at byte %d: %w", s.w.base+int64(len(s.w.buf)), s.w.err)
}

// broken is the last record of a stream that stops being JSON. Its Text is the
// record that was being read, or the first few bytes of what is wrong.
func (s *Source) broken(bad *syntaxError) source.Raw {
	if !s.w.hold {
		s.w.begin()
		s.w.pos += len(s.w.atLeast(headSize))
	}
	raw := s.record(&source.Problem{Reason: bad.Error()})
	if raw.Offset > bad.offset {
		raw.Offset = bad.offset
	}
	return raw
}

// record makes the held bytes the next record.
func (s *Source) record(problem *source.Problem) source.Raw {
	text, whole := s.w.take()
	if !whole && problem == nil {
		problem = &source.Problem{Reason: fmt.Sprintf("the record at byte %d is longer than %d bytes, the most a record may take", s.w.mark, s.w.limit)}
	}
	s.number++
	return source.Raw{Number: s.number, Offset: s.w.mark, Text: text, Problem: problem}
}
