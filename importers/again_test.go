package importers_test

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/underbough/underbough/importers"
	"github.com/underbough/underbough/inventory"
)

var threeTrees = collection(
	treeAt(1, `"id":"A","tag":"1","species":"Acer campestre","dbh_cm":40,"height_m":12,"stems":2,"ward":"north","list":[1,2],"topped_year":2015`),
	treeAt(2, `"id":"B","tag":"2","species":"Tilia cordata","dbh_cm":"30;40","cuts":[{"kind":"topping","made_year":2012,"diameter_cm":14},{"kind":"stub"}]`),
	treeAt(3, `"tag":"3","species":"Fagus sylvatica","dbh_cm":55`),
	feature(`"species":"Ulmus glabra"`, `{"type":"Point","coordinates":[8.7,47.2]}`),
	feature(`"species":"Ulmus minor"`, `{"type":"Point","coordinates":[8.7,47.2]}`),
)

func TestSameFileAgain(t *testing.T) {
	w := newTown(t)
	f := file{text: threeTrees}
	w.want(f, 5, 5, 0, 0, 0, 0)
	w.is(`SELECT source_id, version, stems, round(dbh_m::numeric, 6) FROM trees ORDER BY tree_id`, "A|1|2|0.400000", "B|1|2|0.500000", "∅|1|∅|0.550000", "∅|1|∅|∅", "∅|1|∅|∅")
	touched := w.rows(`SELECT count(*) FROM touched`)
	w.unmoved(func() {
		for range 2 {
			c := w.want(f, 5, 0, 0, 5, 0, 0)
			if c.CutsAdded != 0 || c.CutsUpdated != 0 || c.CutsUnchanged != 3 {
				t.Errorf("cuts: %+v", c)
			}
		}
	})
	w.is(`SELECT count(*) FROM touched`, touched...)
	w.is(`SELECT count(*) FROM history`, "0")
}

func TestChangedRow(t *testing.T) {
	w := newTown(t)
	w.load(file{text: threeTrees})
	changed := strings.Replace(threeTrees, "Tilia cordata", "Tilia platyphyllos", 1)
	c := w.want(file{text: changed}, 5, 0, 1, 4, 0, 0)
	if c.CutsUnchanged != 3 {
		t.Errorf("cuts: %+v", c)
	}
	w.is(`SELECT source_id, species, version, changed_by FROM trees WHERE version > 1`, "B|Tilia platyphyllos|2|tester")
	w.is(`SELECT collection, change, h.version, before->>'species', before->>'version', h.valid_from = (before->>'changed_at')::timestamptz, h.actor
		FROM history h JOIN trees ON tree_id = feature_id`, "trees|update|1|Tilia cordata|1|t|tester")

	t.Run("a hair's breadth", func(t *testing.T) {
		// 1e-7 degrees are a centimetre, finer than single precision holds.
		w.want(file{text: strings.Replace(changed, "8.5001,47.2", "8.5001001,47.2", 1)}, 5, 0, 1, 4, 0, 0)
		w.is(`SELECT ST_X(geometry) FROM trees WHERE source_id = 'A'`, "8.5001001")
	})
	t.Run("an unmapped list", func(t *testing.T) {
		// A shorter list is contained in the longer one, and is a change all the same.
		w.want(file{text: strings.Replace(strings.Replace(changed, "8.5001,47.2", "8.5001001,47.2", 1), "[1,2]", "[1]", 1)}, 5, 0, 1, 4, 0, 0)
		w.is(`SELECT extra FROM trees WHERE source_id = 'A'`, `{"list": [1], "ward": "north"}`)
	})
}

func TestFewerColumns(t *testing.T) {
	w := newTown(t)
	w.load(file{text: threeTrees})
	w.want(file{text: table("id,height_ft", "A,50", "B,60")}, 2, 0, 2, 0, 0, 0)
	w.is(`SELECT source_id, tag, species, round(dbh_m::numeric, 6), round(height_m::numeric, 3), stems, extra, status FROM trees WHERE source_id IS NOT NULL ORDER BY 1`,
		`A|1|Acer campestre|0.400000|15.240|2|{"list": [1, 2], "ward": "north"}|alive`, `B|2|Tilia cordata|0.500000|18.288|2|∅|alive`)
	w.is(`SELECT count(*) FROM cuts`, "3")

	t.Run("a diameter says nothing of stems", func(t *testing.T) {
		w.want(file{text: table("id,dbh_cm", "A,45")}, 1, 0, 1, 0, 0, 0)
		w.is(`SELECT stems, round(dbh_m::numeric, 6) FROM trees WHERE source_id = 'A'`, "2|0.450000")
	})
	t.Run("an empty cell of a column that is there", func(t *testing.T) {
		w.want(file{text: table("id,species", "A,")}, 1, 0, 1, 0, 0, 0)
		w.is(`SELECT species, tag FROM trees WHERE source_id = 'A'`, "∅|1")
	})
}

func TestMatchOnTag(t *testing.T) {
	w := newTown(t)
	w.load(file{text: table("tag,species", "1,Acer", "2,Tilia", "2,Fagus", "3,Ulmus")})
	if got := w.held(); len(got) != 1 || !strings.Contains(got[0], `3|tag|the tag "2" is that of record 2 already`) {
		t.Errorf("held: %q", got)
	}
	// The export now has ids: the tags lead to the trees, which take the ids on.
	withIDs := table("id,tag,species", "X,1,Acer", "Y,3,Ulmus glabra")
	w.want(file{text: withIDs}, 2, 0, 2, 0, 0, 0)
	w.unmoved(func() { w.want(file{text: withIDs}, 2, 0, 0, 2, 0, 0) })
	w.is(`SELECT source_id, tag, species FROM trees ORDER BY tree_id`, "X|1|Acer", "∅|2|Tilia", "Y|3|Ulmus glabra")
	// From now on the id counts, whatever the tag.
	w.want(file{text: table("id,tag,species", "X,9,Acer")}, 1, 0, 1, 0, 0, 0)
	w.is(`SELECT source_id, tag FROM trees WHERE source_id = 'X'`, "X|9")
	// A list without ids finds it by its tag and takes no id away.
	w.want(file{text: table("tag,species,id", "9,Acer rubrum,")}, 1, 0, 1, 0, 0, 0)
	w.is(`SELECT source_id, species FROM trees WHERE tag = '9'`, "X|Acer rubrum")

	t.Run("two records of one tag", func(t *testing.T) {
		w.want(file{text: table("id,tag", "P,2", "Q,2")}, 2, 1, 1, 0, 0, 0)
		w.is(`SELECT source_id, species FROM trees WHERE tag = '2' ORDER BY 1`, "P|Tilia", "Q|∅")
	})
	t.Run("ids of Features", func(t *testing.T) {
		f := file{text: `{"type":"Feature","id":77,"properties":{"tag":"44"},"geometry":{"type":"Point","coordinates":[8.5,47.3]}}`}
		w.load(file{text: table("tag", "44")})
		w.want(f, 1, 0, 1, 0, 0, 0)
		w.is(`SELECT source_id FROM trees WHERE tag = '44'`, "77")
		w.unmoved(func() { w.want(f, 1, 0, 0, 1, 0, 0) })
	})
}

// Trees that people drew in a desktop program have keys of their own.
func TestTreesMadeByHand(t *testing.T) {
	w := newTown(t)
	w.load(file{text: table("tag", "1")})
	w.exec(`INSERT INTO trees (client_id, site_id, source_id, tag, geometry) VALUES
		(1, 1, 'H', '7', 'SRID=4326;POINT(8.51 47.2)'), (1, 1, NULL, '1', 'SRID=4326;POINT(8.52 47.2)')`)
	w.want(file{text: table("id,species", "H,Acer")}, 1, 0, 1, 0, 0, 0)
	w.is(`SELECT species, tag FROM trees WHERE source_id = 'H'`, "Acer|7")
	w.want(file{role: inventory.RoleCuts, text: "tree_source_id,kind\nH,topping\n"}, 1, 1, 0, 0, 0, 0)

	// One tag, two trees: the record with that tag is the imported one's, and so
	// are its cuts.
	f := file{text: collection(treeAt(0, `"tag":"1","cuts":[{"kind":"stub"}]`))}
	w.want(f, 1, 0, 0, 1, 0, 0)
	w.is(`SELECT t.match_key FROM cuts JOIN trees t USING (client_id, tree_id) WHERE kind = 'stub'`, "tag:1")
}

// What was made through the views is what an import of its source id finds: it is
// neither made a second time nor mixed up with another.
func TestRecordsMadeThroughTheViews(t *testing.T) {
	w := newTown(t)
	w.load(file{text: table("id", "A")})
	w.exec(`INSERT INTO gis.trees (source_id, geometry) VALUES ('H', 'SRID=4326;POINT(8.51 47.2)');
		INSERT INTO gis.targets (source_id, layer, kind, geometry) VALUES ('1', 'lots', 'parking', 'SRID=4326;POINT(8.5 47.2)')`)
	w.want(file{text: table("id,species", "H,Acer")}, 1, 0, 1, 0, 0, 0)
	lots := file{role: inventory.RoleTargets, kind: "parking", layer: "lots", text: collection(feature(`"id":1,"name":"a"`, `{"type":"Point","coordinates":[8.5,47.2]}`))}
	w.want(lots, 1, 0, 1, 0, 0, 0)
	w.is(`SELECT layer, source_id, name, version FROM targets`, "lots|1|a|2")
	// A tree whose source id is corrected is another from then on.
	w.exec(`UPDATE gis.trees SET source_id = 'B' WHERE source_id = 'A'`)
	w.want(file{text: table("id,species", "A,Tilia", "B,Quercus")}, 2, 1, 1, 0, 0, 0)
	w.is(`SELECT source_id, species FROM trees ORDER BY tree_id`, "B|Quercus", "H|Acer", "A|Tilia")
}

func TestDaysOfNoUse(t *testing.T) {
	w := newTown(t)
	w.load(file{text: table("tag", "1")})
	w.want(file{role: inventory.RoleVisits, text: "tree_tag,visited_on\n1,0000-05-01\n1,0999-12-31\n1,1000-01-01\n"}, 3, 1, 0, 0, 0, 2)
	w.is(`SELECT reason FROM quarantine ORDER BY record LIMIT 1`, `"0000-05-01": expected a day from the year 1000 on`)
}

func TestHandEditsStay(t *testing.T) {
	w := newTown(t)
	targets := file{role: inventory.RoleTargets, kind: "parking", name: "lots", layer: "lots", text: collection(
		feature(`"id":1,"stalls":20`, `{"type":"Polygon","coordinates":[[[8.5,47.2],[8.501,47.2],[8.501,47.201],[8.5,47.2]]]}`))}
	cuts := file{role: inventory.RoleCuts, text: "id,tree_tag,kind,diameter_cm\nK,1,topping,20\n"}
	w.load(file{text: threeTrees})
	w.load(targets)
	w.load(cuts)
	w.exec(`UPDATE trees SET species = 'Acer opalus', geometry = 'SRID=4326;POINT(8.6 47.2)' WHERE source_id = 'A';
		UPDATE cuts SET diameter_m = 0.3 WHERE source_id = 'K'; UPDATE cuts SET diameter_m = 0.2 WHERE match_key = 'column:topped_year';
		UPDATE targets SET stalls = 33`)
	w.unmoved(func() {
		w.want(file{text: threeTrees}, 5, 0, 0, 5, 0, 0)
		w.want(targets, 1, 0, 0, 1, 0, 0)
		w.want(cuts, 1, 0, 0, 1, 0, 0)
	})
	w.is(`SELECT species, ST_X(geometry), (SELECT diameter_m FROM cuts WHERE source_id = 'K'), (SELECT stalls FROM targets) FROM trees WHERE source_id = 'A'`, "Acer opalus|8.6|0.3|33")
	// A change elsewhere in the row leaves the cut of its topped_year alone.
	w.load(file{text: strings.Replace(threeTrees, `"height_m":12`, `"height_m":13`, 1)})
	w.is(`SELECT diameter_m, version FROM cuts WHERE match_key = 'column:topped_year'`, "0.2|2")
}

func TestSecondSite(t *testing.T) {
	w := newTown(t)
	w.want(file{text: threeTrees, site: "east"}, 5, 5, 0, 0, 0, 0)
	w.want(file{text: threeTrees, site: "west"}, 5, 5, 0, 0, 0, 0)
	w.want(file{text: strings.Replace(threeTrees, "Acer", "Alnus", 1), site: "west"}, 5, 0, 1, 4, 0, 0)
	w.is(`SELECT name, count(*), count(*) FILTER (WHERE species LIKE 'Alnus%') FROM trees JOIN sites USING (client_id, site_id) GROUP BY 1 ORDER BY 1`, "east|5|0", "west|5|1")
	w.is(`SELECT name, count(*) FROM cuts JOIN sites USING (client_id, site_id) GROUP BY 1 ORDER BY 1`, "east|3", "west|3")
}

// A first load goes straight into the table and a later one is staged and
// merged; both must come to the same.
func TestBothRoads(t *testing.T) {
	straight, merged := newTown(t), newTown(t)
	merged.load(file{text: table("id", "other"), site: "elsewhere"})
	var many []string
	for i := range 3000 {
		many = append(many, treeAt(i, fmt.Sprintf(`"id":%d,"tag":"t%d","dbh_cm":%d,"species":"Acer \"é\"","planted_year":%d,"lean_deg":%d,"lean_bearing_deg":%d,"brittle":%t,"crown":%s,"x":%d,"cuts":[{"kind":"topping","made_year":2010,"bare_share_pct":%d}],"topped_year":%d`,
			i%2900, i, i%90, 1900+i%100, i%30, i%360, i%7 == 0, map[bool]string{true: crownOf(i, i%6 == 0), false: "null"}[i%3 == 0], i, i%100, 2000+i%20)))
	}
	text := collection(slices.Concat(many, []string{threeTrees[len(`{"type":"FeatureCollection","features":[`) : len(threeTrees)-2]})...)
	lots := collection(
		feature(`"id":1,"name":"P1","stalls":"20"`, `{"type":"Polygon","coordinates":[[[8.5,47.2],[8.501,47.201],[8.501,47.2],[8.5,47.201],[8.5,47.2]]]}`),
		feature(`"name":"P2"`, `{"type":"MultiPolygon","coordinates":[[[[8.5,47.2],[8.501,47.2],[8.501,47.201],[8.5,47.2]]]]}`))
	merged.load(file{role: inventory.RoleTargets, kind: "plaza", site: "elsewhere", layer: "x", text: lots})
	var counts [2]inventory.Counts
	for i, w := range []*town{straight, merged} {
		counts[i] = w.load(file{text: text})
		w.load(file{role: inventory.RoleTargets, kind: "parking", layer: "lots", text: lots})
	}
	if counts[0] != counts[1] || counts[0].Quarantined != 100 {
		t.Errorf("straight in: %+v\nmerged: %+v", counts[0], counts[1])
	}
	for _, table := range []string{"trees", "cuts", "targets", "quarantine"} {
		where := ` WHERE site_id = (SELECT site_id FROM sites WHERE name = 'town')`
		columns := `to_jsonb(t) - 'tree_id' - 'cut_id' - 'target_id' - 'quarantine_id' - 'site_id' - 'import_id' - 'changed_at' - 'held_at'`
		sql := `SELECT ` + columns + ` FROM ` + table + ` t` + where + ` ORDER BY to_jsonb(t)->>'record', to_jsonb(t)->>'tree_id', to_jsonb(t)->>'match_key'`
		if table == "cuts" {
			sql = `SELECT t.match_key, ` + strings.ReplaceAll(columns, "(t)", "(c)") + ` x FROM cuts c JOIN trees t USING (client_id, tree_id) WHERE t.site_id = (SELECT site_id FROM sites WHERE name = 'town') ORDER BY 1, 2`
		}
		a, b := straight.rows(sql), merged.rows(sql)
		slices.Sort(a)
		slices.Sort(b)
		if len(a) == 0 || !slices.Equal(a, b) {
			t.Errorf("%s: %d rows straight in and %d merged differ", table, len(a), len(b))
			for i := range min(len(a), len(b)) {
				if a[i] != b[i] {
					t.Fatalf("\n%s\n%s", a[i], b[i])
				}
			}
		}
	}
	if got, want := straight.rows(schema), merged.rows(schema); !slices.Equal(got, want) || len(got) < 30 {
		t.Errorf("the schema after the first load:\n%s\nand never touched:\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// schema lists all that a load straight in sets aside and must put back.
const schema = `
	SELECT 'index', indexdef FROM pg_indexes WHERE schemaname = 'public' AND tablename IN ('trees', 'cuts', 'visits', 'targets', 'sites') UNION ALL
	SELECT conrelid::regclass || ' ' || conname, pg_get_constraintdef(oid) || convalidated::text FROM pg_constraint WHERE connamespace = 'public'::regnamespace AND conrelid <> 0 UNION ALL
	SELECT tgrelid::regclass || ' ' || tgenabled::text, pg_get_triggerdef(oid) FROM pg_trigger WHERE NOT tgisinternal ORDER BY 1, 2`

func TestManyAtOnePlace(t *testing.T) {
	w := newTown(t)
	var rows []string
	for range 5000 {
		rows = append(rows, feature(`"species":"Acer"`, `{"type":"Point","coordinates":[8.5,47.2]}`))
	}
	f := file{text: collection(rows...)}
	w.want(f, 5000, 5000, 0, 0, 0, 0)
	w.unmoved(func() { w.want(f, 5000, 0, 0, 5000, 0, 0) })
}

func TestForms(t *testing.T) {
	w := newTown(t)
	points := [][2]string{{"8.5", "47.25"}, {"8.5001234", "47.2"}, {"8.75", "47.1"}}
	var features, plain, wkt []string
	for i, p := range points {
		features = append(features, feature(fmt.Sprintf(`"id":"%d","species":"Acer \"x\", é","dbh_cm":"%d"`, i, 21+i), `{"type":"Point","coordinates":[`+p[0]+`,`+p[1]+`]}`))
		rest := fmt.Sprintf(`%d,"Acer ""x"", é",%d`, i, 21+i)
		plain = append(plain, p[0]+","+p[1]+","+rest)
		wkt = append(wkt, "POINT ("+p[0]+" "+p[1]+"),"+rest)
	}
	forms := map[string]string{
		"collection": collection(features...),
		"lines":      strings.Join(features, "\n") + "\n",
		"sequence":   "\x1e" + strings.Join(features, "\n\x1e") + "\n",
		"points":     "lon,lat,id,species,dbh_cm\n" + strings.Join(plain, "\n"),
		"crlf":       "\ufeffLongitude,Latitude,id,species,dbh_cm\r\n" + strings.Join(plain, "\r\n") + "\r\n",
		"wkt":        "geometry,id,species,dbh_cm\n" + strings.Join(wkt, "\n"),
		"semicolons": "x;y;id;species;dbh_cm\n" + strings.NewReplacer(`,"`, `;"`, `",2`, `";2`, "8.5,", "8,5;", "8.5001234,", "8,5001234;", "8.75,", "8,75;", "47.25,", "47,25;", "47.2,", "47,2;", "47.1,", "47,1;").Replace(strings.Join(plain, "\n")),
	}
	for name, text := range maps.Clone(forms) {
		forms[name+" gzip"] = packed(t, text)
	}
	const rows = `SELECT source_id, species, dbh_m, extra, ST_AsText(geometry) FROM trees JOIN sites USING (client_id, site_id) WHERE name = '%s' ORDER BY 1`
	var want []string
	for i, p := range points {
		want = append(want, fmt.Sprintf(`%d|Acer "x", é|0.2%d|∅|POINT(%s %s)`, i, i+1, p[0], p[1]))
	}
	for name, text := range forms {
		w.want(file{text: text, site: name}, 3, 3, 0, 0, 0, 0)
		w.is(fmt.Sprintf(rows, name), want...)
	}
}

func TestNamedCoordinates(t *testing.T) {
	w := newTown(t)
	w.want(file{text: "E,N,id\n8.5,47.2,1\n", open: importers.OpenOptions{Longitude: "E", Latitude: "N"}}, 1, 1, 0, 0, 0, 0)
	w.want(file{text: "place;id\nPOINT (8.6 47.2);2\n", open: importers.OpenOptions{WKT: "place"}}, 1, 1, 0, 0, 0, 0)
	w.is(`SELECT source_id, ST_AsText(geometry) FROM trees ORDER BY 1`, "1|POINT(8.5 47.2)", "2|POINT(8.6 47.2)")
}
