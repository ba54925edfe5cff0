package csv_test

import (
	"bytes"
	stdcsv "encoding/csv"
	"io"
	"reflect"
	"strings"
	"testing"
	"testing/iotest"
	"unicode/utf8"

	"github.com/underbough/underbough/importers/csv"
	"github.com/underbough/underbough/importers/source"
)

// FuzzCSV: no text makes the reader panic or go on for ever, the size of the
// reads does not matter, and what encoding/csv reads without an error comes out
// with the same cells.
func FuzzCSV(f *testing.F) {
	for _, seed := range []string{
		"a,b\n1,2\n", "a;b\r\n\"x\r\ny\";2\r\n", "a\tb\n\"\"\"\"\t\"", "lon,lat\n1,2\n\"", "wkt\n\"POLYGON((0 0,1 0,1 1,0 0))\"\n",
		"a,b\n\n\r\n x\"y,2\n\"a\"b,3\n", "\xEF\xBB\xBFa|b\n\r\r\n1|2", "x,y\n1e5,-.5\n+1,1.",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		raws, recs, err := read(bytes.NewReader(text), csv.Options{})
		raws1, recs1, err1 := read(iotest.OneByteReader(bytes.NewReader(text)), csv.Options{})
		if !reflect.DeepEqual(raws, raws1) || !reflect.DeepEqual(recs, recs1) || !reflect.DeepEqual(err, err1) {
			t.Fatalf("byte by byte it is different:\n%v %v\n%v %v", raws, err, raws1, err1)
		}
		small, _, _ := read(bytes.NewReader(text), csv.Options{MaxRecord: 9})
		small1, _, _ := read(iotest.OneByteReader(bytes.NewReader(text)), csv.Options{MaxRecord: 9})
		if !reflect.DeepEqual(small, small1) {
			t.Fatalf("with a limit it is different byte by byte:\n%v\n%v", small, small1)
		}
		for _, raw := range raws {
			if !bytes.HasPrefix(text[raw.Offset:], raw.Text) {
				t.Fatalf("record %d is not at its offset", raw.Number)
			}
		}
		if err == nil {
			agree(t, text, recs)
		}
	})
}

// agree compares with encoding/csv, where it reads the whole text.
func agree(t *testing.T, text []byte, recs []source.Record) {
	s, err := csv.New(bytes.NewReader(text), csv.Options{})
	if err != nil {
		t.Fatal(err)
	}
	lon, lat, wkt := s.Coordinates()
	columns := s.Columns()
	r := stdcsv.NewReader(bytes.NewReader(bytes.TrimPrefix(text, []byte("\xEF\xBB\xBF"))))
	r.Comma = s.Delimiter()
	r.FieldsPerRecord = -1
	if _, err := r.Read(); err != nil {
		return
	}
	for i := 0; ; i++ {
		want, err := r.Read()
		if err == io.EOF && i != len(recs) {
			t.Fatalf("read %d rows, encoding/csv %d", len(recs), i)
		}
		if err != nil {
			return
		}
		if i >= len(recs) {
			t.Fatalf("read only %d rows", len(recs))
		}
		if len(want) != len(columns) || !utf8.ValidString(strings.Join(want, "")) {
			if recs[i].Problem == nil {
				t.Fatalf("row %d has %q and no problem", i+1, want)
			}
			continue
		}
		if recs[i].Problem != nil {
			t.Fatalf("row %d: %v; encoding/csv reads %q", i+1, recs[i].Problem, want)
		}
		var got []string
		for _, f := range recs[i].Fields {
			got = append(got, f.Name+"="+f.Value.Text)
		}
		var fields []string
		for k, cell := range want {
			if columns[k] != lon && columns[k] != lat && columns[k] != wkt {
				fields = append(fields, columns[k]+"="+cell)
			}
		}
		if !reflect.DeepEqual(got, fields) {
			t.Fatalf("row %d: got %q, encoding/csv %q", i+1, got, fields)
		}
	}
}
