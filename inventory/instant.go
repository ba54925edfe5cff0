package inventory

import (
	"strings"
	"time"
)

// ParseInstant reads an instant (RFC 3339), or a day as its first and its last
// microsecond in UTC. Some clients leave a T at the end of a day.
func ParseInstant(s string) (first, last time.Time, ok bool) {
	if t, err := time.Parse(time.RFC3339, strings.ToUpper(s)); err == nil {
		return t.UTC(), t.UTC(), true
	}
	t, err := time.Parse(time.DateOnly, strings.TrimSuffix(s, "T"))
	return t, t.AddDate(0, 0, 1).Add(-time.Microsecond), err == nil
}

// ParseAsOf reads the instant that the inventory is to be looked at as of: an
// instant, or a day for its end; today is up to now.
func ParseAsOf(s string, now time.Time) (time.Time, error) {
	_, at, ok := ParseInstant(s)
	if !ok || at.Year() < 1 {
		return at, Errorf(Invalid, "%q: expected an instant such as 2024-05-01T12:00:00Z, or a day for its end (UTC)", s)
	}
	if at.After(now) && at.Format(time.DateOnly) == now.UTC().Format(time.DateOnly) {
		at = now.UTC()
	}
	if at.After(now) {
		return at, Errorf(Invalid, "%q: that is yet to come", s)
	}
	return at, nil
}
