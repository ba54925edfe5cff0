package importers_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/underbough/underbough/importers"
	"github.com/underbough/underbough/inventory"
)

// bad is one record of each fault, as GeoJSON: the record, and how the held
// row's field and reason begin.
var bad = []struct{ record, want string }{
	{`{"type":"Feature","properties":{"id":"x"}}`, "geometry|no geometry"},
	{feature(`"id":"x"`, `null`), "geometry|"},
	{feature(`"id":"x"`, `{"type":"Point","coordinates":[190.5,47.2]}`), "geometry|longitude 190.5 is outside"},
	{feature(`"id":"x"`, `{"type":"Point","coordinates":[8.5,97.2]}`), "geometry|latitude 97.2 is outside"},
	{feature(`"id":"x"`, `{"type":"Point","coordinates":[47.2,8.5]}`), "geometry|longitude 47.2 and latitude 8.5 are swapped"},
	{feature(`"id":"x"`, `{"type":"Point","coordinates":[47.2,108.5]}`), "geometry|latitude 108.5 is outside -90 to 90, and longitude 47.2 would fit"},
	{feature(`"id":"x"`, `{"type":"Point","coordinates":[0.0001,0]}`), "geometry|the position 0.0001, 0 is beside 0,0"},
	{feature(`"id":"x"`, `{"type":"Point","coordinates":[18.5,47.2]}`), "geometry|the position 18.5, 47.2 lies 7"},
	{feature(`"id":"x"`, `{"type":"Point","coordinates":[]}`), "geometry|"},
	{feature(`"id":"x"`, `{"type":"Point","coordinates":["8.5","47.2"]}`), "geometry|"},
	{feature(`"id":"x"`, `{"type":"LineString","coordinates":[[8.5,47.2],[8.6,47.2]]}`), "geometry|a LineString: expected a Point"},
	{feature(`"id":"x"`, `{"type":"MultiPoint","coordinates":[[8.5,47.2],[8.6,47.2]]}`), "geometry|a MultiPoint of 2 points"},
	{treeAt(1, `"id":"x","dbh_cm":-5`), "dbh_cm|-5 is impossible"},
	{treeAt(1, `"id":"x","dbh_cm":900`), "dbh_cm|900 is impossible"},
	{treeAt(1, `"id":"x","dbh_cm":[1]`), "dbh_cm|"},
	{treeAt(1, `"id":"x","dbh_cm":"12 ells"`), `dbh_cm|"12 ells": unknown unit "ells"`},
	{treeAt(1, `"id":"x","status":"felled"`), `status|"felled" is none of alive`},
	{treeAt(1, `"id":"x","planted_year":"long ago"`), `planted_year|"long ago" is not a year`},
	{treeAt(1, `"id":"x","note":"a\u0000b"`), "note|the text holds the character NUL"},
	{treeAt(1, `"id":"x","load":1e200000`), "load|a number is beyond all measure"},
	{treeAt(1, `"id":"x","load":[1E-99999]`), "load|a number is beyond all measure"},
	{treeAt(1, `"id":"`+strings.Repeat("x", 501)+`"`), "id|501 bytes are too long"},
	{treeAt(1, `"id":"good"`), `id|the id "good" is that of record 1 already`},
	{`{"type":"Feature","properties":3,"geometry":null}`, "properties|"},
	{`{"type":"Point","coordinates":[8.5,47.2]}`, "type|"},
	{`17`, "|"},
}

func TestEveryReason(t *testing.T) {
	w := newTown(t)
	records := []string{treeAt(0, `"id":"good","dbh_cm":30,"status":"alive","planted_year":2000`)}
	for _, b := range bad {
		records = append(records, b.record)
	}
	text := collection(records...)
	text = text[:len(text)-2] + `,` + treeAt(2, `"id":"last"`) + `,{"type":"Feature","properties":{"id":"broken"` // breaks off
	f := file{text: text, km: importers.DefaultMaxKM, name: "bad.geojson"}
	n := int64(len(bad))
	w.want(f, n+3, 2, 0, 0, 0, n+1)
	rows := w.rows(`SELECT record, field || '|' || reason, row_text, file_name, row_format FROM quarantine ORDER BY record`)
	for i, b := range bad {
		if i >= len(rows) || !strings.HasPrefix(rows[i], fmt.Sprintf("%d|%s", i+2, b.want)) || !strings.HasSuffix(rows[i], "|"+b.record+"|bad.geojson|geojson") {
			t.Errorf("held %d:\n%s\nwant %s of %s", i, rows[min(i, len(rows)-1)], b.want, b.record)
		}
	}
	if last := rows[len(rows)-1]; !strings.HasPrefix(last, fmt.Sprintf("%d||", n+3)) || !strings.Contains(last, `{"type":"Feature","properties":{"id":"broken"`) {
		t.Errorf("the record that breaks off: %s", last)
	}
	// Held once, however often the file comes.
	w.want(f, n+3, 0, 0, 2, 0, n+1)
	w.is(`SELECT count(*), count(*) FILTER (WHERE import_id = 2) FROM quarantine`, fmt.Sprintf("%d|%d", n+1, n+1))
}

func TestHeldCSV(t *testing.T) {
	w := newTown(t)
	f := file{km: 200, name: "bad.csv", text: "id,lon,lat,dbh_cm,note\n" +
		"1,8.5,47.2,30,\n2,,47.2,30,\n3,east,47.2,30,\n4,8.5,97.2,30,\n5,47.2,8.5,30,\n6,8.5,47.2,-1,\n7,8.5,47.2\n1,8.5,47.2,30,\n8,8.5,47.2,30,\"a\nb\"\n9,8.5,47.2,3 ells,\n10,8.5,47.2,30,\"open\n"}
	w.want(f, 11, 2, 0, 0, 0, 9)
	want := []string{"2|lon|no coordinate", `3|lon|coordinate "east" is not a number`, "4|geometry|latitude 97.2", "5|geometry|longitude 47.2 and latitude 8.5 are swapped",
		"6|dbh_cm|-1 is impossible", "7||line 8: the row has 3 cells", `8|id|the id "1" is that of record 1`, `10|dbh_cm|"3 ells"`, "11||line 13: "}
	held := w.held()
	for i := range want {
		if i >= len(held) || !strings.HasPrefix(held[i], want[i]) {
			t.Errorf("held:\n%s\nwant %s", strings.Join(held, "\n"), want[i])
		}
	}
	w.is(`SELECT row_text, row_format FROM quarantine WHERE record = 6`, "6,8.5,47.2,-1,|csv")
}

// Whatever the mixture of good and bad records, every one is accounted for.
func TestCountsAddUp(t *testing.T) {
	w := newTown(t)
	n := 0
	rapid.Check(t, func(t *rapid.T) {
		n++
		var records []string
		wantHeld, wantOut := int64(0), int64(0)
		csv := rapid.Bool().Draw(t, "csv")
		kinds := rapid.SliceOfN(rapid.IntRange(0, 6), 1, 40).Draw(t, "kinds")
		for i, kind := range kinds {
			x, dbh, id, ward := "8.5", "30", fmt.Sprint(i), "in"
			switch kind {
			case 0:
				ward = "out"
				wantOut++
			case 1:
				x = "nowhere"
				if !csv {
					x = `"nowhere"`
				}
				wantHeld++
			case 2:
				dbh = "-1"
				wantHeld++
			case 3:
				id = "twice"
				if slices.Contains(kinds[:i], 3) {
					wantHeld++
				}
			}
			if csv {
				records = append(records, fmt.Sprintf("%s,47.2,%s,%s,%s", x, id, dbh, ward))
			} else {
				records = append(records, feature(fmt.Sprintf(`"id":"%s","dbh_cm":%s,"ward":"%s"`, id, dbh, ward), fmt.Sprintf(`{"type":"Point","coordinates":[%s,47.2]}`, x)))
			}
		}
		f := file{site: fmt.Sprint(n), text: strings.Join(records, "\n"), where: []importers.Where{{Column: "ward", Values: []string{"in"}}}, rules: []string{"dbh=dbh_cm:cm", "source_id=id"}}
		if csv {
			f.text = "lon,lat,id,dbh_cm,ward\n" + f.text
		}
		c, err := w.try(f)
		if err != nil {
			t.Fatal(err)
		}
		read := int64(len(kinds))
		if c.Read != read || c.Quarantined != wantHeld || c.LeftOut != wantOut || c.Added != read-wantHeld-wantOut {
			t.Fatalf("%+v, want %d held and %d left out of %d", c, wantHeld, wantOut, read)
		}
		again, err := w.try(f)
		if err != nil || again.Unchanged != c.Added || again.Added+again.Updated != 0 || again.Quarantined != c.Quarantined {
			t.Fatalf("again: %+v, %v, after %+v", again, err, c)
		}
	})
	w.is(`SELECT count(*) FROM imports WHERE read <> added + updated + unchanged + left_out + quarantined`, "0")
}

func (w *town) readmit(rows []inventory.QuarantineRow, counts ...int64) {
	w.t.Helper()
	c, err := importers.Readmit(w.t.Context(), w.db, rows, importers.Options{Client: 1, MaxKM: -1, Actor: "tester", Year: year})
	if err != nil {
		w.t.Fatal(err)
	}
	if got := []int64{c.Read, c.Added, c.Updated, c.Unchanged, c.LeftOut, c.Quarantined}; !slices.Equal(got, counts) || !c.AddUp() {
		w.t.Errorf("readmitted: read, added, updated, unchanged, left out, quarantined: %v, want %v\nheld: %s", got, counts, strings.Join(w.held(), "\n"))
	}
}

func (w *town) find() []inventory.QuarantineRow {
	w.t.Helper()
	rows, err := w.db.FindQuarantined(w.t.Context(), 1, inventory.QuarantineFilter{})
	if err != nil {
		w.t.Fatal(err)
	}
	return rows
}

func TestReadmitCSV(t *testing.T) {
	w := newTown(t)
	w.load(file{km: 200, name: "bad.csv", text: "\"id\";lon;lat;\"the\nDBH\";note\n" +
		"1;8.5;47.2;30;\n2;;47.2;31;\n3;8.5;97.2;32;\"open\n", rules: []string{"dbh=the\nDBH:cm"}})
	w.load(file{km: 200, name: "tabs.tsv", text: "id\tlon\tlat\tdbh_cm\n4\t8.5\t47.2\t-3\n\t8.5\t47.3\t3000\n"})
	held := w.find()
	if len(held) != 4 {
		t.Fatalf("held: %+v", held)
	}
	// As they are: a quote that is open swallows nothing that comes after it.
	w.readmit(held, 4, 0, 0, 0, 0, 4)
	again := w.find()
	if len(again) != 4 || again[0].ID != held[0].ID || again[1].Record != 3 {
		t.Errorf("held again: %+v", again)
	}
	for i := range again {
		again[i].Text = map[int64]string{2: "2;8.6;47.2;31;", 3: "3;8.5;47.2;32;"}[again[i].Record]
		if again[i].FileName == "tabs.tsv" {
			again[i].Text = map[int64]string{1: "4\t8.5\t47.2\t0", 2: "\t8.5\t47.3\t3001"}[again[i].Record]
		}
	}
	w.readmit(again, 4, 3, 0, 0, 0, 1)
	w.is(`SELECT source_id, ST_AsText(geometry), round(dbh_m::numeric, 6) FROM trees ORDER BY 1`, "1|POINT(8.5 47.2)|0.300000", "2|POINT(8.6 47.2)|0.310000", "3|POINT(8.5 47.2)|0.320000", "4|POINT(8.5 47.2)|∅")
	w.is(`SELECT record, state, row_text FROM quarantine WHERE file_name = 'tabs.tsv' ORDER BY quarantine_id`, "1|readmitted|4\t8.5\t47.2\t-3", "2|readmitted|\t8.5\t47.3\t3000", "2|held|\t8.5\t47.3\t3001")
}

func TestReadmitGeoJSON(t *testing.T) {
	w := newTown(t)
	f := file{km: 200, name: "bad.geojson", text: collection(
		treeAt(0, `"id":"1","ward":"in"`), treeAt(1, `"id":"1","species":"other","ward":"in"`),
		"{\"type\":\"Feature\",\n\"properties\":{\"id\":\"2\",\"dbh_cm\":-1,\"ward\":\"in\"},\n\"geometry\":{\"type\":\"Point\",\"coordinates\":[8.5,47.2]}}",
		feature(`"id":"3","ward":"in"`, `{"type":"Point","coordinates":[47.2,8.5]}`)),
		rules: []string{"dbh=dbh_cm:cm"}, where: []importers.Where{{Column: "ward", Values: []string{"in"}}}}
	w.want(f, 4, 1, 0, 0, 0, 3)
	before := w.rows(`SELECT version, species FROM trees`)
	// A row with an id that another record has must not overwrite that tree.
	w.readmit(w.find(), 3, 0, 0, 0, 0, 3)
	w.is(`SELECT version, species FROM trees`, before...)
	w.is(`SELECT record, state FROM quarantine ORDER BY record`, "2|held", "3|held", "4|held")
	rows := w.find()
	rows[0].Text = strings.Replace(rows[0].Text, `"id":"1"`, `"id":"1b"`, 1)
	rows[1].Text = strings.Replace(rows[1].Text, "-1", "40", 1)
	w.readmit(rows, 3, 2, 0, 0, 0, 1)
	w.is(`SELECT source_id, species FROM trees ORDER BY 1`, "1|∅", "1b|other", "2|∅")
	w.is(`SELECT record, state FROM quarantine ORDER BY record`, "2|readmitted", "3|readmitted", "4|held")

	if n, err := w.db.DropQuarantined(t.Context(), 1, []int64{rows[2].ID, rows[0].ID}); n != 1 || err != nil {
		t.Errorf("%d dropped, %v", n, err)
	}
	if left := w.find(); len(left) != 0 {
		t.Errorf("left: %+v", left)
	}
	w.is(`SELECT record, state, row_text <> '' FROM quarantine ORDER BY record`, "2|readmitted|t", "3|readmitted|t", "4|dropped|t")
}

func TestReadmitTargetsAndCuts(t *testing.T) {
	w := newTown(t)
	at := `{"type":"Point","coordinates":[8.5,47.2]}`
	w.load(file{role: inventory.RoleTargets, kind: "parking", layer: "lots", name: "lots", text: collection(feature(`"id":1`, at), feature(`"id":1,"name":"second"`, at))})
	w.load(file{role: inventory.RoleCuts, name: "cuts", text: "tree_tag,kind\n1,topping\n2,topping\n"})
	w.readmit(w.find(), 3, 0, 0, 0, 0, 3)
	w.is(`SELECT name FROM targets`, "∅")
	w.load(file{text: table("tag", "1")})
	w.readmit(w.find(), 3, 1, 0, 0, 0, 2)
	w.is(`SELECT kind FROM cuts`, "topping")
}
