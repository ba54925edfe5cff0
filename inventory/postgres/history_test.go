package postgres_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/postgres"
)

// What the collections say of limits and words is what the triggers of the schema
// gis hold edits to.
func TestLimitsAreThoseOfTheViews(t *testing.T) {
	ctx := t.Context()
	db := open(t)
	for i := range inventory.Collections {
		c := &inventory.Collections[i]
		if !c.Editable {
			continue
		}
		want := map[string]inventory.Bounds{}
		rows, err := db.Pool().Query(ctx, `SELECT field, low, high, ends FROM gis.limits($1)`, c.ID)
		if err != nil {
			t.Fatal(err)
		}
		for rows.Next() {
			var name, ends string
			var b inventory.Bounds
			if err := rows.Scan(&name, &b.Low, &b.High, &ends); err != nil {
				t.Fatal(err)
			}
			b.Above, b.Below = ends[0] == '(', ends[1] == ')'
			want[name] = b
		}
		bounded := 0
		for k := range c.Properties {
			p := &c.Properties[k]
			if p.Bounds == nil {
				continue
			}
			if bounded++; *p.Bounds != want[p.Name] {
				t.Errorf("%s of %s: %+v, the view has %+v", p.Name, c.ID, *p.Bounds, want[p.Name])
			}
		}
		if bounded != len(want) {
			t.Errorf("%s: %d properties have limits, in the view %d", c.ID, bounded, len(want))
		}
		choices, err := db.Pool().Query(ctx, `SELECT field, words FROM gis.choices($1)`, c.ID)
		if err != nil {
			t.Fatal(err)
		}
		for choices.Next() {
			var name string
			var words []string
			if err := choices.Scan(&name, &words); err != nil {
				t.Fatal(err)
			}
			p, ok := c.Property(name)
			if !ok {
				t.Fatal(name)
			}
			if !slices.Equal(slices.Sorted(slices.Values(p.Values)), slices.Sorted(slices.Values(words))) {
				t.Errorf("%s of %s: %v, the view has %v", name, c.ID, p.Values, words)
			}
		}
	}
}

// Putting back writes every column of a table but those that the inventory keeps
// itself: a new column must be among one or the other.
func TestPutBackKnowsEveryColumn(t *testing.T) {
	db := open(t)
	kept := strings.Fields("client_id row_digest import_id version changed_at changed_by gone_on job_id gone_job_id tree_id cut_id visit_id target_id count_id")
	for table, list := range postgres.PutColumns {
		var all []string
		if err := db.Pool().QueryRow(t.Context(), `SELECT array_agg(column_name::text) FROM information_schema.columns WHERE table_schema = current_schema() AND table_name = $1`, table).Scan(&all); err != nil {
			t.Fatal(err)
		}
		written := strings.Split(list, ", ")
		for _, name := range all {
			if !slices.Contains(written, name) && !slices.Contains(kept, name) {
				t.Errorf("%s.%s is neither put back nor kept", table, name)
			}
		}
		for _, name := range written {
			if !slices.Contains(all, name) {
				t.Errorf("%s has no column %s", table, name)
			}
		}
	}
}
