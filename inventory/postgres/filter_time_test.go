package postgres_test

import (
	"fmt"
	"testing"

	"github.com/underbough/underbough/inventory/filter"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// The thirteen relations between two intervals are such that just one holds of
// any two, and its converse of the two swapped (Allen 1983, Maintaining
// knowledge about temporal intervals, table 1). All intervals between six days
// are tried, as timestamps and, where a property has no end, open.
func TestIntervalRelations(t *testing.T) {
	conn := connect(t, pgtest.URL(t))
	if _, err := conn.Exec(t.Context(), `CREATE TEMP TABLE f AS
		SELECT '2026-01-01T06:00:00Z'::timestamptz + make_interval(days => a) s, CASE WHEN b < 6 THEN '2026-01-01T06:00:00Z'::timestamptz + make_interval(days => b) ELSE 'infinity' END e
		FROM generate_series(0, 5) a, generate_series(1, 6) b WHERE a < b`); err != nil {
		t.Fatal(err)
	}
	columns := columnsOf{"s": {SQL: "s", Type: filter.TimestampType}, "e": {SQL: "e", Type: filter.TimestampType}}
	inverse := map[string]string{
		"t_before": "t_after", "t_meets": "t_metBy", "t_overlaps": "t_overlappedBy", "t_starts": "t_startedBy",
		"t_during": "t_contains", "t_finishes": "t_finishedBy", "t_equals": "t_equals",
	}
	for a, b := range inverse {
		inverse[b] = a
	}
	if len(inverse) != 13 {
		t.Fatalf("%d relations", len(inverse))
	}
	run := func(format string, args ...any) int {
		t.Helper()
		e, err := filter.ParseText(fmt.Sprintf(format, args...))
		if err != nil {
			t.Fatal(err)
		}
		n, err := count(t, conn, "f", columns, e)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	const rows = 6 + 5 + 4 + 3 + 2 + 1
	for a := range 6 {
		for b := a + 1; b <= 6; b++ {
			other := fmt.Sprintf("INTERVAL('2026-01-%02dT06:00:00Z', '2026-01-%02dT06:00:00Z')", a+1, b+1)
			if b == 6 {
				other = fmt.Sprintf("INTERVAL('2026-01-%02dT06:00:00Z', '..')", a+1)
			}
			sum := 0
			for name, back := range inverse {
				n := run("%s(INTERVAL(s, e), %s)", name, other)
				if swapped := run("%s(%s, INTERVAL(s, e))", back, other); swapped != n {
					t.Errorf("%s %s: %d, and %d the other way round", name, other, n, swapped)
				}
				sum += n
				if twice := run("%[1]s(INTERVAL(s, e), %[3]s) AND %[2]s(INTERVAL(s, e), %[3]s)", name, back, other); twice != 0 && name != back {
					t.Errorf("%s and %s hold of the same %d", name, back, twice)
				}
			}
			if sum != rows {
				t.Errorf("%d relations hold between %d intervals and %s", sum, rows, other)
			}
			// To be disjoint is to be before or after, to intersect its negation.
			apart := run("T_BEFORE(INTERVAL(s, e), %[1]s) OR T_AFTER(INTERVAL(s, e), %[1]s)", other)
			if d, i := run("T_DISJOINT(INTERVAL(s, e), %s)", other), run("T_INTERSECTS(INTERVAL(s, e), %s)", other); d != apart || i != rows-apart {
				t.Errorf("%s: %d disjoint and %d intersecting, expected %d and %d", other, d, i, apart, rows-apart)
			}
		}
	}
}
