package demo

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/importers"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

const (
	testSeed = 7
	testYear = 2026
)

func TestMain(m *testing.M) {
	pgtest.Main(m)
}

// run imports one of the demo's files as the command does.
func run(t *testing.T, db *postgres.DB, im Import) inventory.Counts {
	t.Helper()
	client, err := db.GetClient(t.Context(), inventory.DefaultClient)
	if err != nil {
		t.Fatal(err)
	}
	in, err := os.Open(im.File)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	f, err := importers.Open(in, filepath.Base(im.File), importers.OpenOptions{})
	if err != nil {
		t.Fatal(err)
	}
	m, unclear := importers.Guess(im.Role, f.Columns)
	if len(im.Map) > 0 || im.MappingFile != "" {
		m, unclear = importers.Mapping{}, nil
	}
	if im.MappingFile != "" {
		b, err := os.ReadFile(im.MappingFile)
		if err != nil {
			t.Fatal(err)
		}
		if m, err = importers.ParseMapping(b); err != nil {
			t.Fatal(err)
		}
	}
	for _, rule := range im.Map {
		if err := m.AddRule(rule, im.Role); err != nil {
			t.Fatal(err)
		}
	}
	if im.Kind != "" {
		m["kind"] = importers.Rule{Value: im.Kind}
	}
	if len(unclear) > 0 {
		t.Errorf("%s: columns without a unit: %v", f.Name, unclear)
	}
	counts, err := importers.Run(t.Context(), db, f, importers.Options{
		Client: client, Site: im.Site, TimeZone: TimeZone, Role: im.Role, Mapping: m,
		MaxKM: importers.DefaultMaxKM, Actor: "test", Year: testYear,
	})
	if err != nil {
		t.Fatalf("%s: %v", f.Name, err)
	}
	if !counts.AddUp() {
		t.Errorf("%s: the counts do not add up: %+v", f.Name, counts)
	}
	return counts
}

// dirtyRows is what the package comment says is held back: the file, the field
// named and a part of the reason.
var dirtyRows = []struct{ file, field, reason string }{
	{"invented-street-and-park-trees.geojson", "geometry", "swapped"},
	{"invented-street-and-park-trees.geojson", "geometry", "beside 0,0"},
	{"invented-street-and-park-trees.geojson", "geometry", "geometry is null"},
	{"invented-street-and-park-trees.geojson", "geometry", "a Polygon: expected a Point"},
	{"invented-street-and-park-trees.geojson", "dbh", "640 is impossible"},
	{"invented-street-and-park-trees.geojson", "id", "already: give each its own"},
	{"invented-retail-park-trees.csv", "DIAMETER", "is not a number"},
	{"invented-retail-park-trees.csv", "Longitude", "no coordinate"},
	{"invented-parking.geojson", "geometry", "the ring is not closed"},
	{"invented-cuts.csv", "cut_kind", "hat-racked"},
	{"invented-cuts.csv", "tree", "no tree of this site has the tag or source id Q9999"},
	{"invented-visits.csv", "visited_on", "yet to come"},
	{"invented-park-crowns.geojson", "geometry", "more than 30 m from the stem"},
	{"invented-road-counts.csv", "count", "-12 is impossible"},
	{"invented-road-counts.csv", "target", "no target of this site has the source id or name road-X1"},
}

func TestImportHoldsTheDirtyRowsAndNoOthers(t *testing.T) {
	db, err := postgres.Open(t.Context(), pgtest.URL(t))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	list, err := Write(t.TempDir(), testSeed, testYear)
	if err != nil {
		t.Fatal(err)
	}
	var held, repaired, nested int64
	read := map[inventory.Role]int64{}
	for _, im := range list {
		c := run(t, db, im)
		read[im.Role] += c.Read
		held += c.Quarantined
		repaired += c.Repaired
		nested += c.CutsAdded
		if im.Role == inventory.RoleCrowns { // which change trees that are there
			c.Updated = 0
		}
		if c.Updated+c.Unchanged+c.LeftOut != 0 {
			t.Errorf("%s: expected every record added or held: %+v", im.File, c)
		}
	}
	within(t, "trees", int(read[inventory.RoleTrees]), 3600, 4400)
	within(t, "targets", int(read[inventory.RoleTargets]), 1350, 1700)
	within(t, "cuts by tag", int(read[inventory.RoleCuts]), 800, 1500)
	within(t, "cuts inside trees and in plain columns", int(nested), 250, 800)
	within(t, "crowns", int(read[inventory.RoleCrowns]), 20, 120)
	if got, want := read[inventory.RoleCounts], int64(countedDays*(96+24)+2); got != want {
		t.Errorf("%d counts, expected %d", got, want)
	}
	within(t, "visits", int(read[inventory.RoleVisits]), 150, 400)
	if repaired != 3 {
		t.Errorf("%d shapes were repaired, expected the 3 that cross themselves", repaired)
	}
	client, err := db.GetClient(t.Context(), inventory.DefaultClient)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := db.FindQuarantined(t.Context(), client, inventory.QuarantineFilter{Site: Site})
	if err != nil {
		t.Fatal(err)
	}
	if int64(len(rows)) != held || len(rows) != len(dirtyRows) {
		t.Errorf("%d rows are held, counted %d, expected %d", len(rows), held, len(dirtyRows))
	}
	for _, want := range dirtyRows {
		n := 0
		for _, row := range rows {
			if row.FileName == want.file && row.Field == want.field && strings.Contains(row.Reason, want.reason) {
				n++
			}
		}
		if n != 1 {
			t.Errorf("%s, %s, %q: held %d times, expected once", want.file, want.field, want.reason, n)
		}
	}
	if t.Failed() {
		for _, row := range rows {
			t.Logf("held: %s record %d %s: %s", row.FileName, row.Record, row.Field, row.Reason)
		}
	}
	for _, im := range list {
		if c := run(t, db, im); c.Added+c.Updated != 0 {
			t.Errorf("%s: importing it again changed something: %+v", im.File, c)
		}
	}
}

func within(t *testing.T, what string, got, lo, hi int) {
	t.Helper()
	if got < lo || got > hi {
		t.Errorf("%d %s, expected %d to %d", got, what, lo, hi)
	}
}

func TestWriteGivesTheSameBytes(t *testing.T) {
	a, b, other := t.TempDir(), t.TempDir(), t.TempDir()
	start := time.Now()
	if _, err := Write(a, testSeed, testYear); err != nil {
		t.Fatal(err)
	}
	t.Logf("written in %v", time.Since(start))
	for dir, seed := range map[string]uint64{b: testSeed, other: testSeed + 1} {
		if _, err := Write(dir, seed, testYear); err != nil {
			t.Fatal(err)
		}
	}
	files, err := filepath.Glob(a + "/*")
	if err != nil || len(files) == 0 {
		t.Fatal("nothing was written", err)
	}
	for _, f := range files {
		name := filepath.Base(f)
		first, again, differently := read(t, f), read(t, filepath.Join(b, name)), read(t, filepath.Join(other, name))
		if first != again {
			t.Errorf("%s differs between two writings with one seed", name)
		}
		if strings.Contains(name, "trees.geojson") && first == differently {
			t.Errorf("%s is the same for another seed", name)
		}
		if !strings.HasSuffix(name, ".gz") && !strings.Contains(first, "invented") {
			t.Errorf("%s does not say that it is invented", name)
		}
	}
}

func read(t *testing.T, file string) string {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// readFeatures parses a file of GeoJSON with nothing of ours.
func readFeatures(t *testing.T, file string, into func(kind string, coordinates json.RawMessage, p map[string]any)) {
	t.Helper()
	var c struct {
		Features []struct {
			Geometry *struct {
				Type        string
				Coordinates json.RawMessage
			}
			Properties map[string]any
		}
	}
	if err := json.Unmarshal([]byte(read(t, file)), &c); err != nil {
		t.Fatal(err)
	}
	for _, f := range c.Features {
		if f.Geometry != nil && !strings.Contains(fmt.Sprint(f.Properties["note"]), "dirty") {
			into(f.Geometry.Type, f.Geometry.Coordinates, f.Properties)
		}
	}
}
