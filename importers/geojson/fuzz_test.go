package geojson_test

import (
	"bytes"
	"encoding/json"
	"reflect"
	"testing"
	"testing/iotest"

	"github.com/underbough/underbough/importers/geojson"
)

// FuzzGeoJSON: no text makes the reader panic or go on for ever, the size of the
// reads does not matter, a record is accepted only if encoding/json takes it,
// and a valid document has as many features here as there.
func FuzzGeoJSON(f *testing.F) {
	a := feature("1")
	for _, seed := range []string{
		collection(a, a), "\xEF\xBB\xBF" + a + "\r\n\r\n" + a, "\x1e" + a + "\n\x1e" + a, "{\n\"type\":\n\"Feature\"}",
		`{"bbox":[1,"]"],"features":[{"\\":"\""},[],7],"type":"FeatureCollection","crs":{"properties":{"name":"EPSG:4326"}}}`,
		`{"type":"Feature","geometry":{"type":"Polygon","coordinates":[[[0,0],[1,0],[1,1],[0,0]]]},"properties":{"a":{"b":[1]},"a":"\u00e9"}}`,
		`{"type":"Feature","geometry":{"type":"GeometryCollection","geometries":[{"type":"MultiPoint","coordinates":[[1,2,3]]}]}}`,
		`{"type":"FeatureCollection","features":[` + a, a + a, "[" + a + "]", a + "\n{\"type\n" + a,
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		raws, recs, err := read(bytes.NewReader(text), geojson.Options{})
		raws1, recs1, err1 := read(iotest.OneByteReader(bytes.NewReader(text)), geojson.Options{})
		if !reflect.DeepEqual(raws, raws1) || !reflect.DeepEqual(recs, recs1) || outcome(nil, err) != outcome(nil, err1) {
			t.Fatalf("byte by byte it is different:\n%s\n%s", outcome(recs, err), outcome(recs1, err1))
		}
		small, srecs, serr := read(bytes.NewReader(text), geojson.Options{MaxRecord: 50})
		small1, srecs1, serr1 := read(iotest.OneByteReader(bytes.NewReader(text)), geojson.Options{MaxRecord: 50})
		if !reflect.DeepEqual(small, small1) || outcome(nil, serr) != outcome(nil, serr1) {
			t.Fatalf("with a limit it is different byte by byte:\n%s\n%s", outcome(srecs, serr), outcome(srecs1, serr1))
		}
		for i, raw := range raws {
			if !bytes.HasPrefix(text[raw.Offset:], raw.Text) {
				t.Fatalf("record %d is not at its offset", i+1)
			}
			if recs[i].Problem == nil && !json.Valid(raw.Text) {
				t.Fatalf("record %d is accepted and not JSON: %q", i+1, raw.Text)
			}
		}
		if want, ok := countFeatures(text); ok && err == nil && len(raws) != want {
			t.Fatalf("%d records, encoding/json has %d: %s", len(raws), want, outcome(recs, err))
		}
	})
}

// countFeatures counts the features of a valid document; not ok for a text that
// is something else.
func countFeatures(text []byte) (int, bool) {
	var doc map[string]json.RawMessage
	if json.Unmarshal(bytes.TrimPrefix(text, []byte("\xEF\xBB\xBF")), &doc) != nil {
		return 0, false
	}
	var kind string
	var features []json.RawMessage
	if json.Unmarshal(doc["type"], &kind) != nil || kind != "FeatureCollection" {
		return 1, doc != nil
	}
	err := json.Unmarshal(doc["features"], &features)
	return len(features), err == nil
}
