package importers_test

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/underbough/underbough/importers"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

func TestMain(m *testing.M) {
	pgtest.Main(m)
}

// year is the current year of every test.
const year = 2026

// town is an inventory in a fresh database.
type town struct {
	t   testing.TB
	db  *postgres.DB
	url string
}

func newTown(t testing.TB) *town {
	t.Helper()
	w := &town{t: t, url: pgtest.URL(t)}
	db, err := postgres.Open(t.Context(), w.url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(db.Close)
	w.db = db
	return w
}

// file is something to import; what is empty has a plain default.
type file struct {
	name, text string
	site       string
	role       inventory.Role
	layer      string
	kind       string
	rules      []string // as --map writes them
	set        importers.Mapping
	where      []importers.Where
	km         float64
	dry        bool
	open       importers.OpenOptions
}

func (f file) options(t testing.TB, opened *importers.File) (importers.Options, error) {
	t.Helper()
	o := importers.Options{
		Client: 1, Site: f.site, Role: f.role, Layer: f.layer, Where: f.where, MaxKM: f.km, DryRun: f.dry, Actor: "tester", Year: year,
	}
	given := importers.Mapping{}
	maps.Copy(given, f.set)
	for _, rule := range f.rules {
		if err := given.AddRule(rule, f.role); err != nil {
			return o, err
		}
	}
	if f.kind != "" {
		given["kind"] = importers.Rule{Value: f.kind}
	}
	o.Mapping, _ = importers.GuessRest(f.role, opened.Columns, given)
	maps.Copy(o.Mapping, given)
	return o, nil
}

func (w *town) try(f file) (inventory.Counts, error) {
	w.t.Helper()
	return w.tryIn(w.t.Context(), w.db, f)
}

func (w *town) tryIn(ctx context.Context, store inventory.ImportStore, f file) (inventory.Counts, error) {
	w.t.Helper()
	if f.name == "" {
		f.name = "file"
	}
	if f.site == "" {
		f.site = "town"
	}
	if f.role == "" {
		f.role = inventory.RoleTrees
	}
	opened, err := importers.Open(strings.NewReader(f.text), f.name, f.open)
	if err != nil {
		return inventory.Counts{}, err
	}
	o, err := f.options(w.t, opened)
	if err != nil {
		return inventory.Counts{}, err
	}
	c, err := importers.Run(ctx, store, opened, o)
	if err == nil && !c.AddUp() {
		w.t.Errorf("the counts do not add up: %+v", c)
	}
	return c, err
}

func (w *town) load(f file) inventory.Counts {
	w.t.Helper()
	c, err := w.try(f)
	if err != nil {
		w.t.Fatal(err)
	}
	return c
}

// want loads a file and compares the counts: read, added, updated, unchanged,
// left out, quarantined.
func (w *town) want(f file, counts ...int64) inventory.Counts {
	w.t.Helper()
	c := w.load(f)
	got := []int64{c.Read, c.Added, c.Updated, c.Unchanged, c.LeftOut, c.Quarantined}
	if !slices.Equal(got, counts) {
		w.t.Errorf("read, added, updated, unchanged, left out, quarantined: %v, want %v\nheld: %s", got, counts, strings.Join(w.held(), "\n"))
	}
	return c
}

func (w *town) rows(sql string) []string {
	w.t.Helper()
	return pgtest.Query(w.t, w.url, sql)
}

func (w *town) is(sql string, want ...string) {
	w.t.Helper()
	if got := w.rows(sql); !slices.Equal(got, want) {
		w.t.Errorf("%s\ngot  %q\nwant %q", sql, got, want)
	}
}

func (w *town) exec(sql string) {
	w.t.Helper()
	pgtest.Exec(w.t, w.url, sql)
}

func (w *town) held() []string {
	w.t.Helper()
	return w.rows(`SELECT record, field, reason FROM quarantine WHERE state = 'held' ORDER BY file_name, record, quarantine_id`)
}

// marks are the figures that only a change moves: versions, history and what
// awaits recomputation.
func (w *town) marks() []string {
	w.t.Helper()
	return w.rows(`
		SELECT 'trees', tree_id, version, changed_at FROM trees UNION ALL SELECT 'cuts', cut_id, version, changed_at FROM cuts UNION ALL
		SELECT 'visits', visit_id, version, changed_at FROM visits UNION ALL SELECT 'targets', target_id, version, changed_at FROM targets UNION ALL
		SELECT 'history', history_id, version, valid_to FROM history ORDER BY 1, 2`)
}

// unmoved reports where do changed anything.
func (w *town) unmoved(do func()) {
	w.t.Helper()
	before := w.marks()
	do()
	if after := w.marks(); !slices.Equal(before, after) {
		w.t.Errorf("something changed:\n%s\nbefore:\n%s", strings.Join(after, "\n"), strings.Join(before, "\n"))
	}
}

// collection writes a FeatureCollection of features.
func collection(features ...string) string {
	return `{"type":"FeatureCollection","features":[` + strings.Join(features, ",\n") + `]}`
}

// feature writes a Feature with properties and a geometry as JSON.
func feature(properties, geometry string) string {
	return fmt.Sprintf(`{"type":"Feature","properties":{%s},"geometry":%s}`, properties, geometry)
}

// treeAt writes a tree at a place of the town, which lies about 8.5, 47.2.
func treeAt(i int, properties string) string {
	return feature(properties, fmt.Sprintf(`{"type":"Point","coordinates":[8.%04d,47.2]}`, 5000+i))
}

// table writes CSV with longitude and latitude columns before the rest.
func table(header string, rows ...string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "lon,lat,%s\n", header)
	for i, row := range rows {
		fmt.Fprintf(&b, "8.%04d,47.2,%s\n", 5000+i, row)
	}
	return b.String()
}
