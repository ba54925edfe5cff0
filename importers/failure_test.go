package importers_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/iotest"

	"github.com/underbough/underbough/importers"
	"github.com/underbough/underbough/inventory"
)

// everything counts the rows of each table.
func (w *town) everything() []string {
	w.t.Helper()
	tables := w.rows(`SELECT tablename FROM pg_tables WHERE schemaname = 'public' AND tablename NOT IN ('spatial_ref_sys') ORDER BY 1`)
	var out []string
	for _, table := range tables {
		out = append(out, table+" "+w.rows(`SELECT count(*) || coalesce(md5(string_agg(t::text, ',' ORDER BY t::text)), '') FROM ` + table + ` t`)[0])
	}
	return append(out, w.rows(schema)...)
}

func (w *town) untouched(what string, do func()) {
	w.t.Helper()
	before := w.everything()
	do()
	if after := w.everything(); !slices.Equal(before, after) {
		w.t.Errorf("%s left something:\n%s\nbefore:\n%s", what, strings.Join(after, "\n"), strings.Join(before, "\n"))
	}
}

var everyRole = []file{
	{text: threeTrees + "x", name: "trees"},
	{role: inventory.RoleTargets, kind: "parking", layer: "lots", text: shapes, name: "lots"},
	{role: inventory.RoleCuts, text: "tree_tag,kind\n1,topping\n9,topping\n", name: "cuts"},
	{role: inventory.RoleVisits, text: "tree_tag,visited_on\n1,2024-01-01\n9,2024-01-01\n", name: "visits"},
}

func TestDryRun(t *testing.T) {
	w := newTown(t)
	for _, state := range []string{"empty", "full"} {
		for _, f := range everyRole {
			w.untouched(fmt.Sprintf("a dry run of %s into the %s inventory", f.name, state), func() {
				f.dry = true
				if state == "empty" && (f.role == inventory.RoleCuts || f.role == inventory.RoleVisits) {
					return // they need their trees first
				}
				if state == "empty" {
					f.site = "new"
				}
				if c := w.load(f); c.Read == 0 {
					t.Errorf("%s: nothing was read", f.name)
				}
			})
		}
		if state == "empty" {
			for _, f := range everyRole {
				w.load(f)
			}
		}
	}
}

// failing is a store whose loader fails or is cancelled late in the import.
type failing struct {
	inventory.ImportStore
	before func()
}

func (f failing) BeginImport(ctx context.Context, s inventory.ImportSpec) (inventory.Loader, error) {
	l, err := f.ImportStore.BeginImport(ctx, s)
	return failingLoader{l, f.before}, err
}

type failingLoader struct {
	inventory.Loader
	before func()
}

func (l failingLoader) Finish(ctx context.Context, c inventory.Counts) (inventory.Counts, error) {
	l.before()
	return l.Loader.Finish(ctx, c)
}

func manyTrees(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, `{"type":"Feature","properties":{"id":"T%d","cuts":[{"kind":"topping"}]},"geometry":{"type":"Point","coordinates":[8.%07d,47.2]}}`+"\n", i, i)
	}
	return b.String()
}

func TestFailureHalfWay(t *testing.T) {
	for _, state := range []string{"empty", "full"} {
		t.Run(state, func(t *testing.T) {
			w := newTown(t)
			if state == "full" {
				for _, f := range everyRole {
					w.load(f)
				}
			}
			f := file{text: manyTrees(3000), site: "new"}

			t.Run("the context ends", func(t *testing.T) {
				w.untouched("a cancelled import", func() {
					ctx, cancel := context.WithCancel(t.Context())
					if _, err := w.tryIn(ctx, failing{w.db, cancel}, f); !errors.Is(err, context.Canceled) {
						t.Errorf("got %v", err)
					}
				})
			})
			t.Run("the database refuses", func(t *testing.T) {
				// A check that the last cut breaks, as an administrator might add one.
				w.exec(`ALTER TABLE cuts ADD CONSTRAINT no_topping CHECK (kind <> 'topping' OR made_year IS NOT NULL) NOT VALID`)
				w.untouched("a refused import", func() {
					_, err := w.try(f)
					if err == nil || inventory.KindOf(err) != inventory.Invalid || !strings.Contains(err.Error(), "no_topping") {
						t.Errorf("got %v", err)
					}
				})
				w.exec(`ALTER TABLE cuts DROP CONSTRAINT no_topping`)
			})
			t.Run("the database refuses a tree", func(t *testing.T) {
				w.exec(`ALTER TABLE trees ADD CONSTRAINT not_this CHECK (source_id <> 'T2500')`)
				w.untouched("a refused tree", func() {
					if _, err := w.try(f); err == nil || !strings.Contains(err.Error(), "not_this") {
						t.Errorf("got %v", err)
					}
				})
				w.exec(`ALTER TABLE trees DROP CONSTRAINT not_this`)
			})
			t.Run("the file cannot be read on", func(t *testing.T) {
				w.untouched("a file that fails", func() {
					opened, err := importers.Open(io.MultiReader(strings.NewReader(f.text), iotest.ErrReader(errors.New("disk on fire"))), "disk", importers.OpenOptions{})
					if err != nil {
						t.Fatal(err)
					}
					o, _ := f.options(t, opened)
					o.Role = inventory.RoleTrees
					_, err = importers.Run(t.Context(), w.db, opened, o)
					if err == nil || !strings.Contains(err.Error(), "disk on fire") || !strings.Contains(err.Error(), "nothing was loaded") {
						t.Errorf("got %v", err)
					}
				})
			})
			t.Run("the gzip is cut short", func(t *testing.T) {
				w.untouched("a short gzip", func() {
					z := packed(t, f.text)
					if _, err := w.try(file{text: z[:len(z)/2], site: "new"}); err == nil || !strings.Contains(err.Error(), "unexpected EOF") {
						t.Errorf("got %v", err)
					}
				})
			})
			// And nothing stands in the way of the next one.
			w.want(f, 3000, 3000, 0, 0, 0, 0)
		})
	}
}

// Imports that start together wait for each other and come to the same as one
// after the other.
func TestTogether(t *testing.T) {
	w := newTown(t)
	sites := []string{"one", "one", "two", "two"}
	var group sync.WaitGroup
	for i, site := range sites {
		group.Go(func() {
			f := file{text: manyTrees(2000), site: site}
			if i%2 == 1 {
				f = file{role: inventory.RoleTargets, kind: "parking", layer: "lots", text: shapes, site: site}
			}
			if _, err := w.try(f); err != nil {
				t.Errorf("%d into %s: %v", i, site, err)
			}
		})
	}
	group.Wait()
	w.is(`SELECT name, (SELECT count(*) FROM trees t WHERE t.site_id = s.site_id), (SELECT count(*) FROM targets t WHERE t.site_id = s.site_id) FROM sites s ORDER BY 1`, "one|2000|8", "two|2000|8")
}

func TestNotAFile(t *testing.T) {
	w := newTown(t)
	for text, want := range map[string]string{
		"":                      "empty",
		"PK\x03\x04...":         "zip",
		"%PDF-1.7":              "PDF",
		"<html><body>":          "HTML",
		`[{"type":"Feature"}]`:  "array",
		"\x1f\x8b\x08garbage":   "gzip",
		"SQLite format 3\x00..": "GeoPackage",
		`{"type":"FeatureCollection","crs":{"type":"name","properties":{"name":"EPSG:2056"}},"features":[]}`: "EPSG:2056",
		"id,id\n1,2\n": "both named",
	} {
		if _, err := w.try(file{text: text}); err == nil || inventory.KindOf(err) != inventory.Invalid || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: got %v, want %s", text, err, want)
		}
	}
	w.want(file{text: `{"type":"FeatureCollection","features":[]}`}, 0, 0, 0, 0, 0, 0)
}

// A mistyped site must not be made by a file that can put nothing in it.
func TestRecordsOfTreesNeedTheirSite(t *testing.T) {
	w := newTown(t)
	for _, f := range everyRole[2:] {
		f.site = "Nope"
		if _, err := w.try(f); inventory.KindOf(err) != inventory.NotFound {
			t.Errorf("%s into a site that is not there: %v", f.name, err)
		}
	}
	w.is(`SELECT count(*)::text FROM sites WHERE name = 'Nope'`, "0")
}
