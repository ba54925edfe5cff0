package geojson

import (
	"errors"
	"fmt"
	"io"

	"github.com/underbough/underbough/importers/source"
)

// openCollection reads a FeatureCollection's members up to its features.
func (s *Source) openCollection() error {
	opened, err := s.members(true)
	if err != nil {
		return err
	}
	if !opened {
		return s.checkCollection()
	}
	s.first, s.next = true, s.element
	return nil
}

// element reads the next element of the features array, and after the last one
// the rest of the file.
func (s *Source) element() (source.Raw, error) {
	c, ok := s.w.space()
	switch {
	case ok && c == ']':
		s.w.pos++
		return source.Raw{}, s.finish()
	case s.first:
		s.first = false
	case ok && c == ',':
		s.w.pos++
		c, ok = s.w.space()
	default:
		return source.Raw{}, s.w.expected("a comma or ] after a feature")
	}
	if !ok || c == ',' || c == ']' || c == '}' {
		return source.Raw{}, s.w.expected("a feature")
	}
	s.w.begin()
	if !s.w.value() {
		return source.Raw{}, s.w.expected("the end of the feature that begins at byte " + fmt.Sprint(s.w.mark))
	}
	return s.record(nil), nil
}

// finish reads what follows the features: more members and nothing else.
func (s *Source) finish() error {
	opened, err := s.members(false)
	if err != nil {
		return err
	}
	if opened {
		return errors.New(`the FeatureCollection has two "features" members; keep one of them`)
	}
	if err := s.checkCollection(); err != nil {
		return err
	}
	if _, ok := s.w.space(); ok {
		return s.w.expected("nothing after the end of the FeatureCollection")
	}
	if err := s.failed(); err != nil {
		return err
	}
	return io.EOF
}

// members reads the collection's members until its features array opens, which
// it reports, or the collection ends.
func (s *Source) members(first bool) (bool, error) {
	for {
		s.w.begin()
		name, more, err := s.w.key(first)
		s.w.hold = false
		if err != nil || !more {
			return false, err
		}
		first = false
		if name == "features" {
			return true, s.openFeatures()
		}
		if err := s.member(name); err != nil {
			return false, err
		}
	}
}

func (s *Source) openFeatures() error {
	if c, ok := s.w.peek(); !ok || c != '[' {
		return s.w.expected(`an array of features as the "features" member`)
	}
	s.w.pos++
	s.features = true
	return nil
}

// member reads one member's value, and looks at it where it matters.
func (s *Source) member(name string) error {
	if name == "type" || name == "crs" {
		s.w.begin()
	}
	if !s.w.value() {
		s.w.hold = false
		return s.w.expected(fmt.Sprintf("the value of member %q", name))
	}
	if !s.w.hold {
		return nil
	}
	value, whole := s.w.take()
	if !whole {
		return fmt.Errorf("the collection's member %q is longer than %d bytes", name, s.w.limit)
	}
	if name == "crs" {
		return checkCRS(value)
	}
	s.kind = string(value)
	return s.checkType()
}

func (s *Source) checkType() error {
	if unquoted([]byte(s.kind)) == "FeatureCollection" && s.kind[0] == '"' {
		return nil
	}
	return fmt.Errorf(`the collection's "type" is %s; expected "FeatureCollection", spelled just so`, shortened(s.kind))
}

// checkCollection looks, at its end, for what a collection must have.
func (s *Source) checkCollection() error {
	if s.kind == "" {
		return errors.New(`the collection has no "type" member; expected "type": "FeatureCollection"`)
	}
	if !s.features {
		return errors.New(`the FeatureCollection has no "features" member`)
	}
	return nil
}

// shortened keeps a message readable however long the text it quotes.
func shortened(text string) string {
	const most = 60
	if len(text) <= most {
		return text
	}
	cut := most
	for cut > 0 && text[cut]&0xC0 == 0x80 {
		cut--
	}
	return text[:cut] + "…"
}
