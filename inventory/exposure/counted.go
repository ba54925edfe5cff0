package exposure

import (
	"math"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
)

// Complete makes a whole week of what was counted: the mean flow an hour and
// the shape of its 168 hours, mean 1. Hours that were never counted take the
// shape of the week that the target's kind keeps, scaled so that both agree
// over the hours that were counted. Where that week has nobody in any of them
// it gives no scale, and the rest takes the mean of what was counted.
//
// ok is false where no hour was counted at all.
//
// A count is taken as it is: the calendar's exceptions do not apply to it,
// since what was counted already holds the days it was counted on.
func Complete(c *inventory.CountedWeek, like *profile.Week) (perHour float64, shape profile.Week, ok bool) {
	var counted, expected float64
	seen := 0
	for h := range c.PerHour {
		if c.Seen[h] > 0 {
			seen++
			counted += c.PerHour[h]
			expected += like[h]
		}
	}
	if seen == 0 {
		return 0, shape, false
	}
	sum := 0.0
	for h := range shape {
		switch {
		case c.Seen[h] > 0:
			shape[h] = c.PerHour[h]
		case expected > 0:
			shape[h] = like[h] * counted / expected
		default:
			shape[h] = counted / float64(seen)
		}
		sum += shape[h]
	}
	perHour = sum / profile.HoursInWeek
	for h := range shape {
		if perHour > 0 {
			shape[h] /= perHour
		} else {
			shape[h] = 1
		}
	}
	return perHour, shape, true
}

func checkCounted(t *inventory.Target, field string, c *inventory.CountedWeek) error {
	for h, v := range c.PerHour {
		if c.Seen[h] < 0 || c.Seen[h] > 0 && (!(v >= 0) || math.IsInf(v, 1)) {
			return inventory.Errorf(inventory.Invalid, "target %d: %s, hour %d of the week: %v from %d counts: expected 0 or more an hour", t.ID, field, h, v, c.Seen[h])
		}
	}
	return nil
}
