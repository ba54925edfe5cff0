package geojson

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
)

// detect looks at the beginning of the stream and chooses how to cut it.
func (s *Source) detect() error {
	head := s.w.atLeast(3)
	if bytes.HasPrefix(head, []byte("\xEF\xBB\xBF")) {
		s.w.pos += 3
	}
	c, ok := s.w.space()
	if !ok {
		return errors.New("the file is empty; expected GeoJSON")
	}
	switch c {
	case '{':
		return s.detectObject()
	case recordSeparator:
		s.next = s.nextText
		return nil
	}
	return fmt.Errorf("the file is not GeoJSON: %s", looksLike(s.w.atLeast(512)))
}

// looksLike says what a file that is not GeoJSON seems to be.
func looksLike(head []byte) string {
	for _, known := range []struct{ prefix, is string }{
		{"[", "it is a JSON array; put the Features in a FeatureCollection, or one a line"},
		{"\xFF\xFE", "it is text in UTF-16; convert it to UTF-8"},
		{"\xFE\xFF", "it is text in UTF-16; convert it to UTF-8"},
		{"{\x00", "it is text in UTF-16; convert it to UTF-8"},
		{"\x00", "it is binary, or text in UTF-16 or UTF-32; convert it to UTF-8"},
		{"<!DOCTYPE html", "it is a web page"},
		{"<html", "it is a web page"},
		{"<", "it is XML, such as KML, GML or a web page"},
		{"PK\x03\x04", "it is a zip archive; unpack it first"},
		{"\x1F\x8B", "it is packed with gzip; unpack it first"},
		{"BZh", "it is packed with bzip2; unpack it first"},
		{"\x28\xB5\x2F\xFD", "it is packed with zstd; unpack it first"},
		{"%PDF", "it is a PDF"},
		{"SQLite format 3", "it is a SQLite database, such as a GeoPackage"},
		{"\x00\x00\x27\x0A", "it is a shapefile"},
		{"PAR1", "it is a Parquet file"},
	} {
		if len(head) >= len(known.prefix) && strings.EqualFold(string(head[:len(known.prefix)]), known.prefix) {
			return known.is
		}
	}
	line, _, _ := bytes.Cut(head, []byte("\n"))
	return fmt.Sprintf("it begins with %q; expected an opening brace", shortened(string(line)))
}

// detectObject reads as much of the first object as it takes to know whether it
// is a collection or the first of a sequence of Features.
func (s *Source) detectObject() error {
	s.w.begin()
	from := s.w.offset()
	if head := s.w.atLeast(2); len(head) == 2 && head[1] == 0 {
		return fmt.Errorf("the file is not GeoJSON: %s", looksLike(head))
	}
	kind := s.rootType()
	if s.w.tooMuch() {
		return s.giant()
	}
	s.w.rewind(from)
	switch kind {
	case "FeatureCollection":
		s.w.hold = false
		return s.openCollection()
	case "Point", "MultiPoint", "LineString", "MultiLineString", "Polygon", "MultiPolygon", "GeometryCollection":
		return fmt.Errorf(`the file holds a bare %s; put it into a Feature: {"type": "Feature", "properties": {…}, "geometry": …}`, kind)
	case "Topology":
		return errors.New("the file is TopoJSON; convert it to GeoJSON")
	}
	if strings.EqualFold(kind, "FeatureCollection") {
		return fmt.Errorf(`the file's "type" is %q; expected "FeatureCollection", spelled just so`, kind)
	}
	lines := s.oneALine()
	if s.w.tooMuch() {
		return s.giant()
	}
	s.w.rewind(from)
	s.w.hold = false
	s.next = s.nextObject
	if lines {
		s.next, s.line = s.nextLine, int64(bytes.Count(s.w.buf[:s.w.pos], []byte("\n")))
	}
	return nil
}

func (s *Source) giant() error {
	return fmt.Errorf("the first record is longer than %d bytes, the most a record may take", s.w.limit)
}

// oneALine reports whether the first object ends where its line ends, or breaks
// off there, so that each line can be taken for a record. The other way is one
// object, or more, spread over lines as they like.
func (s *Source) oneALine() bool {
	var open []byte // the brackets that are open
	var last byte   // the last byte that is not white space
	for {
		c, ok := s.w.peek()
		if !ok {
			return true
		}
		if s.w.tooMuch() {
			return false
		}
		switch c {
		case '\n':
			return s.brokenLine(open, last)
		case '"':
			if !s.textInLine() {
				return true // no string goes over a line's end
			}
			last = c
			continue
		case '{', '[':
			open = append(open, c)
		case '}', ']':
			if len(open) <= 1 {
				s.w.pos++
				return s.restOfLine()
			}
			open = open[:len(open)-1]
		}
		if !isSpace(c) {
			last = c
		}
		s.w.pos++
	}
}

// textInLine moves past a string; false where its line ends before it does.
func (s *Source) textInLine() bool {
	escaped := false
	for s.w.pos++; ; s.w.pos++ {
		c, ok := s.w.peek()
		switch {
		case !ok || c == '\n':
			return false
		case escaped:
			escaped = false
		case c == '"':
			s.w.pos++
			return true
		case c == '\\':
			escaped = true
		}
	}
}

// restOfLine reports whether no second object stands in the first one's line.
func (s *Source) restOfLine() bool {
	for {
		c, ok := s.w.peek()
		if !ok || c == '\n' {
			return true
		}
		if !isSpace(c) {
			return c != '{'
		}
		s.w.pos++
	}
}

// brokenLine reports whether the next line begins with an object where the one
// that is open has no place for it.
func (s *Source) brokenLine(open []byte, last byte) bool {
	if c, ok := s.w.space(); !ok || c != '{' && c != recordSeparator {
		return false
	}
	inArray := len(open) > 0 && open[len(open)-1] == '['
	return last != ':' && !(inArray && (last == ',' || last == '['))
}

// rootType returns the first object's type as far as it can be told: an object
// with an array of features before any type is taken for a collection.
func (s *Source) rootType() string {
	for first := true; ; first = false {
		name, more, err := s.w.key(first)
		if err != nil || !more {
			return ""
		}
		if c, ok := s.w.peek(); ok && name == "features" && c == '[' {
			return "FeatureCollection"
		}
		from := s.w.offset()
		if !s.w.value() || s.w.over {
			return ""
		}
		if name == "type" {
			return unquoted(s.w.since(from))
		}
	}
}
