package season

import (
	"fmt"

	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/ranking"
)

// Quiet are the working hours in a row with the fewest people beneath: when to
// close the place.
type Quiet struct {
	Start       int     // hour of the week, 0 = Monday 00:00
	Length      int     // hours
	PersonHours float64 // spent beneath in them
	Mean        float64 // the same over all such windows within the working hours
}

// QuietHours finds the quietest window of the working hours. persons are those
// beneath by the hour of the week (exposure.Hours.Persons). ok is false where the
// working hours hold no window as long as is needed.
func QuietHours(persons []float64, w *practice.WorkHours) (q Quiet, ok bool) {
	q.Length = int(w.Window.Value)
	if q.Start, q.PersonHours, ok = exposure.Quietest(persons, q.Length, w.Holds); !ok {
		return Quiet{}, false
	}
	sum, n := 0.0, 0
	for from := range persons {
		total, fits := 0.0, true
		for i := 0; i < q.Length && fits; i++ {
			hour := (from + i) % len(persons)
			total, fits = total+persons[hour], w.Holds(hour)
		}
		if fits {
			sum, n = sum+total, n+1
		}
	}
	q.Mean = sum / float64(n)
	return q, true
}

// String is the sentence of a crew sheet: "Sat 07:00 to 11:00: 0.3000 person-hours;
// the mean working window of 4 hours has 4.10 person-hours".
func (q Quiet) String() string {
	from, to := ranking.HourName(q.Start), ranking.HourName(q.Start+q.Length)
	if q.Start/24 == (q.Start+q.Length-1)/24 {
		to = fmt.Sprintf("%02d:00", (q.Start+q.Length-1)%24+1)
	}
	return fmt.Sprintf("%s to %s: %s person-hours; the mean working window of %d hours has %s person-hours", from, to, ranking.Figure(q.PersonHours), q.Length, ranking.Figure(q.Mean))
}
