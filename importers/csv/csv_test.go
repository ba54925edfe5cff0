package csv_test

import (
	"bytes"
	stdcsv "encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/importers/csv"
	"github.com/underbough/underbough/importers/source"
)

var _ source.Source = (*csv.Source)(nil)

func read(r io.Reader, opts csv.Options) ([]source.Raw, []source.Record, error) {
	s, err := csv.New(r, opts)
	if err != nil {
		return nil, nil, err
	}
	var raws []source.Raw
	var recs []source.Record
	p := s.NewParser()
	for {
		raw, err := s.Next()
		if errors.Is(err, io.EOF) {
			return raws, recs, nil
		}
		if err != nil {
			return raws, recs, err
		}
		var rec source.Record
		p.Parse(raw, &rec)
		raws, recs = append(raws, raw), append(recs, rec)
	}
}

// outcome puts records into lines: geometry, its problem, the record's problem
// and the fields.
func outcome(recs []source.Record) string {
	var out strings.Builder
	for _, rec := range recs {
		fmt.Fprint(&out, rec.Number, " ")
		switch {
		case rec.Problem != nil:
			fmt.Fprintln(&out, "!!", rec.Problem)
			continue
		case rec.GeometryProblem != nil:
			fmt.Fprint(&out, "! ", rec.GeometryProblem)
		default:
			fmt.Fprint(&out, rec.Geometry)
		}
		for _, f := range rec.Fields {
			if f.Value.Kind == source.Null {
				fmt.Fprintf(&out, " %s=null", f.Name)
			} else {
				fmt.Fprintf(&out, " %s=%q", f.Name, f.Value.Text)
			}
		}
		fmt.Fprintln(&out)
	}
	return out.String()
}

func TestRead(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"plain", "tag,Lat,LON\nA,42.5,-71\nB,,\n", "1 [-71 42.5] tag=\"A\"\n2 ! LON: no coordinate: the cell is empty tag=\"B\"\n"},
		{"mark, crlf, trimmed names, no last newline", "\xEF\xBB\xBF tag , x,y\r\nA,1,2\r\n\r\nB,3,4", "1 [1 2] tag=\"A\"\n2 [3 4] tag=\"B\"\n"},
		{"semicolon and decimal comma", "tag;lon;lat;a,b\nA;8,5;47,25;1,5\n", "1 [8.5 47.25] tag=\"A\" a,b=\"1,5\"\n"},
		{"tab", "tag\tlon\tlat\nA\t1\t2\n", "1 [1 2] tag=\"A\"\n"},
		{"bar", "tag|lon|lat\nA|1|2\n", "1 [1 2] tag=\"A\"\n"},
		{"delimiter in a quoted name", "\"a,b,c,d\";lon;lat\nA;1;2\n", "1 [1 2] a,b,c,d=\"A\"\n"},
		{"quoted newline and quotes", "tag,lon,lat\n\"A\r\n\"\"x\"\", y\",1,2\nB,1,2\n", "1 [1 2] tag=\"A\\n\\\"x\\\", y\"\n2 [1 2] tag=\"B\"\n"},
		{"wrong number of cells", "tag,lon,lat\nA,1\nB,1,2,3\nC,1,2\n", "1 !! line 2: the row has 2 cells; expected 3, as the header has\n2 !! line 3: the row has 4 cells; expected 3, as the header has\n3 [1 2] tag=\"C\"\n"},
		{"bare quote spoils its own row", "tag,lon,lat\n5\" pot,1,2\nB,1,2\n", "1 !! line 2: a quote stands within a cell that is not in quotes; put the cell in quotes and double the quote\n2 [1 2] tag=\"B\"\n"},
		{"text after a closing quote", "tag,lon,lat\n\"A\"x,1,2\nB,1,2\n", "1 !! line 2: a quoted cell goes on after its closing quote; double the quotes inside it\n2 [1 2] tag=\"B\"\n"},
		{"quote never closed", "tag,lon,lat\nA,1,2\n\"B,1,2\nC,1,2\n", "1 [1 2] tag=\"A\"\n2 !! line 3: a quote is opened and never closed: the row goes on to the end of the file\n"},
		{"line after a quoted newline", "tag,lon,lat\n\"A\n\n\",1,2\nB\n", "1 [1 2] tag=\"A\\n\\n\"\n2 !! line 5: the row has 1 cells; expected 3, as the header has\n"},
		{"not a number", "lon,lat\n12.5E,48\n0x10,1\n1,NaN\n1,1e999\n\"1,5\",2\n", "1 ! lon: coordinate \"12.5E\" is not a number; expected degrees such as -71.1167\n2 ! lon: coordinate \"0x10\" is not a number; expected degrees such as -71.1167\n3 ! lat: coordinate \"NaN\" is not a number; expected degrees such as -71.1167\n4 ! lat: coordinate \"1e999\" is not a number; expected degrees such as -71.1167\n5 ! lon: coordinate \"1,5\" is not a number; expected degrees such as -71.1167\n"},
		{"no coordinates", "tag,year\nA,2010\n", "1 ! geometry: no coordinate columns tag=\"A\" year=\"2010\"\n"},
		{"latin-1", "tag,lon,lat\nTh\xE9,1,2\nB,1,2\n", "1 !! tag: line 2: \"Th\\xe9\" is not UTF-8; convert the file to UTF-8\n2 [1 2] tag=\"B\"\n"},
		{"wkt", "tag,WKT\nA,POINT(1 2)\nB,\n", "1 [1 2] tag=\"A\"\n2 ! WKT: no geometry: the cell is empty tag=\"B\"\n"},
		{"pair before wkt", "shape,lon,lat\nround,1,2\n", "1 [1 2] shape=\"round\"\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, r := range []io.Reader{strings.NewReader(c.text), iotest.OneByteReader(strings.NewReader(c.text))} {
				_, recs, err := read(r, csv.Options{})
				if err != nil {
					t.Fatal(err)
				}
				if got := outcome(recs); got != c.want {
					t.Errorf("got\n%swant\n%s", got, c.want)
				}
			}
		})
	}
}

func TestNewErrors(t *testing.T) {
	for _, c := range []struct {
		text, want string
		opts       csv.Options
	}{
		{"", "the file is empty", csv.Options{}},
		{"\n\n", "the file is empty", csv.Options{}},
		{"a,,b\n", "column 2 of the header has no name", csv.Options{}},
		{"a,b, a\n", `columns 1 and 3 of the header are both named "a"`, csv.Options{}},
		{"a,\"b\n", "a quote is opened and never closed", csv.Options{}},
		{"a,b\n", `there is no column "lon"; the header has: a, b`, csv.Options{Longitude: "lon", Latitude: "b"}},
		{"a,b\n", "name both the longitude column and the latitude column", csv.Options{Longitude: "a"}},
		{"a,b\n", "name one or the other", csv.Options{Longitude: "a", WKT: "b"}},
		{"a,b\n", "cannot hold both", csv.Options{Longitude: "a", Latitude: "a"}},
		{"\xFF\xFEa\x00", "UTF-16", csv.Options{}},
		{"PK\x03\x04rest", "spreadsheet", csv.Options{}},
	} {
		_, err := csv.New(strings.NewReader(c.text), c.opts)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: got %v, want %q", c.text, err, c.want)
		}
	}
}

func TestCoordinates(t *testing.T) {
	for _, c := range []struct {
		header string
		opts   csv.Options
		want   [3]string
	}{
		{"X,Y,Longitude,LATITUDE", csv.Options{}, [3]string{"Longitude", "LATITUDE", ""}},
		{"x,tag,y", csv.Options{}, [3]string{"x", "y", ""}},
		{"lon,tag,the_geom", csv.Options{}, [3]string{"", "", "the_geom"}},
		{"tag,species", csv.Options{}, [3]string{}},
		{"lon,lat,o,n", csv.Options{Longitude: "o", Latitude: "n"}, [3]string{"o", "n", ""}},
		{"lon,lat,g", csv.Options{WKT: "g"}, [3]string{"", "", "g"}},
	} {
		s, err := csv.New(strings.NewReader(c.header+"\n"), c.opts)
		if err != nil {
			t.Fatal(err)
		}
		lon, lat, wkt := s.Coordinates()
		if got := [3]string{lon, lat, wkt}; got != c.want {
			t.Errorf("%s: got %q, want %q", c.header, got, c.want)
		}
	}
}

// The valid texts are the examples of OGC 06-103r4, table 6, and of the two
// spellings of MULTIPOINT that are in use.
func TestWKT(t *testing.T) {
	ring := orb.Ring{{10, 10}, {10, 20}, {20, 20}, {20, 15}, {10, 10}}
	for text, want := range map[string]orb.Geometry{
		"Point (10 10)":                                        orb.Point{10, 10},
		"LineString ( 10 10, 20 20, 30 40)":                    orb.LineString{{10, 10}, {20, 20}, {30, 40}},
		"Polygon ((10 10, 10 20, 20 20, 20 15, 10 10))":        orb.Polygon{ring},
		"MultiPoint ((10 10), (20 20))":                        orb.MultiPoint{{10, 10}, {20, 20}},
		"MULTIPOINT(10 10,20 20)":                              orb.MultiPoint{{10, 10}, {20, 20}},
		"MultiLineString ((10 10, 20 20), (15 15, 30 15))":     orb.MultiLineString{{{10, 10}, {20, 20}}, {{15, 15}, {30, 15}}},
		"MultiPolygon (((10 10, 10 20, 20 20, 20 15, 10 10)))": orb.MultiPolygon{{ring}},
		"Point Z (10 10 5)":                                    orb.Point{10, 10},
		"POINTZM(10 10 5 1)":                                   orb.Point{10, 10},
		"SRID=4326;POINT(-71.1 42.3)":                          orb.Point{-71.1, 42.3},
	} {
		_, recs, err := read(strings.NewReader("wkt\n\""+text+"\"\n"), csv.Options{Delimiter: ','})
		if err != nil || len(recs) != 1 || recs[0].GeometryProblem != nil || !reflect.DeepEqual(recs[0].Geometry, want) {
			t.Errorf("%s: got %+v, %v", text, recs, err)
		}
	}
	for text, want := range map[string]string{
		"POINT EMPTY":                      "the geometry is empty",
		"POLYGON Z EMPTY":                  "the geometry is empty",
		"POINT(1)":                         "it has 1 numbers",
		"POINT(1 2":                        "expected a comma or )",
		"POINT(1 2) x":                     "more after its end",
		"POINT(a 2)":                       `found "a"`,
		"POINT(1 2, 3 4)":                  "it has 2 positions",
		"POINT((1 2))":                     "it has 0 numbers",
		"LINESTRING(1 2)":                  "expected at least 2",
		"LINESTRING()":                     "it has 0 numbers",
		"POLYGON((0 0,1 0,1 1,0 1))":       "not closed",
		"POLYGON((0 0,1 0,0 0))":           "expected at least 4",
		"SRID=26986;POINT(236000 900000)":  "expected SRID=4326",
		"CIRCULARSTRING(0 0,1 1,2 0)":      `type "CIRCULARSTRING"`,
		"0101000000000000000000F03F000000": "type",
		"GEOMETRYCOLLECTION(POINT(1 2))":   "type",
	} {
		_, recs, err := read(strings.NewReader("wkt\n\""+text+"\"\n"), csv.Options{Delimiter: ','})
		if err != nil || len(recs) != 1 || recs[0].GeometryProblem == nil || !strings.Contains(recs[0].GeometryProblem.Error(), want) {
			t.Errorf("%s: got %v, %v; want %q", text, outcome(recs), err, want)
		}
	}
}

func TestRowOverTheLimit(t *testing.T) {
	text := "tag,lon,lat\nA,1,2\n\"" + strings.Repeat("\n", 100) + "\",1,2\nB,1,2\n"
	for _, r := range []io.Reader{strings.NewReader(text), iotest.OneByteReader(strings.NewReader(text))} {
		raws, recs, err := read(r, csv.Options{MaxRecord: 20})
		if err != nil || len(recs) != 3 || recs[1].Problem == nil || recs[2].Problem != nil || raws[2].Line != 104 {
			t.Fatalf("%s %v", outcome(recs), err)
		}
		if want := "line 3: the row is 107 bytes long; at most 20 are read"; recs[1].Problem.Reason != want {
			t.Errorf("got %q, want %q", recs[1].Problem.Reason, want)
		}
	}
}

func TestReaderError(t *testing.T) {
	broken := errors.New("the disk is gone")
	r := io.MultiReader(strings.NewReader("tag,lon,lat\nA,1,2\nB,1"), iotest.ErrReader(broken))
	_, recs, err := read(r, csv.Options{})
	if !errors.Is(err, broken) || len(recs) != 1 {
		t.Errorf("got %s, %v", outcome(recs), err)
	}
}

// TestRealFile reads open data: 8,959 trees (../shared/data/README.md).
func TestRealFile(t *testing.T) {
	dir, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(dir, "..", "shared", "data", "cambridge", "trees-midcambridge.csv")
	text, err := os.ReadFile(name)
	if err != nil {
		t.Skip("the open data is not here: no ../shared/data/cambridge beside the repository")
	}
	raws, recs, err := read(bytes.NewReader(text), csv.Options{})
	if err != nil || len(recs) != 8959 {
		t.Fatalf("read %d rows, %v; want 8959", len(recs), err)
	}
	want, err := stdcsv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for i, rec := range recs {
		if rec.Problem != nil || rec.GeometryProblem != nil {
			t.Fatalf("row %d: %v %v", i+1, rec.Problem, rec.GeometryProblem)
		}
		if len(rec.Fields) != len(want[0])-2 {
			t.Fatalf("row %d has %d fields, want %d", i+1, len(rec.Fields), len(want[0])-2)
		}
		if !bytes.HasPrefix(text[raws[i].Offset:], raws[i].Text) {
			t.Fatalf("row %d is not at its offset", i+1)
		}
	}
}
