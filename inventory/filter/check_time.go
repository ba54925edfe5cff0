package filter

import "fmt"

// intervalsOnly are the temporal functions that the standard defines for
// intervals alone: "using these functions with instants will result in a client
// error" (21-065r2, 7.7.2).
var intervalsOnly = map[string]bool{
	"t_contains": true, "t_during": true, "t_finishedBy": true, "t_finishes": true, "t_meets": true,
	"t_metBy": true, "t_overlappedBy": true, "t_overlaps": true, "t_startedBy": true, "t_starts": true,
}

func (c *checker) temporal(e *Op, path string, types []Type) error {
	if !intervalsOnly[e.Name] {
		return c.all(e, path, types, "a date, a timestamp or an interval", DateType, TimestampType, IntervalType)
	}
	for i, t := range types {
		if !t.is(IntervalType) {
			return c.fail(e.Args[i], fmt.Sprintf("%s/%d", path, i), "%s has %s, %s: it compares intervals, such as INTERVAL('2026-01-01', '2026-12-31'); for instants use T_BEFORE, T_AFTER, T_EQUALS, T_DISJOINT or T_INTERSECTS", shown(e.Name), describe(e.Args[i]), a(t))
		}
	}
	return nil
}

// interval sees that both ends are instants and in their order.
func (c *checker) interval(e *Interval, path string) error {
	for i, end := range []Expr{e.Start, e.End} {
		if end == nil {
			continue
		}
		place := fmt.Sprintf("%s/interval/%d", path, i)
		if err := intervalMember(end); err != nil {
			return c.fail(end, place, "%s", err)
		}
		t, err := c.typeOf(end, place)
		if err != nil {
			return err
		}
		if !t.instant() {
			return c.fail(end, place, "an interval has %s, %s, for an end: expected a date or a timestamp", describe(end), a(t))
		}
	}
	if start, ok := instantOf(e.Start); ok {
		if end, ok := instantOf(e.End); ok && end.Before(start) {
			return c.fail(e, path, "the interval ends %s, before it starts, %s", instantString(e.End), instantString(e.Start))
		}
	}
	return nil
}
