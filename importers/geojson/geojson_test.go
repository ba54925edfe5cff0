package geojson_test

import (
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/importers/geojson"
	"github.com/underbough/underbough/importers/source"
)

var _ source.Source = (*geojson.Source)(nil)

func collection(features ...string) string {
	return `{"type":"FeatureCollection","features":[` + strings.Join(features, ",") + `]}`
}

func TestForms(t *testing.T) {
	a, b := feature("1"), feature("2")
	pretty := "{\n  \"type\": \"Feature\",\n  \"id\": 1,\n  \"geometry\":\n{\"type\": \"Point\",\n \"coordinates\": [\n1,\n2]}}"
	const crs = `"crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:OGC:1.3:CRS84"}}`
	for _, c := range []struct {
		name, text string
		want       int
	}{
		{"collection", collection(a, b), 2},
		{"empty collection", "\xEF\xBB\xBF\r\n" + collection(), 0},
		{"byte order mark", "\xEF\xBB\xBF" + collection(a), 1},
		{"members around the features", `{"bbox":[1,2,3,4],"x":{"features":[{"a":"}"}]},` + crs + `,"features":[` + a + `, ` + b + "\n],\"type\":\"FeatureCollection\",\"n\":null}\n", 2},
		{"crs after the features", `{"type":"FeatureCollection","features":[` + a + `],` + crs + `}`, 1},
		{"null crs", `{"crs":null,` + collection(a)[1:], 1},
		{"escaped member names", `{"\u0074ype":"Feature\u0043ollection","f\u0065atures":[` + a + `]}`, 1},
		{"one Feature", a, 1},
		{"one Feature over lines", pretty, 1},
		{"Features over lines", pretty + "\n" + pretty + "\n", 2},
		{"Features without newlines", a + b + a, 3},
		{"lines", a + "\n" + b + "\n", 2},
		{"lines, crlf and blank ones", "\r\n" + a + "\r\n\r\n  \r\n" + b, 2},
		{"text sequence", "\x1e" + a + "\n\x1e" + b + "\n", 2},
		{"text sequence over lines", "\x1e" + pretty + "\n\x1e\x1e" + pretty + "\n", 2},
		{"byte order mark and text sequence", "\xEF\xBB\xBF\x1e" + a, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, r := range []io.Reader{strings.NewReader(c.text), iotest.OneByteReader(strings.NewReader(c.text))} {
				raws, recs, err := read(r, geojson.Options{})
				if err != nil || len(recs) != c.want {
					t.Fatalf("read %d records, want %d: %s", len(recs), c.want, outcome(recs, err))
				}
				for i, rec := range recs {
					if rec.Problem != nil || rec.GeometryProblem != nil || !orb.Equal(rec.Geometry, orb.Point{1, 2}) || rec.Number != int64(i+1) {
						t.Errorf("record %d: %s", i+1, outcome(recs, err))
					}
					if !strings.HasPrefix(c.text[raws[i].Offset:], string(raws[i].Text)) {
						t.Errorf("record %d is not at its offset", i+1)
					}
				}
			}
		})
	}
}

// Each text is given as it is and byte by byte; want has a line for each record.
func TestBroken(t *testing.T) {
	a, b := feature("1"), feature("2")
	const ok1, ok2 = "1[1 2]\n", "2[1 2]\n"
	for _, c := range []struct{ name, text, want string }{
		{"cut off in a feature", `{"type":"FeatureCollection","features":[` + a + "," + b[:40], ok1 + `!the file is not valid GeoJSON from byte 175 on: expected the end of the feature that begins at byte 135, found the end of the file`},
		{"cut off after a feature", collection(a)[:134], ok1 + `!the file is not valid GeoJSON from byte 134 on: expected a comma or ] after a feature, found the end of the file`},
		{"garbage between features", collection(a + ` oops ` + b), ok1 + `!the file is not valid GeoJSON from byte 135 on: expected a comma or ] after a feature, found "o"`},
		{"comma after the last feature", collection(a, ""), ok1 + `!the file is not valid GeoJSON from byte 135 on: expected a feature, found "]"`},
		{"more after the collection", collection(a) + a, ok1 + `!the file is not valid GeoJSON from byte 136 on: expected nothing after the end of the FeatureCollection, found "{"`},
		{"a feature that is broken inside", collection(`{"type":"Feature","geometry":[1,2,"properties":{}}`, b), "!the record is not valid JSON: invalid character ':' after array element (expecting ',' or ']'), at byte 86 of the file in /geometry\n" + ok2},
		{"elements that are no features", collection("7", `"x"`, "null", `[{}]`, `{"type":"Point"}`, b), "!the record is the number 7; expected a Feature object\n!the record is the string \"x\"; expected a Feature object\n!the record is null; expected a Feature object\n!the record is an array; expected a Feature object\n!type: the record's type is the string \"Point\"; expected \"Feature\"\n" + ok2},
		{"a broken line", a + "\n{\"type\":\"Fea\n" + b + "\n", ok1 + "!the record is not valid JSON: the record ends too early, at byte 107 of the file in /type, line 2\n" + ok2},
		{"the first line is broken", `{"type":"Feature","properties":{"a":1,` + "\n" + b, "!the record is not valid JSON: the record ends too early, at byte 38 of the file in /properties, line 1\n" + ok2},
		{"the first line breaks in a string", `{"type":"Feature","properties":{"a` + "\n" + b, "!the record is not valid JSON: the record ends too early, at byte 34 of the file in /properties, line 1\n" + ok2},
		{"two Features in a line of many", a + "\n" + a + b + "\n" + b, ok1 + "!there is more after the end of the Feature, at byte 189 of the file, line 2; expected one Feature a record\n" + ok2},
		{"a broken text of a sequence", "\x1e" + a + "\n\x1e{\"ty\n\x1e" + b, ok1 + "!the record is not valid JSON: the record ends too early, at byte 101 of the file\n" + ok2},
		{"bytes that are not UTF-8", strings.Replace(a, `"a"`, "\"Th\xE9\"", 1) + "\n" + b, "!the record is not valid JSON: invalid UTF-8, at byte 90 of the file in /properties, line 1\n" + ok2},
		{"crs after the features", `{"type":"FeatureCollection","features":[` + a + `],"crs":{"type":"name","properties":{"name":"EPSG:26986"}}}`, ok1 + "error: the coordinates are in EPSG:26986; transform the file to longitude and latitude in WGS 84 (OGC:CRS84), the only system of GeoJSON"},
		{"another type after the features", `{"features":[` + a + `],"type":"Foo"}`, ok1 + `error: the collection's "type" is "Foo"; expected "FeatureCollection", spelled just so`},
		{"no type", `{"features":[` + a + `]}`, ok1 + `error: the collection has no "type" member; expected "type": "FeatureCollection"`},
		{"features twice", `{"type":"FeatureCollection","features":[` + a + `],"features":[]}`, ok1 + `error: the FeatureCollection has two "features" members; keep one of them`},
		{"crs of one Feature", strings.Replace(a, "{", `{"crs":{"type":"EPSG","properties":{"code":2056}},`, 1) + "\n" + b, "!crs: the coordinates are in EPSG:2056; transform the file to longitude and latitude in WGS 84 (OGC:CRS84), the only system of GeoJSON\n" + ok2},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, r := range []io.Reader{strings.NewReader(c.text), iotest.OneByteReader(strings.NewReader(c.text))} {
				_, recs, err := read(r, geojson.Options{})
				if got := outcome(recs, err); got != strings.TrimSuffix(c.want, "\n") {
					t.Errorf("got\n%s\nwant\n%s", got, c.want)
				}
			}
		})
	}
}

func TestNewErrors(t *testing.T) {
	for text, want := range map[string]string{
		"":                                 "the file is empty",
		" \n":                              "the file is empty",
		"[" + feature("1") + "]":           "it is a JSON array",
		"<!doctype html><p>":               "web page",
		"<kml>":                            "XML",
		"PK\x03\x04":                       "zip",
		"\xFF\xFE{\x00":                    "UTF-16",
		"{\x00\"\x00":                      "UTF-16",
		"lon,lat\n1,2\n":                   `it begins with "lon,lat"`,
		`{"type":"Point"}`:                 "bare Point; put it into a Feature",
		`{"type":"Topology","objects":{}}`: "TopoJSON",
		`{"type":"featurecollection"}`:     "spelled just so",
		`{"type":"FeatureCollection"}`:     `no "features" member`,
		`{"type":"FeatureCollection","features":{}}`:                                                   `expected an array of features as the "features" member`,
		`{"type":"FeatureCollection" "features":[]}`:                                                   "byte 28 on: expected a comma or }",
		`{"type":"FeatureCollection","crs":{"type":"link","properties":{"href":"a"}},"features":[]}`:   "links to a",
		`{"type":"FeatureCollection","crs":{"properties":{"name":"urn:ogc:def:crs:EPSG::3857"}},"f":1`: "in urn:ogc:def:crs:EPSG::3857",
	} {
		for _, r := range []io.Reader{strings.NewReader(text), iotest.OneByteReader(strings.NewReader(text))} {
			if _, err := geojson.New(r, geojson.Options{}); err == nil || !strings.Contains(err.Error(), want) {
				t.Errorf("%s: got %v, want %q", text, err, want)
			}
		}
	}
}

func TestFields(t *testing.T) {
	text := `{"type":"Feature","id":9007199254740993,"geometry":null,"properties":{"t":"a\"\u00e9\ud83c\udf33","n":9007199254740993,"f":-1.50e2,"b":false,"z":null,"o":{"a":[1, 2]},"l":[],"n":7,"":""}}`
	_, recs, err := read(strings.NewReader(text), geojson.Options{})
	if err != nil || len(recs) != 1 {
		t.Fatal(outcome(recs, err))
	}
	want := []source.Field{
		{Name: "t", Value: source.Value{Kind: source.Text, Text: "a\"é🌳"}},
		{Name: "n", Value: source.Value{Kind: source.Number, Text: "7"}},
		{Name: "f", Value: source.Value{Kind: source.Number, Text: "-1.50e2"}},
		{Name: "b", Value: source.Value{Kind: source.Bool, Text: "false"}},
		{Name: "z"},
		{Name: "o", Value: source.Value{Kind: source.JSON, Text: `{"a":[1, 2]}`}},
		{Name: "l", Value: source.Value{Kind: source.JSON, Text: "[]"}},
		{Name: "", Value: source.Value{Kind: source.Text}},
	}
	if !reflect.DeepEqual(recs[0].Fields, want) {
		t.Errorf("got  %+v\nwant %+v", recs[0].Fields, want)
	}
	if id := recs[0].ID; id != (source.Value{Kind: source.Number, Text: "9007199254740993"}) {
		t.Errorf("id %+v", id)
	}
}

// A parser used for many records must not mix them up, whatever their names.
func TestParserReuse(t *testing.T) {
	properties := []string{`{"a":1,"b":2}`, `{"a":1,"b":2}`, `{"a":3}`, `{"b":1,"b":4}`, `{"b":1,"a":5}`, `null`, `{}`, `{"a":1,"b":2,"c":"x"}`, `{"a":1,"b":2,"a":9}`, `{"a":1,"b":2,"a":8}`}
	want := "[{a 1} {b 2}] [{a 1} {b 2}] [{a 3}] [{b 4}] [{b 1} {a 5}] [] [] [{a 1} {b 2} {c x}] [{a 9} {b 2}] [{a 8} {b 2}]"
	var lines strings.Builder
	for _, p := range properties {
		fmt.Fprintf(&lines, `{"type":"Feature","geometry":null,"properties":%s}`+"\n", p)
	}
	s, err := geojson.New(strings.NewReader(lines.String()), geojson.Options{})
	if err != nil {
		t.Fatal(err)
	}
	p := s.NewParser()
	var rec source.Record
	var got []string
	for raw, err := s.Next(); err == nil; raw, err = s.Next() {
		p.Parse(raw, &rec)
		var fields []string
		for _, f := range rec.Fields {
			fields = append(fields, "{"+f.Name+" "+f.Value.Text+"}")
		}
		got = append(got, "["+strings.Join(fields, " ")+"]")
	}
	if strings.Join(got, " ") != want {
		t.Errorf("got  %s\nwant %s", strings.Join(got, " "), want)
	}
}

func TestGeometryProblems(t *testing.T) {
	deep := strings.Repeat(`{"type":"GeometryCollection","geometries":[`, 20) + `{"type":"Point","coordinates":[1,2]}` + strings.Repeat("]}", 20)
	for text, want := range map[string]string{
		`null`:                                   "geometry is null",
		`"x"`:                                    `geometry is the string "x"`,
		`{}`:                                     `geometry has no "type"`,
		`{"type":"Point"}`:                       `"Point" has no "coordinates"`,
		`{"type":"Point","coordinates":[]}`:      "position has 0 of the 2 numbers",
		`{"type":"Point","coordinates":["1",2]}`: `found the string "1" among the coordinates`,
		`{"type":"Point","coordinates":[1e999,]}`:                                                            "",
		`{"type":"Point","coordinates":[1e999,2]}`:                                                           "coordinate 1e999 is out of the range",
		`{"type":"Point","coordinates":[1,2,null]}`:                                                          "found null among",
		`{"type":"MultiPoint","coordinates":[]}`:                                                             "empty; expected one position",
		`{"type":"LineString","coordinates":[[1,2]]}`:                                                        "expected at least 2",
		`{"type":"Polygon","coordinates":[[[0,0],[1,0],[1,1],[0,1]]]}`:                                       "ring 1: the ring is not closed: it begins at [0 0] and ends at [0 1]",
		`{"type":"MultiPolygon","coordinates":[[[[0,0],[1,0],[1,1],[0,0]]],[[[0,0],[1,0],[0,0]]]]}`:          "polygon 2: ring 1: the ring has 3 positions",
		`{"type":"GeometryCollection","geometries":[]}`:                                                      "empty; expected one geometry",
		`{"type":"GeometryCollection","geometries":[{"type":"Point","coordinates":[1,2]},{"type":"Point"}]}`: `geometry 2: "Point" has no`,
		`{"type":"Circle","coordinates":[1,2]}`:                                                              `"Circle": no such geometry type`,
		deep:                                                                                                 "nest deeper than 16",
	} {
		_, recs, err := read(strings.NewReader(`{"type":"Feature","geometry":`+text+`,"properties":{"a":1}}`), geojson.Options{})
		if err != nil || len(recs) != 1 {
			t.Fatal(outcome(recs, err))
		}
		rec := recs[0]
		if want == "" {
			if rec.Problem == nil {
				t.Errorf("%s: accepted", text)
			}
			continue
		}
		if rec.GeometryProblem == nil || !strings.Contains(rec.GeometryProblem.Error(), want) || len(rec.Fields) != 1 || rec.Geometry != nil {
			t.Errorf("%s: got %s, want %q", text, outcome(recs, err), want)
		}
	}
}

func TestNesting(t *testing.T) {
	for depth, bad := range map[int]bool{100: false, 512: false, 513: true, 20000: true} {
		text := `{"type":"Feature","geometry":null,"properties":{"a":` + strings.Repeat("[", depth-2) + strings.Repeat("]", depth-2) + `}}`
		_, recs, err := read(strings.NewReader(text), geojson.Options{})
		if err != nil || (recs[0].Problem != nil) != bad {
			t.Errorf("depth %d: %s", depth, outcome(recs, err))
		}
	}
}

func TestRecordOverTheLimit(t *testing.T) {
	long := strings.Replace(feature("2"), `"a"`, `"`+strings.Repeat("a", 500)+`"`, 1)
	for _, text := range []string{
		collection(feature("1"), long, feature("3")),
		feature("1") + "\n" + long + "\n" + feature("3"),
		"\x1e" + feature("1") + "\n\x1e" + long + "\n\x1e" + feature("3"),
		feature("1") + long + feature("3"),
	} {
		for _, r := range []io.Reader{strings.NewReader(text), iotest.OneByteReader(strings.NewReader(text))} {
			_, recs, err := read(r, geojson.Options{MaxRecord: 200})
			got := outcome(recs, err)
			if !strings.HasPrefix(got, "1[1 2]\n!the record at byte ") || !strings.HasSuffix(got, "longer than 200 bytes, the most a record may take\n3[1 2]") {
				t.Errorf("%s: got\n%s", text[:20], got)
			}
		}
	}
}

// TestTruncated cuts a file off at every byte. What came whole before the cut
// must come out whole, and the rest as no more than one problem.
func TestTruncated(t *testing.T) {
	features := []string{feature("1"), `{"type":"Feature","properties":{"a":"\"}é{"},"id":2,"geometry":{"type":"Point","coordinates":[1,2]}}`, feature("3")}
	for name, sep := range map[string]string{"collection": ",\n", "lines": "\n", "sequence": "\n\x1e", "row": " "} {
		before, after := "", ""
		switch name {
		case "collection":
			before, after = `{"type":"FeatureCollection","features":[`, `],"z":1}`
		case "sequence":
			before = "\x1e"
		}
		text := before + strings.Join(features, sep) + after
		for n := range len(text) {
			whole, end := 0, len(before)
			for _, f := range features {
				if end+len(f) > n {
					break
				}
				whole++
				end += len(f) + len(sep)
			}
			_, recs, err := read(strings.NewReader(text[:n]), geojson.Options{})
			if err != nil {
				if whole > 0 {
					t.Fatalf("%s cut at %d: %v", name, n, err)
				}
				continue
			}
			good := 0
			for _, rec := range recs {
				if rec.Problem == nil && rec.GeometryProblem == nil {
					good++
				}
			}
			if good != whole || len(recs) > whole+1 {
				t.Fatalf("%s cut at %d: %d whole features, got\n%s", name, n, whole, outcome(recs, err))
			}
			if name == "collection" && (len(recs) != whole+1 || recs[whole].Problem == nil) {
				t.Fatalf("%s cut at %d: the break is not reported: %s", name, n, outcome(recs, err))
			}
		}
	}
}

func TestReaderError(t *testing.T) {
	broken := errors.New("the disk is gone")
	for _, text := range []string{collection(feature("1"))[:134], feature("1") + "\n" + feature("2")[:9], "\x1e" + feature("1") + "\x1e{", feature("1") + feature("2")[:9]} {
		_, recs, err := read(io.MultiReader(strings.NewReader(text), iotest.ErrReader(broken)), geojson.Options{})
		if !errors.Is(err, broken) || len(recs) != 1 || recs[0].Problem != nil {
			t.Errorf("%s: got %s", text, outcome(recs, err))
		}
	}
}

func TestReaderErrorAtOnce(t *testing.T) {
	broken := errors.New("the disk is gone")
	for _, text := range []string{"", `{"type":"FeatureCollection","a":`} {
		_, err := geojson.New(io.MultiReader(strings.NewReader(text), iotest.ErrReader(broken)), geojson.Options{})
		if !errors.Is(err, broken) {
			t.Errorf("%s: got %v", text, err)
		}
	}
}

// TestConstantMemory reads 128 MB, half of it one member nobody wants, and looks
// at the memory in use now and then.
func TestConstantMemory(t *testing.T) {
	const most = 24 << 20
	part := feature("1") + ",\n"
	times := 64 << 20 / len(part)
	s, err := geojson.New(io.MultiReader(
		strings.NewReader(`{"type":"FeatureCollection","x":[`), &repeated{part, times, 0}, strings.NewReader(`0],"features":[`),
		&repeated{part, times, 0}, strings.NewReader(feature("2")+"]}"),
	), geojson.Options{})
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	var mem runtime.MemStats
	for {
		raw, err := s.Next()
		if err == io.EOF {
			break
		}
		if err != nil || raw.Problem != nil {
			t.Fatal(err, raw.Problem)
		}
		if n++; n%100_000 == 1 {
			// Only what is still reachable counts: other tests leave garbage.
			runtime.GC()
			if runtime.ReadMemStats(&mem); mem.HeapAlloc > most {
				t.Fatalf("%d bytes in use after %d features, want at most %d", mem.HeapAlloc, n, most)
			}
		}
	}
	if n != times+1 {
		t.Errorf("read %d features, want %d", n, times+1)
	}
}

// repeated reads as a text a number of times over.
type repeated struct {
	text      string
	times, at int
}

func (r *repeated) Read(p []byte) (int, error) {
	if r.times == 0 {
		return 0, io.EOF
	}
	n := copy(p, r.text[r.at:])
	if r.at += n; r.at == len(r.text) {
		r.at = 0
		r.times--
	}
	return n, nil
}

// TestRealFiles reads open data and finds the counts of ../shared/data/README.md.
// The shapes that RFC 7946 forbids (lines of one position, rings of three) were
// counted in the same files with Python's json module.
func TestRealFiles(t *testing.T) {
	dir := sharedData(t, "cambridge")
	for name, want := range map[string]struct{ records, forbidden int }{
		"trees": {39808, 0}, "ParkingLots": {1533, 0}, "PublicFootpaths": {471, 1},
		"Roads": {205, 0}, "Centerlines": {2643, 0}, "SidewalkCenterlines": {13412, 59},
	} {
		packed, err := os.Open(filepath.Join(dir, name+".geojson.gz"))
		if err != nil {
			t.Fatal(err)
		}
		defer packed.Close()
		r, err := gzip.NewReader(packed)
		if err != nil {
			t.Fatal(err)
		}
		_, recs, err := read(r, geojson.Options{})
		if err != nil || len(recs) != want.records {
			t.Errorf("%s: read %d records, want %d: %v", name, len(recs), want.records, err)
		}
		forbidden := 0
		for _, rec := range recs {
			if rec.Problem != nil {
				t.Errorf("%s record %d: %v", name, rec.Number, rec.Problem)
			}
			if rec.GeometryProblem != nil || rec.Repair != "" {
				forbidden++
			}
		}
		if forbidden != want.forbidden {
			t.Errorf("%s: %d problems of geometry, want %d", name, forbidden, want.forbidden)
		}
	}
}
