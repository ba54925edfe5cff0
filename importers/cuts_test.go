package importers_test

import (
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
)

// TestLateralRule classes cuts at the lenient limit of a third, itself included
// (common practice, no source); the two in inches are a published teaching case
// (Colorado extension, on cuts to a lateral).
func TestLateralRule(t *testing.T) {
	w := newTown(t)
	w.load(file{text: table("tag", "1")})
	w.want(file{
		role: inventory.RoleCuts, name: "cuts.csv",
		text: "id,tree_tag,cut_type,diameter_cm,lateral_cm\n" +
			"a,1,,60,25\nb,1,,60,20\nc,1,,60,15\nd,1,,60,40\ne,1,,60,\nf,1,,2 in,1 in\ng,1,,2 in,0.5 in\n" +
			"h,1,reduction,60,15\ni,1,heading,60,25\nj,1,topping,60,25\nk,1,heading,60,\nl,1,,60,0\nm,1,,20,60\nn,1,crown lift,20,\n",
	}, 14, 11, 0, 0, 0, 3)
	w.is(`SELECT source_id, kind, given_kind FROM cuts ORDER BY 1`,
		"a|reduction|∅", "b|reduction|∅", "c|heading|∅", "d|reduction|∅", "f|reduction|∅", "g|heading|∅",
		"h|heading|reduction", "i|reduction|heading", "j|topping|∅", "k|heading|∅", "l|heading|∅")
	held := w.held()
	for i, want := range []string{"5|cut_type|the record does not say what kind of cut", "13|lateral_cm|the lateral (0.6 m) is more than twice", `14|cut_type|"crown lift" is none of removal`} {
		if i >= len(held) || !strings.HasPrefix(held[i], want) {
			t.Errorf("held: %q, want %s", held, want)
		}
	}
}

func TestCutsFile(t *testing.T) {
	w := newTown(t)
	w.load(file{text: table("id,tag", "S1,1", "S2,2", "S3,2", "S4,4")})
	f := file{
		role: inventory.RoleCuts, name: "cuts.csv",
		text: "tree_source_id,tree_tag,kind,made_year,diameter_cm,bearing,decay,crew\n" +
			"S1,,topping,2014,12,NE,yes,x\n" + // by id
			",4,topping,2014,12,90,no,\n" + // by tag
			"4,,flush,,,,,\n" + // an id that is a tag
			",2,topping,2014,12,,,\n" + // two trees
			",9,topping,2014,12,,,\n" + // none
			",,topping,2014,12,,,\n" + // names none
			",4,topping,2030,12,,,\n" + // to come
			",4,stub,,,365,,\n" + // no bearing
			",4,topping,2014,12,90,no,\n", // like the second
	}
	w.want(f, 9, 4, 0, 0, 0, 5)
	w.is(`SELECT t.source_id, kind, made_year, diameter_m, bearing_deg, decay, c.extra, c.match_key LIKE '%#2' FROM cuts c JOIN trees t USING (client_id, tree_id) ORDER BY cut_id`,
		`S1|topping|2014|0.12|45|t|{"crew": "x"}|f`, "S4|topping|2014|0.12|90|f|∅|f", "S4|flush|∅|∅|∅|∅|∅|f", "S4|topping|2014|0.12|90|f|∅|t")
	held := w.held()
	for i, want := range []string{
		"4|tree|2 trees of this site carry the tag 2", "5|tree|no tree of this site has the tag or source id 9", "6|tree|the record names no tree",
		"7|made_year|the cut is dated 2030", "8|bearing|365 is impossible",
	} {
		if i >= len(held) || !strings.HasPrefix(held[i], want) {
			t.Errorf("held: %q, want %s", held, want)
		}
	}
	w.unmoved(func() { w.want(f, 9, 0, 0, 4, 0, 5) })
	if again := w.held(); len(again) != len(held) {
		t.Errorf("held again: %q", again)
	}
}

func TestCutsUpdate(t *testing.T) {
	w := newTown(t)
	w.load(file{text: table("tag", "1")})
	w.load(file{role: inventory.RoleCuts, text: "id,tree_tag,kind,made_year,diameter_cm,lateral_cm,height_m,crew\nK,1,topping,2014,12,,6,x\n"})
	// A survey of regrowth brings other columns and leaves the first ones alone.
	survey := file{role: inventory.RoleCuts, text: "id,tree_tag,kind,regrowth_length_m,regrowth_count\nK,1,topping,2.5,7\n"}
	w.want(survey, 1, 0, 1, 0, 0, 0)
	w.is(`SELECT made_year, diameter_m, height_m, regrowth_length_m, regrowth_count, extra, version FROM cuts`, `2014|0.12|6|2.5|7|{"crew": "x"}|2`)
	w.is(`SELECT before->>'regrowth_count', change FROM history`, "∅|update")
	w.unmoved(func() { w.want(survey, 1, 0, 0, 1, 0, 0) })
	w.want(file{role: inventory.RoleCuts, text: "id,tree_tag,kind\nK,1,topping\nK,1,stub\n"}, 2, 0, 0, 1, 0, 1)
}

func TestNestedCuts(t *testing.T) {
	w := newTown(t)
	f := file{text: collection(
		treeAt(1, `"tag":"1","cuts":[{"kind":"topping","made_year":2012,"diameter_in":"6","crew":"x"},{"cut":"topping","made_year":2012},{"diameter_cm":60,"lateral_cm":20}]`),
		treeAt(2, `"tag":"2","cuts":"[{\"kind\":\"stub\"}]"`), // as a writer leaves it that knows no lists
		treeAt(3, `"tag":"3","cuts":[]`),
		treeAt(4, `"tag":"4","cuts":null`),
		treeAt(5, `"tag":"5","cuts":2`),
		treeAt(6, `"tag":"6","cuts":[{"kind":"topping","diameter":12}]`),
		treeAt(7, `"tag":"7","cuts":[{"kind":"stub"},{"kind":"bad"}]`),
		treeAt(8, `"tag":"8","cuts":{"kind":"stub"}`),
	)}
	c := w.want(f, 8, 5, 0, 0, 0, 3)
	if c.CutsAdded != 4 {
		t.Errorf("cuts: %+v", c)
	}
	w.is(`SELECT tag, kind, made_year, round(diameter_m::numeric, 6), c.extra FROM cuts c JOIN trees USING (client_id, tree_id) ORDER BY tag, kind DESC, diameter_m`,
		`1|topping|2012|0.152400|{"crew": "x"}`, "1|topping|2012|∅|∅", "1|reduction|∅|0.600000|∅", "2|stub|∅|∅|∅")
	w.is(`SELECT extra FROM trees WHERE tag = '5'`, `{"cuts": 2}`)
	held := w.held()
	for i, want := range []string{"6|cuts[0]|a diameter, length or height without its unit", `7|cuts[1].kind|"bad" is none of`, "8|cuts|expected a list"} {
		if i >= len(held) || !strings.HasPrefix(held[i], want) {
			t.Errorf("held: %q, want %s", held, want)
		}
	}
	w.unmoved(func() { w.load(f) })
	f.text = strings.Replace(f.text, `"diameter_in":"6"`, `"diameter_in":"8"`, 1)
	c = w.load(f)
	if c.CutsUpdated != 1 || c.CutsUnchanged != 3 || c.Unchanged != 5 {
		t.Errorf("cuts: %+v", c)
	}
}

func TestPlainCuts(t *testing.T) {
	w := newTown(t)
	f := file{text: table("tag,topped_year,headed,lion_tailed", "1,2014,no,", "2,0,,yes", "3,,2010-05-01,never", "4,yes,,", "5,2031,,", "6,twice,,", "7,n,N,No")}
	c := w.want(f, 7, 5, 0, 0, 0, 2)
	if c.CutsAdded != 4 {
		t.Errorf("cuts: %+v", c)
	}
	w.is(`SELECT tag, kind, made_year FROM cuts JOIN trees USING (client_id, tree_id) ORDER BY tag`, "1|topping|2014", "2|lion-tailing|∅", "3|heading|2010", "4|topping|∅")
	w.unmoved(func() { w.load(f) })
	f.text = strings.Replace(f.text, "1,2014", "1,2018", 1)
	if c := w.load(f); c.CutsUpdated != 1 || c.CutsAdded != 0 {
		t.Errorf("a year corrected: %+v", c)
	}
	w.is(`SELECT made_year, c.version FROM cuts c JOIN trees USING (client_id, tree_id) WHERE tag = '1'`, "2018|2")
}

func TestVisits(t *testing.T) {
	w := newTown(t)
	w.load(file{text: table("id,tag", "S1,1")})
	f := file{role: inventory.RoleVisits, text: "tree_tag,visited_on,visited_by,condition,likelihood,notes,dbh_in\n" +
		"1,2024-03-31,Ada,fair,Probable,ok,10\n1,2025-03-31T09:00:00Z,Ada,,imminent,,\n1,31.3.2024,Ada,,,,\n1,,Ada,,,,\n1,2027-01-01,Ada,,,,\n1,2024-01-01,Ada,,certain,,\n9,2024-01-01,Ada,,,,\n"}
	w.want(f, 7, 2, 0, 0, 0, 5)
	w.is(`SELECT visited_on, visited_by, condition, limb, note, dbh_m FROM visits ORDER BY 1`, "2024-03-31|Ada|fair|probable|ok|0.254", "2025-03-31|Ada|∅|imminent|∅|∅")
	held := w.held()
	for i, want := range []string{`3|visited_on|"31.3.2024" is not a date`, "4|visited_on|the visit has no date", "5|visited_on|the visit is dated 2027-01-01", `6|likelihood|"certain" is none of`, "7|tree|no tree"} {
		if i >= len(held) || !strings.HasPrefix(held[i], want) {
			t.Errorf("held: %q, want %s", held, want)
		}
	}
	w.unmoved(func() { w.want(f, 7, 0, 0, 2, 0, 5) })
	// A corrected visit stands beside the first, which stays as it was.
	w.want(file{role: inventory.RoleVisits, text: strings.Replace(f.text, "fair", "poor", 1)}, 7, 1, 0, 1, 0, 5)
	w.is(`SELECT condition, version FROM visits WHERE visited_on = '2024-03-31' ORDER BY visit_id`, "fair|1", "poor|1")
	w.is(`SELECT count(*) FROM history`, "0")
}
