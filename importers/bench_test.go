package importers_test

import (
	"bytes"
	"context"
	"fmt"
	"testing"

	"github.com/underbough/underbough/importers"
	"github.com/underbough/underbough/inventory"
)

// discard takes rows and keeps none, so that a benchmark sees only the reading,
// mapping and checking.
type discard struct{ trees int }

func (d *discard) BeginImport(context.Context, inventory.ImportSpec) (inventory.Loader, error) {
	return d, nil
}
func (d *discard) Trees(_ context.Context, rows []inventory.TreeRow) error {
	d.trees += len(rows)
	return nil
}
func (d *discard) Targets(context.Context, []inventory.TargetRow) error { return nil }
func (d *discard) Cuts(context.Context, []inventory.CutRow) error       { return nil }
func (d *discard) Visits(context.Context, []inventory.VisitRow) error   { return nil }
func (d *discard) Counts(context.Context, []inventory.CountRow) error   { return nil }
func (d *discard) Crowns(context.Context, []inventory.CrownRow) error   { return nil }
func (d *discard) Hold(context.Context, []inventory.Held) error         { return nil }
func (d *discard) Abort()                                               {}
func (d *discard) Reference(context.Context) (float64, float64, bool, error) {
	return 0, 0, false, nil
}
func (d *discard) Finish(_ context.Context, c inventory.Counts) (inventory.Counts, error) {
	return c, nil
}

func BenchmarkRunTrees(b *testing.B) {
	const n = 100_000
	var file bytes.Buffer
	file.WriteString(`{"type":"FeatureCollection","features":[`)
	for i := range n {
		if i > 0 {
			file.WriteByte(',')
		}
		fmt.Fprintf(&file, `{"type":"Feature","properties":{"source_id":"T%07d","tag":"%d","species":"Acer rubrum","dbh_cm":%d.5,"height_m":11.5,"crown_radius_m":4.25,"condition":"good"},"geometry":{"type":"Point","coordinates":[8.%07d,47.2]}}`, i, i, 10+i%60, i)
	}
	file.WriteString("]}")
	b.SetBytes(int64(file.Len()))
	b.ReportAllocs()
	for b.Loop() {
		f, err := importers.Open(bytes.NewReader(file.Bytes()), "bench", importers.OpenOptions{})
		if err != nil {
			b.Fatal(err)
		}
		m, _ := importers.Guess(inventory.RoleTrees, f.Columns)
		d := &discard{}
		if _, err := importers.Run(b.Context(), d, f, importers.Options{Role: inventory.RoleTrees, Mapping: m, Year: 2026, MaxKM: importers.DefaultMaxKM}); err != nil {
			b.Fatal(err)
		}
		if d.trees != n {
			b.Fatalf("%d of %d trees", d.trees, n)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*n), "ns/record")
}
