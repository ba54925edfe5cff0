package importers_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/underbough/underbough/importers"
	"github.com/underbough/underbough/inventory"
)

// countedTown has three targets: W and R with ids of their own in two layers,
// and two that share an id or a name.
func countedTown(t *testing.T) *town {
	t.Helper()
	w := newTown(t)
	w.exec(`INSERT INTO sites (client_id, name, time_zone) VALUES (1, 'town', 'Europe/Zurich')`)
	line := `{"type":"LineString","coordinates":[[8.5,47.2],[8.51,47.2]]}`
	w.load(file{role: inventory.RoleTargets, kind: "walkway", layer: "walks", text: collection(
		feature(`"id":"W","name":"River walk"`, line), feature(`"id":"1","name":"Twin"`, line))})
	w.load(file{role: inventory.RoleTargets, kind: "road", layer: "roads", text: collection(
		feature(`"id":"R","name":"Mill road"`, line), feature(`"id":"1","name":"Twin"`, line))})
	return w
}

const counted = `SELECT g.kind, c.counted_at, c.people, c.vehicles FROM counts c JOIN targets g USING (client_id, target_id) ORDER BY 1, 2`

func TestCounts(t *testing.T) {
	w := countedTown(t)
	f := file{role: inventory.RoleCounts, text: "target_source_id,timestamp,pedestrians,cars,weather\n" +
		"W,2026-03-02 08:00,120,,dry\nW,2026-03-02T09:00:00,0,3,wet\nR,2026-03-02 08:00,,410.5,\nMill road,2026-03-02 09:00,,300,\n"}
	w.want(f, 4, 4, 0, 0, 0, 0)
	w.is(counted, "road|2026-03-02 08:00:00|∅|410.5", "road|2026-03-02 09:00:00|∅|300", "walkway|2026-03-02 08:00:00|120|∅", "walkway|2026-03-02 09:00:00|0|3")
	w.is(`SELECT extra, version, changed_by, site_id, import_id IS NOT NULL FROM counts WHERE people = 120`, `{"weather": "dry"}|1|tester|1|t`)
	w.exec(`DELETE FROM touched`)
	w.unmoved(func() { w.want(f, 4, 0, 0, 4, 0, 0) })
	w.is(`SELECT count(*) FROM touched`, "0")

	f.text = strings.Replace(f.text, "120", "130", 1)
	w.want(f, 4, 0, 1, 3, 0, 0)
	w.is(`SELECT c.people, c.version, h.before->>'people', h.change FROM counts c JOIN history h ON h.collection = 'counts' AND h.feature_id = c.count_id`, "130|2|120|update")
	w.is(`SELECT count(*), count(place) FROM touched`, "2|2")

	t.Run("an edit stays", func(t *testing.T) {
		w.exec(`UPDATE counts SET people = 5 WHERE people = 130`)
		w.unmoved(func() { w.want(f, 4, 0, 0, 4, 0, 0) })
	})
	t.Run("the other half of a row", func(t *testing.T) {
		w.want(file{role: inventory.RoleCounts, text: "target_name,date,hour,count\nRiver walk,2026-03-02,8,77\n",
			set: importers.Mapping{"what": {Value: "vehicles"}}}, 1, 0, 1, 0, 0, 0)
		w.is(`SELECT people, vehicles FROM counts WHERE vehicles = 77`, "5|77")
	})
	t.Run("a dry run", func(t *testing.T) {
		w.unmoved(func() {
			w.want(file{role: inventory.RoleCounts, dry: true, text: "target_name,timestamp,people\nRiver walk,2026-03-03 08:00,7\n"}, 1, 1, 0, 0, 0, 0)
		})
	})
}

func TestDirtyCounts(t *testing.T) {
	w := countedTown(t)
	f := file{role: inventory.RoleCounts, name: "counts.csv", text: "target_id,timestamp,people,vehicles\n" +
		"W,2026-03-02 08:00,-1,\nW,2026-03-02 09:00,many,\nW,2026-03-02 10:00,,\nW,2.3.2026 11:00,4,\nW,2026-03-02,4,\nW,2027-03-02 12:00,4,\n" +
		"X,2026-03-02 08:00,4,\n1,2026-03-02 08:00,4,\nTwin,2026-03-02 08:00,4,\n,2026-03-02 08:00,4,\n" +
		"W,2026-03-02 13:00,4,\nW,2026-03-02 13:00,5,\nRiver walk,2026-03-02 13:00,6,\nW,2026-03-02 14:00,2000000,\nW,2026-03-29 02:00,4,\nW,24:00,4,\n"}
	w.want(f, 16, 1, 0, 0, 0, 15)
	w.is(counted, "walkway|2026-03-02 13:00:00|4|∅")
	want := []string{
		`1|people|-1 is impossible`, `2|people|"many" is not a number`, `3|people|nothing was counted`, `4|timestamp|"2.3.2026 11:00" is not a time`,
		`5|timestamp|the count has no hour`, `6|timestamp|the count is dated 2027-03-02`, `7|target|no target of this site has the source id or name X`,
		`8|target|2 targets of this site go by 1`, `9|target|2 targets of this site go by Twin`, `10|target|the record names no target`,
		`12|timestamp|the count "people at W, 2026-03-02 13:00" is that of record 11 already`, `13|time|what was counted at this target and time is that of record 11 already`,
		`14|people|2000000 is impossible`, `15|time|there is no 2026-03-29 02:00 in Europe/Zurich`, `16|timestamp|"24:00" is not a time`,
	}
	held := w.held()
	for i := range want {
		if i >= len(held) || !strings.HasPrefix(held[i], want[i]) {
			t.Errorf("held: %q, want %s", held, want[i])
		}
	}
	w.unmoved(func() { w.want(f, 16, 0, 0, 1, 0, 15) })

	client, o := inventory.ClientID(1), importers.Options{Client: 1, MaxKM: -1, Actor: "tester", Year: year}
	rows, err := w.db.FindQuarantined(t.Context(), client, inventory.QuarantineFilter{})
	if err != nil || len(rows) != len(want) {
		t.Fatal(len(rows), err)
	}
	// Unmended, the repeated count must not take the place of the first.
	if c, err := importers.Readmit(t.Context(), w.db, rows[10:11], o); err != nil || c.Quarantined != 1 {
		t.Errorf("%+v %v", c, err)
	}
	w.is(counted, "walkway|2026-03-02 13:00:00|4|∅")
	rows[0].Text = strings.Replace(rows[0].Text, "-1", "1", 1)
	if c, err := importers.Readmit(t.Context(), w.db, rows[:1], o); err != nil || c.Added != 1 {
		t.Errorf("%+v %v", c, err)
	}

	t.Run("the layer tells two of one id apart", func(t *testing.T) {
		text := "target_id,timestamp,vehicles\n1,2026-03-02 08:00,4\n"
		w.want(file{role: inventory.RoleCounts, layer: "roads", text: text}, 1, 1, 0, 0, 0, 0)
		w.want(file{role: inventory.RoleCounts, text: "layer,target_id,timestamp,vehicles\nroads,1,2026-03-02 08:00,4\nwalks,1,2026-03-02 08:00,4\nnone,1,2026-03-02 08:00,4\n"}, 3, 1, 0, 1, 0, 1)
		w.is(counted, "road|2026-03-02 08:00:00|∅|4", "walkway|2026-03-02 08:00:00|1|∅", "walkway|2026-03-02 08:00:00|∅|4", "walkway|2026-03-02 13:00:00|4|∅")
	})
	for text, says := range map[string]string{
		"timestamp,people\n2026-03-02 08:00,4\n":         "where was counted",
		"target_id,people\nW,4\n":                        "when was counted",
		"target_id,timestamp,count\nW,2026-03-02 08,4\n": "--what people or --what vehicles",
		"target_id,timestamp\nW,2026-03-02 08:00\n":      "holds no counts",
	} {
		if _, err := w.try(file{role: inventory.RoleCounts, text: text}); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v, want %s", text, err, says)
		}
	}
}

// Europe/Zurich is at UTC+1 and, from 29 March to 25 October 2026, UTC+2 (IANA
// time zone database).
func TestTimesOfCounts(t *testing.T) {
	w := countedTown(t)
	for i, c := range []struct{ header, row, hour string }{
		{"timestamp", "2026-03-02 08:00", "2026-03-02 08:00:00"},
		{"timestamp", "2026-03-02T08", "2026-03-02 08:00:00"},
		{"DateTime", "2026-03-02 08:59:59", "2026-03-02 08:00:00"},
		{"timestamp", "2026-03-02T08:00:00.000", "2026-03-02 08:00:00"},
		{"timestamp", "2026-03-02T07:00:00Z", "2026-03-02 08:00:00"},
		{"timestamp", "2026-07-02T07:00Z", "2026-07-02 09:00:00"},
		{"timestamp", "2026-07-01 23:00 -0400", "2026-07-02 05:00:00"},
		{"timestamp", "2026-07-02T12:30+05:30", "2026-07-02 09:00:00"},
		{"timestamp", "2026-03-29T01:00Z", "2026-03-29 03:00:00"},
		{"date,hour", "2026-03-02,0", "2026-03-02 00:00:00"},
		{"date,hour", "2026-03-02,23", "2026-03-02 23:00:00"},
		{"date,hour", "2026-03-02,7.0", "2026-03-02 07:00:00"},
		{"Date,Time", "2026-03-02,07:30", "2026-03-02 07:00:00"},
		{"date,hour", "2026-03-02T00:00:00,07:00", "2026-03-02 07:00:00"},
	} {
		w.exec(`DELETE FROM counts`)
		w.want(file{role: inventory.RoleCounts, name: fmt.Sprint(i), text: "target_id,people," + c.header + "\nW,4," + c.row + "\n"}, 1, 1, 0, 0, 0, 0)
		w.is(`SELECT counted_at FROM counts`, c.hour)
	}

	t.Run("the hour that comes twice", func(t *testing.T) {
		w.exec(`DELETE FROM counts`)
		f := file{role: inventory.RoleCounts, text: "target_id,timestamp,people\nW,2026-10-25T02:00+02:00,10\nW,2026-10-25T02:00+01:00,20\nW,2026-10-25T03:00+01:00,7\n"}
		if c := w.want(f, 3, 3, 0, 0, 0, 0); c.Summed != 0 {
			t.Errorf("%+v", c)
		}
		w.is(`SELECT counted_at, people FROM counts ORDER BY 1`, "2026-10-25 02:00:00|15", "2026-10-25 03:00:00|7")
		w.unmoved(func() { w.want(f, 3, 0, 0, 3, 0, 0) })
		w.exec(`DELETE FROM counts`)
		w.want(file{role: inventory.RoleCounts, text: "target_id,timestamp,people\nW,2026-10-25 02:00,10\nW,2026-10-25 02:00,20\n"}, 2, 1, 0, 0, 0, 1)
		if held := strings.Join(w.held(), "\n"); !strings.Contains(held, "with its offset from UTC where the clock goes back") {
			t.Error(held)
		}
	})
}

func TestPartsOfAnHour(t *testing.T) {
	w := countedTown(t)
	rows := []string{"target_id,timestamp,count,mode"}
	for hour := 8; hour < 10; hour++ {
		for quarter := range 4 {
			rows = append(rows, fmt.Sprintf("W,2026-03-02 %02d:%02d,%d,pedestrian", hour, 15*quarter, 10+quarter), fmt.Sprintf("W,2026-03-02 %02d:%02d,%d,Car", hour, 15*quarter, quarter))
		}
		rows = append(rows, fmt.Sprintf("R,2026-03-02 %02d:00,70,vehicles", hour)) // by the hour beside it
	}
	f := file{role: inventory.RoleCounts, name: "quarters", text: strings.Join(rows, "\n") + "\n"}
	if c := w.want(f, 18, 18, 0, 0, 0, 0); c.Summed != 6 {
		t.Errorf("summed: %+v", c)
	}
	whole := []string{"road|2026-03-02 08:00:00|∅|70", "road|2026-03-02 09:00:00|∅|70", "walkway|2026-03-02 08:00:00|46|6", "walkway|2026-03-02 09:00:00|46|6"}
	w.is(counted, whole...)
	w.unmoved(func() { w.want(f, 18, 0, 0, 18, 0, 0) })

	t.Run("a part is missing", func(t *testing.T) {
		w.exec(`DELETE FROM counts`)
		bad := file{role: inventory.RoleCounts, name: "bad", text: strings.Replace(f.text, "08:15,11,", "08:15,-11,", 1)}
		w.want(bad, 18, 10, 0, 0, 0, 8)
		w.is(counted, whole[0], whole[1], whole[3])
		rows, err := w.db.FindQuarantined(t.Context(), 1, inventory.QuarantineFilter{FileName: "bad"})
		if err != nil || len(rows) != 8 {
			t.Fatal(len(rows), err)
		}
		if !slices.ContainsFunc(rows, func(q inventory.QuarantineRow) bool {
			return q.Reason == "the hour from 2026-03-02 08:00 has 3 of its 4 parts: add what is missing and read them all again"
		}) {
			t.Error(w.held())
		}
		o := importers.Options{Client: 1, MaxKM: -1, Actor: "tester", Year: year}
		for i := range rows {
			rows[i].Text = strings.Replace(rows[i].Text, "-11", "11", 1)
		}
		// One quarter alone is no hour, now as before.
		if c, err := importers.Readmit(t.Context(), w.db, rows[:1], o); err != nil || c.Quarantined != 1 {
			t.Errorf("%+v %v", c, err)
		}
		w.is(counted, whole[0], whole[1], whole[3])
		if rows, err = w.db.FindQuarantined(t.Context(), 1, inventory.QuarantineFilter{FileName: "bad"}); err != nil {
			t.Fatal(err)
		}
		for i := range rows {
			rows[i].Text = strings.Replace(rows[i].Text, "-11", "11", 1)
		}
		if c, err := importers.Readmit(t.Context(), w.db, rows, o); err != nil || c.Added != 8 {
			t.Errorf("%+v %v", c, err)
		}
		w.is(counted, whole...)
	})
}
