package demo

import (
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
)

// Where was counted, for two weeks of October of last year: people on the walk
// under the hospital's oaks, and vehicles on a block of the avenue under the
// overhead line.
const (
	countedWalk = "Hospital, long walk"
	countedRoad = "Station Avenue"
	countedDays = 14
)

// firstMonday is the day that counting began.
func (w *writer) firstMonday() time.Time {
	d := time.Date(w.year-1, time.October, 1, 0, 0, 0, 0, time.UTC)
	for d.Weekday() != time.Monday {
		d = d.AddDate(0, 0, 1)
	}
	return d
}

// targetNamed is the id of the first target of a kind and name.
func (t *town) targetNamed(kind inventory.TargetKind, name string) string {
	i := slices.IndexFunc(t.kind(kind), func(g target) bool { return g.name == name })
	if i < 0 {
		panic("the plan has no " + name)
	}
	return targetID(kind, i)
}

// hourly is the shape of a day: about how many an hour, by the hour of the
// clock. Common practice, no source: a peak in the morning and a broader one in
// the afternoon; visitors of the hospital come after lunch.
func hourly(hour int, morning, noon, evening, night float64) float64 {
	peak := func(at, wide, high float64) float64 {
		d := (float64(hour) - at) / wide
		return high * math.Exp(-d*d/2)
	}
	return night + peak(8, 1.3, morning) + peak(14, 2.5, noon) + peak(17, 1.6, evening)
}

// walkCounts is the table of a counter at the walk, by quarters of an hour.
func (w *writer) walkCounts(t *town) []byte {
	r := t.stream(10)
	id := t.targetNamed(inventory.Walkway, countedWalk)
	var rows [][]string
	for d := range countedDays {
		weekend := d%7 >= 5
		for quarter := range 96 {
			mean := hourly(quarter/4, 60, 95, 70, 4)
			if weekend {
				mean = hourly(quarter/4, 15, 130, 60, 4)
			}
			at := w.firstMonday().AddDate(0, 0, d).Add(time.Duration(quarter) * 15 * time.Minute)
			rows = append(rows, []string{id, at.Format("2006-01-02T15:04"), fmt.Sprint(max(0, int(mean/4*r.scatter(0.3)+r.Float64()))), "invented"})
		}
	}
	return table([]string{"target_id", "counted_at", "pedestrians", "note"}, rows)
}

// roadCounts is the table of a counter at the avenue, by the hour.
func (w *writer) roadCounts(t *town) []byte {
	r := t.stream(11)
	id := t.targetNamed(inventory.Road, countedRoad)
	var rows [][]string
	for d := range countedDays {
		weekend := d%7 >= 5
		for hour := range 24 {
			mean := hourly(hour, 520, 210, 560, 25)
			if weekend {
				mean = hourly(hour, 60, 330, 260, 40)
			}
			day := w.firstMonday().AddDate(0, 0, d)
			rows = append(rows, []string{id, day.Format(time.DateOnly), fmt.Sprint(hour), "vehicles", fmt.Sprint(int(mean*r.scatter(0.12) + r.Float64())), "invented"})
		}
	}
	for i, dirty := range w.dirtyCounts(id) {
		rows = slices.Insert(rows, 100*(i+1), dirty)
	}
	return table([]string{"target_id", "date", "hour", "what", "count", "note"}, rows)
}

// crownFile is the file of crowns of park trees, drawn from above.
func (w *writer) crownFile(t *town) []byte {
	var features [][]byte
	for _, c := range t.crowns {
		features = append(features, feature("crown-"+c.tag, w.geometry(orb.Polygon{c.ring}), props{"tag": c.tag, "note": "invented"}))
	}
	return collection(append(features, w.dirtyCrown(t)))
}
