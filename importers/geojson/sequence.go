package geojson

import (
	"bytes"
	"fmt"
	"io"

	"github.com/underbough/underbough/importers/source"
)

// recordSeparator stands before each text of a sequence (RFC 8142, RFC 7464).
const recordSeparator = 0x1E

// nextLine returns the next line that is not blank.
func (s *Source) nextLine() (source.Raw, error) {
	for {
		s.w.begin()
		ended := s.w.seek('\n')
		if !ended && s.failed() != nil {
			return source.Raw{}, s.failed()
		}
		s.line++
		if raw, ok := s.trimmed(); ok {
			raw.Line = s.line
			return raw, nil
		}
		if !ended {
			return source.Raw{}, io.EOF
		}
	}
}

// nextText returns the next text of a sequence. Separators with nothing between
// them are to be ignored (RFC 7464, 2.1).
func (s *Source) nextText() (source.Raw, error) {
	for {
		s.w.begin()
		ended := s.w.seek(recordSeparator)
		if !ended && s.failed() != nil {
			return source.Raw{}, s.failed()
		}
		if raw, ok := s.trimmed(); ok {
			return raw, nil
		}
		if !ended {
			return source.Raw{}, io.EOF
		}
	}
}

// trimmed makes a record of the held bytes without the space and separators
// around them; false if nothing is left.
func (s *Source) trimmed() (source.Raw, bool) {
	const around = " \t\r\n\x1e"
	raw := s.record(nil)
	text := bytes.TrimLeft(raw.Text, around)
	raw.Offset += int64(len(raw.Text) - len(text))
	raw.Text = bytes.TrimRight(text, around)
	if len(raw.Text) == 0 && raw.Problem == nil {
		s.number--
		return raw, false
	}
	return raw, true
}

// nextObject returns the next of a row of objects that need not be one a line.
func (s *Source) nextObject() (source.Raw, error) {
	c, ok := s.w.space()
	if !ok {
		if err := s.failed(); err != nil {
			return source.Raw{}, err
		}
		return source.Raw{}, io.EOF
	}
	if c != '{' {
		return source.Raw{}, s.w.expected("a Feature or the end of the file")
	}
	s.w.begin()
	if !s.w.value() {
		return source.Raw{}, s.w.expected("the end of the Feature that begins at byte " + fmt.Sprint(s.w.mark))
	}
	return s.record(nil), nil
}
