package geojson_test

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/underbough/underbough/importers/geojson"
)

// accepted are files a lint calls bad and an import has no reason to refuse.
var accepted = map[string]string{
	"bad-polygon-interiorring-rhr":        "winding is no reason to refuse a record (RFC 7946, 3.1.6)",
	"polygon_winding_order":               "winding is no reason to refuse a record (RFC 7946, 3.1.6)",
	"bbox-4or6elements":                   "bbox is not read",
	"bbox-contains-string":                "bbox is not read",
	"bbox-string":                         "bbox is not read",
	"different-first-size":                "the ring is closed in longitude and latitude; the third number is dropped",
	"excessive_precision_truncated":       "digits beyond need do no harm",
	"feature_changed_semantics":           "a Feature by its type; the members of other types are not read",
	"featurecollection_changed_semantics": "a FeatureCollection by its type; the members of other types are not read",
	"geometry_changed_semantics":          "a geometry by its type; the members of other types are not read",
	"geometrycollection_nested":           "nesting is advised against, not forbidden (RFC 7946, 3.1.8)",
	"geometrycollection_single":           "a single part is advised against, not forbidden (RFC 7946, 3.1.8)",
	"point-toomany":                       "numbers after the second are dropped (RFC 7946, 3.1.1)",
}

// TestRFC7946 reads the cases of mapbox/geojsonhint (ISC). A bare geometry is
// refused as a file, so it is put into a Feature to see its geometry judged.
func TestRFC7946(t *testing.T) {
	for folder, bad := range map[string]bool{"good": false, "bad": true} {
		files, err := filepath.Glob(filepath.Join(sharedData(t, "rfc7946"), folder, "*.geojson"))
		if err != nil || len(files) == 0 {
			t.Fatalf("no files: %v", err)
		}
		for _, file := range files {
			name := strings.TrimSuffix(filepath.Base(file), ".geojson")
			t.Run(folder+"/"+name, func(t *testing.T) {
				text, err := os.ReadFile(file)
				if err != nil {
					t.Fatal(err)
				}
				checkCase(t, name, text, bad)
			})
		}
	}
}

func checkCase(t *testing.T, name string, text []byte, bad bool) {
	raws, recs, err := read(bytes.NewReader(text), geojson.Options{})
	if err != nil && strings.Contains(err.Error(), "bare") {
		text = []byte(`{"type":"Feature","properties":null,"geometry":` + string(text) + `}`)
		raws, recs, err = read(bytes.NewReader(text), geojson.Options{})
	}
	troubled := err != nil
	for _, rec := range recs {
		// A null geometry is a problem of geometry to us, and good GeoJSON.
		unlocated := rec.GeometryProblem != nil && rec.GeometryProblem.Reason == "geometry is null"
		troubled = troubled || rec.Problem != nil || rec.GeometryProblem != nil && !unlocated
	}
	reason, ok := accepted[name]
	switch {
	case bad && ok && troubled:
		t.Errorf("no longer accepted although %s: %s", reason, outcome(recs, err))
	case bad && !ok && !troubled:
		t.Errorf("accepted: %s", text)
	case !bad && (troubled || len(raws) != features(t, text)):
		t.Errorf("%d features, got %s", features(t, text), outcome(recs, err))
	}
}

// features counts the features by encoding/json.
func features(t *testing.T, text []byte) int {
	var doc struct {
		Type     string
		Features []json.RawMessage
	}
	if err := json.Unmarshal(text, &doc); err != nil {
		t.Fatal(err)
	}
	if doc.Type == "Feature" {
		return 1
	}
	return len(doc.Features)
}
