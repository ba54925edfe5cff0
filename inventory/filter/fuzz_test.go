package filter_test

import (
	"errors"
	"os"
	"testing"

	"github.com/underbough/underbough/inventory/filter"
)

// samples are given to both fuzz targets beside the standard's examples.
var samples = []string{
	`height_m > 20 AND (species LIKE 'Ulmus%' OR NOT A_OVERLAPS(over, ('footway', 'playground')))`,
	`"a""b" = 'it''s \'\\\n' AND - x ^ -2 <> +3 div .5e-3 % 1.`,
	`T_DURING(INTERVAL(start, '..'), INTERVAL('2026-01-01', '2026-01-31T00:00:00.5Z')) IS NULL`,
	`S_WITHIN(geometry, BBOX(170,-10,0,-170,10,5)) = TRUE`,
	`f((1), ((a)), (a + 1), (a + 1,), (), ((a) + 1) * 2, (((1))))`,
	`A_EQUALS((1, ('a', DATE('2026-01-01'))), (x + 1))`,
	`S_INTERSECTS(GEOMETRYCOLLECTION Z (POINT Z(1 2 3), MULTIPOINT(1 2 3, (4 5 6))), POLYGON((0 0, 1e0 0, 1 1, 0 0)))`,
	`CASEI(ACCENTI('ẞ')) NOT IN ('ss') OR x NOT BETWEEN 1 AND 2`,
}

// What is read is written so that it reads back the same; nothing else happens
// than that or an *Error.
func FuzzText(f *testing.F) {
	for _, s := range samples {
		f.Add(s)
	}
	for _, b := range exampleSamples(f, "text") {
		f.Add(string(b))
	}
	f.Fuzz(func(t *testing.T, s string) {
		e, err := filter.ParseText(s)
		if err != nil {
			wantPlace(t, err, len(s))
			return
		}
		examine(t, e)
	})
}

// The same for the JSON encoding.
func FuzzJSON(f *testing.F) {
	for _, s := range samples {
		e, err := filter.ParseText(s)
		if err != nil {
			f.Fatalf("%s: %v", s, err)
		}
		f.Add(filter.JSON(e))
	}
	for _, b := range exampleSamples(f, "json") {
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		e, err := filter.ParseJSON(b)
		if err != nil {
			wantPlace(t, err, len(b))
			return
		}
		examine(t, e)
	})
}

// exampleSamples are the standard's examples, where they are at hand.
func exampleSamples(f *testing.F, kind string) (samples [][]byte) {
	if _, err := os.Stat(examples); err != nil {
		f.Logf("without the standard's examples: %v", err)
		return nil
	}
	for _, file := range exampleFiles(f, kind) {
		samples = append(samples, read(f, file))
	}
	return samples
}

func wantPlace(t *testing.T, err error, length int) {
	t.Helper()
	var e *filter.Error
	if !errors.As(err, &e) || e.Msg == "" || e.At > length || e.Column > length+1 {
		t.Fatalf("%#v is no error about a place in %d bytes", err, length)
	}
}

// examine does with a tree whatever can be done with one.
func examine(t *testing.T, e filter.Expr) {
	t.Helper()
	roundTrip(t, e)
	if err := filter.Check(e, schema{}); err != nil {
		wantPlace(t, err, 1<<30)
	}
	filter.Properties(e)
	swapped := filter.InCRS(e, 3857, true)
	if back := filter.InCRS(filter.InCRS(swapped, 3857, true), 0, false); !filter.Equal(e, back) {
		t.Fatalf("axes swapped twice: %s", filter.JSON(back))
	}
}
