package geojson

import (
	"bytes"

	"github.com/go-json-experiment/json/jsontext"

	"github.com/underbough/underbough/importers/source"
)

// fieldReader reads properties. The texts of one record's values share one
// string, and the names are those of the record before where they are the same:
// two allocations a record instead of two a property.
type fieldReader struct {
	names []string       // of the last record, in order
	text  []byte         // of this record's values, one after the other
	ends  []int          // where in text each field's value ends
	fresh bool           // some name is not as in the last record
	seen  map[string]int // where each name of this record stands
}

func (f *fieldReader) begin() { f.text, f.ends, f.fresh = f.text[:0], f.ends[:0], false }

// object appends the fields of the object at the cursor, their texts still to
// come, and moves past it.
func (f *fieldReader) object(c *cursor, rec *source.Record) {
	for i := 0; c.more(); i++ {
		name := c.key()
		if i >= len(f.names) || string(name) != f.names[i] {
			f.fresh = true
			f.names = append(f.names[:i], string(name))
		}
		kind := f.add(c.value())
		f.ends = append(f.ends, len(f.text))
		rec.Fields = append(rec.Fields, source.Field{Name: f.names[i], Value: source.Value{Kind: kind}})
	}
}

// finish gives the fields their texts, and the record its id, which may be nil.
func (f *fieldReader) finish(id []byte, rec *source.Record) {
	if id != nil {
		rec.ID.Kind = f.add(id)
	}
	shared := string(f.text)
	from := 0
	for i, end := range f.ends {
		rec.Fields[i].Value.Text = shared[from:end]
		from = end
	}
	rec.ID.Text = shared[from:]
	if f.fresh {
		// The names remembered never repeat: dropRepeats forgets them if they do.
		f.dropRepeats(rec)
	}
}

// add appends a value's text and returns its kind.
func (f *fieldReader) add(value []byte) source.Kind {
	switch value[0] {
	case 'n':
		return source.Null
	case 't', 'f':
		f.text = append(f.text, value...)
		return source.Bool
	case '{', '[':
		f.text = append(f.text, value...)
		return source.JSON
	case '"':
		if bytes.IndexByte(value, '\\') < 0 {
			f.text = append(f.text, value[1:len(value)-1]...)
		} else {
			f.text, _ = jsontext.AppendUnquote(f.text, value)
		}
		return source.Text
	}
	f.text = append(f.text, value...)
	return source.Number
}

// dropRepeats keeps the last value of a name that comes more than once, in the
// place of the first.
func (f *fieldReader) dropRepeats(rec *source.Record) {
	if f.seen == nil {
		f.seen = map[string]int{}
	}
	clear(f.seen)
	kept := rec.Fields[:0]
	for _, field := range rec.Fields {
		if at, ok := f.seen[field.Name]; ok {
			kept[at].Value = field.Value
			continue
		}
		f.seen[field.Name] = len(kept)
		kept = append(kept, field)
	}
	if len(kept) < len(rec.Fields) {
		f.names = f.names[:0]
	}
	rec.Fields = kept
}
