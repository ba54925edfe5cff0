package importers_test

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/underbough/underbough/importers"
	"github.com/underbough/underbough/inventory"
)

func TestParseMapping(t *testing.T) {
	m, err := importers.ParseMapping([]byte(`
# a comment
tag: TreeNo
dbh: {from: DIAMETER, unit: in, max: 200}
status:
  from: STATE
  values: {Live: alive, "": alive}
species: {value: Acer campestre}
`))
	want := importers.Mapping{
		"tag": {From: "TreeNo"}, "dbh": {From: "DIAMETER", Unit: "in", Max: 200},
		"status": {From: "STATE", Values: map[string]string{"Live": "alive", "": "alive"}}, "species": {Value: "Acer campestre"},
	}
	if err != nil || !maps.EqualFunc(m, want, func(a, b importers.Rule) bool {
		return a.From == b.From && a.Unit == b.Unit && a.Value == b.Value && a.Max == b.Max && maps.Equal(a.Values, b.Values)
	}) {
		t.Errorf("%+v, %v", m, err)
	}
	if err := m.Check(inventory.RoleTrees, []string{"TreeNo", "DIAMETER", "STATE"}); err != nil {
		t.Error(err)
	}
}

func TestParseMappingErrors(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"unknown key", "tag: T\n\ndbh:\n  from: D\n  units: in\n", "5"},
		{"unknown key in one line", "tag: T\ndbh: {from: D, units: in}\n", "2"},
		{"broken", "tag: T\ndbh: {from: D\n", "2"},
		{"a list", "tag: T\ndbh: [1, 2]\n", "2"},
		{"a rule twice", "tag: T\ntag: U\n", "2"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := importers.ParseMapping([]byte(c.text))
			if err == nil || inventory.KindOf(err) != inventory.Invalid || !strings.Contains(err.Error(), "["+c.want+":") {
				t.Errorf("want an error that names line %s: %v", c.want, err)
			}
		})
	}
	for _, text := range []string{"", "# nothing\n"} {
		if m, err := importers.ParseMapping([]byte(text)); err != nil || m == nil || len(m) != 0 {
			t.Errorf("an empty file: %v, %v; want an empty mapping", m, err)
		}
	}
}

func TestCheckMapping(t *testing.T) {
	columns := []string{"D", "K"}
	for _, c := range []struct {
		name string
		role inventory.Role
		m    importers.Mapping
		want []string
	}{
		{"unknown field", "trees", importers.Mapping{"girth": {From: "D"}}, []string{`"girth"`, "dbh"}},
		{"no column", "trees", importers.Mapping{"tag": {From: "E"}}, []string{"tag", `"E"`, "D, K"}},
		{"nothing", "trees", importers.Mapping{"tag": {}}, []string{"tag", "from"}},
		{"both", "trees", importers.Mapping{"tag": {From: "D", Value: "1"}}, []string{"tag", "one of the two"}},
		{"no unit", "trees", importers.Mapping{"dbh": {From: "D"}}, []string{"dbh", `unit of "D"`, "in"}},
		{"unknown unit", "trees", importers.Mapping{"dbh": {From: "D", Unit: "ell"}}, []string{"dbh", `"ell"`, "cm"}},
		{"unit of words", "trees", importers.Mapping{"tag": {From: "D", Unit: "cm"}}, []string{"tag", "no unit"}},
		{"translated into nothing known", "trees", importers.Mapping{"status": {From: "K", Values: map[string]string{"x": "felled"}}}, []string{"status", `"felled"`, "removed"}},
		{"unknown kind", "targets", importers.Mapping{"kind": {Value: "parkng"}}, []string{"kind", `"parkng"`, "parking"}},
		{"one speed without a unit", "targets", importers.Mapping{"speed": {Value: "50"}}, []string{"speed", `"50"`, "km/h"}},
		{"one impossible share", "targets", importers.Mapping{"share_occupied": {Value: "120 %"}}, []string{"share_occupied", "impossible"}},
		{"one bad day", "visits", importers.Mapping{"visited_on": {Value: "31.3.2024"}}, []string{"visited_on", "2024-03-31"}},
		{"limit of a share", "targets", importers.Mapping{"share_occupied": {From: "D", Unit: "%", Max: 200}}, []string{"share_occupied", "at most 100 %"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			err := c.m.Check(c.role, columns)
			if err == nil || inventory.KindOf(err) != inventory.Invalid {
				t.Fatalf("got %v", err)
			}
			for _, want := range c.want {
				if !strings.Contains(err.Error(), want) {
					t.Errorf("%q does not say %s", err, want)
				}
			}
		})
	}
	good := importers.Mapping{"speed": {Value: "50 km/h"}, "share_occupied": {Value: "35", Unit: "%"}, "kind": {Value: "road"}, "stalls": {Value: "12"}}
	if err := good.Check("targets", columns); err != nil {
		t.Error(err)
	}
}

func TestAddRule(t *testing.T) {
	for text, want := range map[string]importers.Rule{
		"dbh=DIAMETER:in":         {From: "DIAMETER", Unit: "in"},
		"dbh=osm:diameter:cm":     {From: "osm:diameter", Unit: "cm"},
		"dbh=osm:diameter":        {From: "osm:diameter"},
		"species=species:de":      {From: "species:de"},
		"species=a=b":             {From: "a=b"},
		"height=Height (ft):feet": {From: "Height (ft)", Unit: "feet"},
		"dbh=:in":                 {From: ":in"},
	} {
		m := importers.Mapping{}
		if err := m.AddRule(text, "trees"); err != nil {
			t.Errorf("%s: %v", text, err)
		}
		name, _, _ := strings.Cut(text, "=")
		if got := m[name]; got.From != want.From || got.Unit != want.Unit {
			t.Errorf("%s: %+v, want %+v", text, got, want)
		}
	}
	for _, text := range []string{"dbh", "=D", "dbh="} {
		if err := (importers.Mapping{}).AddRule(text, "trees"); err == nil || !strings.Contains(err.Error(), "--map "+text) {
			t.Errorf("%s: %v", text, err)
		}
	}
}

func TestGuess(t *testing.T) {
	for _, c := range []struct {
		role    inventory.Role
		columns string
		want    string // field<column:unit, in the order of their names
		unclear string // columns
	}{
		{"trees", "Tree ID|Tag No.|Botanical Name|DBH (in)|Height (ft)|Crown Spread (ft)|Health",
			"condition<Health crown_diameter<Crown Spread (ft):ft dbh<DBH (in):in height<Height (ft):ft source_id<Tree ID species<Botanical Name tag<Tag No.", ""},
		{"trees", "OBJECTID|TREE_TAG|SCIENTIFIC|DBH_CM|HEIGHT_M|PLANT_YEAR", "dbh<DBH_CM:cm height<HEIGHT_M:m planted_year<PLANT_YEAR source_id<OBJECTID species<SCIENTIFIC tag<TREE_TAG", ""},
		{"trees", "treeId|tagNumber|scientificName|dbhCm", "dbh<dbhCm:cm source_id<treeId species<scientificName tag<tagNumber", ""},
		{"trees", "tag|Diameter|Height|crown_radius", "tag<tag", "Diameter|Height|crown_radius"},
		{"trees", "dbh_inches|height_metres", "dbh<dbh_inches:in height<height_metres:m", ""},
		{"trees", "notes|colour", "", ""},
		{"targets", "id|Street_Name|speed_kmh|AADT|share_occupied", "name<Street_Name source_id<id speed<speed_kmh:km/h vehicles_per_day<AADT", "share_occupied"},
		{"cuts", "id|tree_id|cut_type|year|diameter_cm|lateral_cm|azimuth|closure_pct",
			"bearing<azimuth closure<closure_pct:% diameter<diameter_cm:cm kind<cut_type lateral_diameter<lateral_cm:cm made_year<year source_id<id tree_source_id<tree_id", ""},
		{"visits", "tag|date|inspector|health|comments", "condition<health note<comments tree_tag<tag visited_by<inspector visited_on<date", ""},
	} {
		m, unclear := importers.Guess(c.role, strings.Split(c.columns, "|"))
		var got []string
		for name, r := range m {
			line := name + "<" + r.From
			if r.Unit != "" {
				line += ":" + r.Unit
			}
			got = append(got, line)
		}
		slices.Sort(got)
		if strings.Join(got, " ") != c.want {
			t.Errorf("%s:\ngot  %s\nwant %s", c.columns, strings.Join(got, " "), c.want)
		}
		var want []string
		if c.unclear != "" {
			want = strings.Split(c.unclear, "|")
		}
		if len(unclear) != len(want) {
			t.Errorf("%s: unclear %q, want %q", c.columns, unclear, want)
			continue
		}
		for i, column := range want {
			if !strings.HasPrefix(unclear[i].String(), column+" looks like ") {
				t.Errorf("%s: unclear %q, want %q", c.columns, unclear[i], column)
			}
		}
	}
}

func TestValuesAndWhere(t *testing.T) {
	w := newTown(t)
	rows := []string{"1,Live,Tree,A", "2,Gone,Tree,B", "3,Live,Stump,A", "4,Live,Shrub,A", "5,felled?,Tree,A", "6,Live,Tree,C"}
	f := file{
		text: table("id,STATE,Type,Ward", rows...),
		set:  importers.Mapping{"status": {From: "STATE", Values: map[string]string{"Live": "alive", "Gone": "removed"}}},
		where: []importers.Where{
			{Column: "Type", Values: []string{"Tree", "Stump"}}, {Column: "Ward", Values: []string{"A", "B"}},
		},
	}
	w.want(f, 6, 3, 0, 0, 2, 1)
	w.is(`SELECT source_id, status, extra FROM trees ORDER BY 1`,
		`1|alive|{"Type": "Tree", "Ward": "A"}`, `2|removed|{"Type": "Tree", "Ward": "B"}`, `3|alive|{"Type": "Stump", "Ward": "A"}`)
	f.where = []importers.Where{{Column: "Kind", Values: []string{"Tree"}}}
	if _, err := w.try(f); err == nil || !strings.Contains(err.Error(), "Kind") {
		t.Errorf("a column that is not there: %v", err)
	}
}
