package api_test

import (
	"crypto/sha256"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/pruning"
)

// A specification is served as the rules make it, changed by a person, and not
// changed where that breaks a rule without a reason.
func TestSpecifications(t *testing.T) {
	s := serve(t, editing)
	const path = "/specification?tag=T66"
	spec := func(d object) object { return d["specification"].(object) }
	d := s.json(t, path)
	visits := objects(spec(d)["visits"])
	if d["tree_id"] != 66.0 || spec(d)["work"] != "restoration" || len(visits) < 2 || d["by_person"] != false || d["practice_digest"] != practice.Default().Digest || d["harm_index"].(float64) <= 0 {
		t.Fatalf("%v", d)
	}
	if cost := d["visit_cost"].(object); cost["crew_hours"].(float64) <= 0 {
		t.Error(cost)
	}
	tag := s.get(t, path).header.Get("ETag")
	if r := s.get(t, path, "If-None-Match", tag); r.status != 304 {
		t.Error(r.status)
	}
	doses := spec(d)["dose_cap"].(float64)
	over := fmt.Sprintf(`{"visits":[{"number":2,"dose":%v}],"by":"Ruta"}`, doses+0.1)
	s.post(t, path, over, 400, "dose", "give a reason")
	s.post(t, path, `{"lateral_share":0.2,"by":"Ruta","reason":"the owner wants it"}`, 400, "lateral", "no reason overrides")
	s.post(t, path, `{"add":[{"visit":1,"item":{"cut":"topping","place":"whole crown","text":"top it"}}],"reason":"the owner wants it","by":"Ruta"}`, 400, "no reason overrides")
	if again := s.json(t, path); fmt.Sprint(again) != fmt.Sprint(d) {
		t.Error("what was refused has changed something")
	}
	kept := s.post(t, path, fmt.Sprintf(`{"visits":[{"number":2,"dose":%v}],"objective":"clearance","note":"as agreed","cycle_years":4,"reason":"the owner wants it","by":"Ruta",
		"add":[{"visit":1,"item":{"cut":"removal","place":"limb end","text":"take off the broken end","size_to_m":0.05,"bearing_deg":90}}]}`, doses+0.02), 200)
	overrides, items := objects(spec(kept)["overrides"]), objects(objects(spec(kept)["visits"])[0]["items"])
	if kept["by_person"] != true || len(overrides) == 0 || overrides[0]["by"] != "Ruta" || overrides[0]["reason"] != "the owner wants it" || spec(kept)["objective"] != "clearance" || spec(kept)["cycle_years"] != 4.0 {
		t.Errorf("%v", spec(kept))
	}
	if last := items[len(items)-1]; last["text"] != "take off the broken end" || last["bearing_deg"] != 90.0 || last["size_to_m"] != 0.05 {
		t.Error(last)
	}
	if now := s.get(t, path); now.header.Get("ETag") == tag || fmt.Sprint(parse[object](t, now.body)["specification"]) != fmt.Sprint(kept["specification"]) {
		t.Error("what is kept is not what is served")
	}
	if h := objects(s.json(t, path)["history"]); len(h) != 1 || h[0]["made_by"] != "Ruta" {
		t.Error(h)
	}
	for _, c := range []struct{ body, says string }{
		{`{"by":"Ruta"}`, "changes nothing"}, {`{"note":"x"}`, "by is missing"}, {`{"note":7,"by":"R"}`, "note is the number 7"}, {`{"visits":[{"dose":0.1}],"by":"R"}`, "visits[0].number is missing"},
		{`{"visits":[{"number":1,"dose":"much"}],"by":"R"}`, "visits[0].dose is the text"}, {`{"visits":[{"number":1,"doze":0.1}],"by":"R"}`, `visits[0].\"doze\" is not known`}, {`{"visits":{},"by":"R"}`, "visits is an object"},
		{`{"visits":[3],"by":"R"}`, "visits[0] is the number 3"}, {`{"colour":"green","by":"R"}`, `\"colour\" is not known here`}, {`[]`, "the body is a list"}, {`{`, "not JSON"}, {`{"note":"a","note":"b","by":"R"}`, "not JSON"},
		{`{"note":"a\u0000b","by":"R"}`, "code 0"}, {`{"visits":[{"number":99,"dose":0.1}],"by":"R"}`, "no visit 99"}, {`{"cycle_years":1.5,"by":"R"}`, "cycle_years is the number 1.5"},
		{`{"work":"felling","by":"R"}`, "felling"}, {`{"note":"x","by":"` + strings.Repeat("R", 201) + `"}`, "200 bytes"}, {`{"add":[{"visit":1}],"by":"R"}`, "add[0].item is missing"},
		{`{"add":[{"visit":1,"item":{"place":"the moon","text":"x"}}],"by":"R"}`, "the moon"}, {`{"lateral_share":1e999,"by":"R"}`, "lateral_share is the number"},
		{`{"note":"` + strings.Repeat("x", 10_001) + `","by":"R"}`, "note is 10001 bytes long"}, {`{"visits":[` + strings.Repeat(`{"number":1},`, 1000) + `{"number":1}],"by":"R"}`, "1001 entries"},
	} {
		s.post(t, path, c.body, 400, c.says)
	}
	s.send(t, "POST", path, geoJSON, `{"note":"x","by":"R"}`).want(t, 415, plainJSON)
	s.send(t, "POST", path, plainJSON, `{"note":"x","by":"R"}`, "Content-Encoding", "gzip").want(t, 415)
	s.send(t, "POST", path, plainJSON, `{"note":"`+strings.Repeat("x", 1<<20)+`","by":"R"}`).want(t, 413)
	s.problem(t, "/specification?tag=nobody", 404, "tag")
	s.problem(t, "/specification", 400, "tag")
	s.problem(t, "/specification?tag=T7", 404, "tag") // a stump
	s.post(t, "/specification?tag=nobody", `{"note":"x","by":"R"}`, 404, "nobody")
}

// The served figures are those of the rules, in the units of the parameters: the
// arithmetic itself is checked where it is made.
func TestReductions(t *testing.T) {
	s := serve(t, nil)
	got := s.json(t, "/reduction?length_m=6&base_diameter_cm=20&lateral_diameter_cm=5&lateral_distance_m=4&limb_diameter_cm=12&angle_deg=30&lateral_length_m=1.5")
	want, err := pruning.Reduce(pruning.Limb{Length: 6, BaseDiameter: 0.2, AngleDeg: inventory.Some(30.0)},
		pruning.Lateral{Distance: 4, Diameter: 0.05, LimbDiameter: inventory.Some(0.12), Length: inventory.Some(1.5)}, practice.Default())
	if err != nil {
		t.Fatal(err)
	}
	for name, v := range map[string]float64{"lateral_ratio": 5.0 / 12, "length_after_m": 5.5, "length_off_m": 0.5, "moment_before_nm": want.MomentBefore, "moment_after_nm": want.MomentAfter, "wind_share": math.Pow(5.5/6, 3), "cut_diameter_m": 0.12} {
		if !closeTo(got[name].(float64), v, 1e-12) {
			t.Errorf("%s is %v, want %v", name, got[name], v)
		}
	}
	if got["kind"] != "reduction" || got["preferred_kind"] != "heading" || len(got["assumptions"].([]any)) < 5 {
		t.Error(got)
	}
	guessed := s.json(t, "/reduction?length_m=6&base_diameter_cm=20&lateral_diameter_cm=0&lateral_distance_m=4")
	if guessed["kind"] != "heading" || guessed["diameter_estimated"] != true || guessed["angle_assumed"] != true || guessed["caution"] == nil {
		t.Error(guessed)
	}
	for query, parameter := range map[string]string{
		"base_diameter_cm=20&lateral_diameter_cm=5&lateral_distance_m=4": "length_m", "length_m=6&base_diameter_cm=20&lateral_diameter_cm=5": "lateral_distance_m",
		"length_m=-1&base_diameter_cm=20&lateral_diameter_cm=5&lateral_distance_m=4": "length_m", "length_m=NaN&base_diameter_cm=20&lateral_diameter_cm=5&lateral_distance_m=4": "length_m",
		"length_m=6&base_diameter_cm=1e308&lateral_diameter_cm=5&lateral_distance_m=4": "base_diameter_cm", "length_m=6&base_diameter_cm=20&lateral_diameter_cm=thick&lateral_distance_m=4": "lateral_diameter_cm",
		"length_m=6&base_diameter_cm=20&lateral_diameter_cm=5&lateral_distance_m=4&angle_deg=91": "angle_deg", "length_m=6&base_diameter_cm=20&lateral_diameter_cm=5&lateral_distance_m=4&limb_diameter_cm=Inf": "limb_diameter_cm",
		"length_m=6&base_diameter_cm=20&lateral_diameter_cm=5&lateral_distance_m=6": "<nil>", "length_m=6&base_diameter_cm=20&lateral_diameter_cm=5&lateral_distance_m=4&limb_diameter_cm=21": "<nil>",
	} {
		s.problem(t, "/reduction?"+query, 400, parameter)
	}
}

func TestPractice(t *testing.T) {
	s := serve(t, nil)
	r := s.get(t, "/practice")
	p, err := practice.Parse(r.body)
	if err != nil || r.header.Get("Content-Type") != "application/yaml" || r.header.Get("ETag") != fmt.Sprintf(`"%x"`, sha256.Sum256(r.body)) || p.Digest != practice.Default().Digest {
		t.Error(err, r.header)
	}
	own, err := practice.Parse([]byte(strings.Replace(string(practice.DefaultText()), `currency: ""`, `currency: "EUR"`, 1)))
	if err != nil {
		t.Fatal(err)
	}
	other := serveOn(t, s, func(c *api.Config) { c.Practice = own })
	if d := other.json(t, "/specification?tag=T30"); d["currency"] != "EUR" || d["practice_digest"] != own.Digest {
		t.Error(d["currency"], d["practice_digest"])
	}
	if r := other.get(t, "/practice", "If-None-Match", r.header.Get("ETag")); r.status != 200 {
		t.Error("another practice has the same tag")
	}
}
