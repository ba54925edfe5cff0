package postgres_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory/filter"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// truth is true, false or unknown (nil).
type truth *bool

func known(b bool) truth { return &b }

// The truth table of the standard (OGC 21-065r2, 6.2 and /req/basic-cql2/null-
// predicate).
func not(a truth) truth {
	if a == nil {
		return nil
	}
	return known(!*a)
}

func and(a, b truth) truth {
	switch {
	case a != nil && !*a, b != nil && !*b:
		return known(false)
	case a == nil || b == nil:
		return nil
	}
	return known(true)
}

func or(a, b truth) truth { return not(and(not(a), not(b))) }

// The standard's test "logical": predicates of its tables joined at random. What
// becomes of each row is computed from what each predicate says of it, by the
// standard's truth table.
func TestStandardsLogic(t *testing.T) {
	conn := connect(t, pgtest.URL(t))
	tables := loadStandardsData(t, conn)
	const table = "ne_110m_populated_places_simple"
	columns := tables[table]
	compile := func(text string) (string, []any) {
		t.Helper()
		e, err := filter.ParseText(text)
		if err == nil {
			err = filter.Check(e, columns)
		}
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		conjuncts, args, err := postgres.CompileFilter(e, columns)
		if err != nil {
			t.Fatal(err)
		}
		return "(" + strings.Join(conjuncts, " AND ") + ")", args
	}
	values := func(text string) (all []truth) {
		t.Helper()
		sql, args := compile(text)
		rows, err := conn.Query(t.Context(), "SELECT "+sql+" FROM cql2."+table+" ORDER BY fid", args...)
		if err != nil {
			t.Fatal(err)
		}
		all, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (v truth, err error) {
			var b *bool
			err = row.Scan(&b)
			return b, err
		})
		if err != nil {
			t.Fatalf("%s: %v", sql, err)
		}
		return all
	}
	var predicates []string
	for _, x := range append(expectations(t), folding...) {
		if x.table == table || x.table == "" {
			predicates = append(predicates, x.filter)
		}
	}
	random := rand.New(rand.NewPCG(21, 65))
	unknown := 0
	for range 60 {
		var p [4]string
		var v [4][]truth
		for i := range p {
			p[i] = predicates[random.IntN(len(predicates))]
			v[i] = values(p[i])
		}
		text := fmt.Sprintf("((NOT %[1]s AND %[2]s) OR (%[3]s and NOT %[4]s) or not (%[1]s AND %[4]s))", p[0], p[1], p[2], p[3])
		for row, got := range values(text) {
			a, b, c, d := v[0][row], v[1][row], v[2][row], v[3][row]
			want := or(or(and(not(a), b), and(c, not(d))), not(and(a, d)))
			if (got == nil) != (want == nil) || got != nil && *got != *want {
				t.Fatalf("row %d of %s is not as the truth table says", row, text)
			}
			if got == nil {
				unknown++
			}
		}
	}
	if unknown == 0 {
		t.Error("nothing was unknown: the test tests nothing")
	}
}
