package api_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
	"github.com/underbough/underbough/inventory/practice"
)

// The first thing that anyone does with a new inventory may be a job by hand.
func TestJobByHandFirst(t *testing.T) {
	s := serve(t, editing)
	r := s.send(t, "POST", "/jobs", plainJSON, `{"tag":"T30","visit":1,"year":2027,"by":"Owner"}`)
	r.want(t, 201)
	j := parse[object](t, r.body)
	if r.header.Get("Location") != s.web.URL+at(j) || j["programme_id"] != nil || j["state"] != "proposed" || j["year"] != 2027.0 || j["tag"] != "T30" {
		t.Error(r.header.Get("Location"), j)
	}
}

// What a programme says of each tree adds up to what it says of each year.
func TestProgrammes(t *testing.T) {
	s := serve(t, editing)
	tried := s.post(t, "/programmes", `{"keep":false,"by":"Planner","from":"2027-01-01","years":3,"measure":"hours","budget":[40,30,20]}`, 200)
	if tried["programme_id"] != 0.0 || tried["made_at"] != nil || pgtest.Query(t, s.url, `SELECT count(*) FROM programmes`)[0] != "0" {
		t.Error("a programme that was tried is kept:", tried["programme_id"])
	}
	programme, jobs := s.planned(t)
	at := fmt.Sprintf("/programmes/%v", programme["programme_id"])
	if list := objects(s.json(t, "/programmes")["programmes"]); len(list) != 1 || list[0]["name"] != "Five years" || list[0]["made_by"] != "Planner" || list[0]["proposed_at"] == nil {
		t.Error(list)
	}
	got := s.json(t, at)
	if fmt.Sprint(got["years"]) != fmt.Sprint(programme["years"]) {
		t.Error("what is kept is not what was answered")
	}
	var items []object
	pages := 0
	for path := at + "/items?limit=40"; path != ""; pages++ {
		page := s.json(t, path)
		items = append(items, objects(page["items"])...)
		if path = ""; len(items) < int(page["numberMatched"].(float64)) {
			for _, l := range objects(page["links"]) {
				if l["rel"] == "next" {
					path = l["href"].(string)
				}
			}
		}
		if pages > 20 {
			t.Fatal("the pages have no end")
		}
	}
	if pages < 2 || len(items) != int(got["trees"].(float64)) {
		t.Errorf("%d items on %d pages, of %v trees", len(items), pages, got["trees"])
	}
	for _, y := range objects(got["years"]) {
		trees, hours := map[any]bool{}, 0.0
		for _, i := range objects(s.json(t, fmt.Sprintf("%s/items?year=%v&limit=10000", at, y["year"]))["items"]) {
			for _, v := range objects(i["visits"]) {
				if v["year"] == y["year"] {
					trees[i["tree_id"]], hours = true, hours+v["hours"].(float64)
				}
			}
		}
		if float64(len(trees)) != y["visits"] || hours > y["crew_hours"].(float64)+1e-9 || y["used"].(float64) > y["budget"].(float64)+1e-9 {
			t.Errorf("%v: %d trees and %v hours of items, the year has %v", y["year"], len(trees), hours, y)
		}
		for _, name := range []string{"harm_index_left", "harm_index_left_worst_first", "harm_index_left_flat_cycle"} {
			if v := y[name].(float64); !(v > 0 && v <= y["harm_index_before"].(float64)+1e-12) {
				t.Errorf("%v: %s is %v of %v", y["year"], name, v, y["harm_index_before"])
			}
		}
	}
	pack := fmt.Sprint(jobs[0]["package"])
	for _, i := range objects(s.json(t, at+"/items?package="+strings.ReplaceAll(pack, " ", "+"))["items"]) {
		if i["package"] != pack {
			t.Error(i)
		}
	}
	s.post(t, at+"/jobs", `{"by":"Planner"}`, 409, "new programme")
	other, err := practice.Parse([]byte(strings.Replace(string(practice.DefaultText()), `currency: ""`, `currency: "EUR"`, 1)))
	if err != nil {
		t.Fatal(err)
	}
	again := s.post(t, "/programmes", plan, 201)
	serveOn(t, s, func(c *api.Config) { c.Edit, c.Practice = true, other }).post(t, fmt.Sprintf("/programmes/%v/jobs", again["programme_id"]), `{"by":"P"}`, 409, "another practice")
	proposal := s.post(t, fmt.Sprintf("/programmes/%v/jobs", again["programme_id"]), `{"by":"Planner"}`, 201)
	if proposal["withdrawn"] != float64(len(jobs)) || proposal["programme"].(object)["proposed_at"] == nil {
		t.Errorf("%v withdrawn of %d", proposal["withdrawn"], len(jobs))
	}
	for body, says := range map[string]string{
		`{"by":"P","from":"2027-01-01","years":5,"measure":"hours","budget":80}`: "name is missing", `{"by":"P","name":"n","years":5,"measure":"hours","budget":80}`: "from is missing",
		`{"by":"P","name":"n","from":"2027-13-01","years":5,"measure":"hours","budget":80}`: "from", `{"by":"P","name":"n","from":"2027-01-01","years":0,"measure":"hours","budget":80}`: "years: 0",
		`{"by":"P","name":"n","from":"2027-01-01","years":5,"measure":"stars","budget":80}`: "stars", `{"by":"P","name":"n","from":"2027-01-01","years":5,"measure":"hours","budget":[1,2]}`: "2 figures for 5 years",
		`{"by":"P","name":"n","from":"2027-01-01","years":5,"measure":"hours","budget":["a"]}`: "budget[0]", `{"by":"P","name":"n","from":"2027-01-01","years":5,"measure":"hours","budget":-4}`: "budget",
		`{"by":"P","name":"n","from":"2027-01-01","years":5,"measure":"hours","budget":80,"pins":[{"tag":"T30","year":2040}]}`: "2040", `{"by":"P","name":"n","from":"2027-01-01","years":5,"measure":"hours","budget":80,"must":[5]}`: "must[0]",
		`{"by":"P","name":"n","from":"2027-01-01","years":5,"measure":"hours","budget":80,"must_rating":"dire"}`: "dire", `{"by":"P","name":"","from":"2027-01-01","years":5,"measure":"hours","budget":80}`: "name",
	} {
		s.post(t, "/programmes", body, 400, says)
	}
	s.post(t, "/programmes", `{"by":"P","name":"n","from":"2027-01-01","years":5,"measure":"hours","budget":80,"must":["nobody"]}`, 404, "nobody")
	s.post(t, "/programmes/999/jobs", `{"by":"P"}`, 404, "999")
	s.problem(t, "/programmes/999", 404, "<nil>")
	s.problem(t, at+"/items?cursor=x", 400, "cursor")
	s.problem(t, at+"/items?year=20", 400, "year")
}

// A site too large to be planned for is said to be.
func TestPlansTooLarge(t *testing.T) {
	own := serve(t, editing)
	own.run(t)
	s := serveOn(t, own, func(c *api.Config) { c.Edit, c.Store = true, vast{c.Store, 100_001} })
	s.post(t, "/programmes", plan, 422, "command underbough")
	for _, path := range []string{"/report", "/bid-sheet"} {
		s.problem(t, path, 422, "site")
	}
}

func TestAppraisals(t *testing.T) {
	s := serve(t, editing)
	// METHOD section 7, after Buckeye Arborist, March/April 2022, pages 20 and 21: a
	// nursery tree of 2.5 inches for 250, a trunk of 27 inches.
	const inch = 2.54
	body := fmt.Sprintf(`{"by":"Appraiser","on":"2026-05-01","diameter_cm":%v,"nursery_cost":250,"nursery_diameter_cm":%v,"health":0.8,"structure":0.7,"form":0.6,"functional_limits":0.8,"external_limits":0.9}`, 27*inch, 2.5*inch)
	a := s.post(t, "/appraisals?tag=T31", body, 201)
	// The nursery tree's cost goes with the cross-section, so with the square of the
	// diameter.
	want := 250 * math.Pow(27/2.5, 2) * (0.8 + 0.7 + 0.6) / 3 * 0.8 * 0.9
	if v := a["appraisal"].(object)["value"].(float64); !closeTo(v, want, 1e-9) || a["tree_id"] != 31.0 || a["made_by"] != "Appraiser" {
		t.Errorf("%v, want %v: %v", v, want, a)
	}
	own := s.post(t, "/appraisals?tag=T31", `{"by":"Appraiser","nursery_cost":250,"nursery_diameter_cm":6,"health":1,"structure":1,"form":1,"functional_limits":1,"external_limits":1}`, 201)
	dbh := parse[feature](t, s.get(t, "/collections/trees/items/31").body).Properties["dbh_cm"].(float64)
	if got := own["appraisal"].(object); !closeTo(got["diameter_m"].(float64), dbh/100, 0.01) || got["on"] != "2026-05-04T00:00:00Z" {
		t.Errorf("%v of a tree of %v cm", got, dbh)
	}
	list := s.json(t, "/appraisals")
	if all := objects(list["appraisals"]); len(all) != 1 || all[0]["appraisal_id"] != own["appraisal_id"] || list["value"] != own["appraisal"].(object)["value"] {
		t.Error(list)
	}
	for body, says := range map[string]string{
		`{"by":"A","nursery_cost":250,"nursery_diameter_cm":6,"structure":1,"form":1,"functional_limits":1,"external_limits":1}`:             "health is missing",
		`{"by":"A","nursery_cost":250,"nursery_diameter_cm":6,"health":80,"structure":1,"form":1,"functional_limits":1,"external_limits":1}`: "80 % is 0.8",
		`{"by":"A","nursery_cost":0,"nursery_diameter_cm":6,"health":1,"structure":1,"form":1,"functional_limits":1,"external_limits":1}`:    "nursery_cost",
		`{"by":"A","method":"a guess"}`: "a guess", `{"by":"A","value":5}`: "value", `{"nursery_cost":250}`: "by is missing", `{"by":"A","on":"yesterday"}`: "on is the text",
	} {
		s.post(t, "/appraisals?tag=T31", body, 400, says)
	}
	s.post(t, "/appraisals?tag=nobody", `{"by":"A"}`, 404, "nobody")
	s.post(t, "/appraisals?tag=T30", `{"by":"A"}`, 400, "none is recorded") // whose diameter nobody measured
}

func TestDue(t *testing.T) {
	s := serve(t, nil)
	s.exec(t, `INSERT INTO visits (client_id, site_id, tree_id, visited_on, next_visit_on) VALUES (1, 1, 8, '2025-05-01', '2026-05-01'), (1, 1, 9, '2025-05-01', '2026-05-04'), (1, 1, 10, '2025-05-01', '2026-07-01')`)
	never := 0
	tags := func(query string) (out []string) {
		for _, d := range objects(s.json(t, "/due"+query)["trees"]) {
			if d["never_visited"] == true {
				never++
				continue
			}
			out = append(out, fmt.Sprint(d["tag"], " ", d["overdue"]))
		}
		return out
	}
	if got := fmt.Sprint(tags("")); got != "[T8 true T9 false]" {
		t.Error(got)
	}
	if got := fmt.Sprint(tags("?until=2026-12-31")); got != "[T8 true T9 false T10 false]" {
		t.Error(got)
	}
	if never == 0 {
		t.Error("no tree with old bad cuts was never looked at")
	}
	s.problem(t, "/due?until=soon", 400, "until")
}

// Jobs are walked through page by page, and by what they are asked with.
func TestJobsListed(t *testing.T) {
	s := serve(t, nil)
	ids := func(path string) (out []any) {
		for _, j := range objects(s.json(t, path)["jobs"]) {
			out = append(out, j["job_id"])
			if j["specification"] != nil {
				t.Error("a list with specifications")
			}
		}
		return out
	}
	all := ids("/jobs")
	if len(all) != 5 {
		t.Fatal(all)
	}
	var walked []any
	for path := "/jobs?limit=2"; path != ""; {
		walked = append(walked, ids(path)...)
		next := ""
		for _, l := range objects(s.json(t, path)["links"]) {
			if l["rel"] == "next" {
				next = l["href"].(string)
			}
		}
		path = next
	}
	if fmt.Sprint(walked) != fmt.Sprint(all) {
		t.Errorf("walked %v, all are %v", walked, all)
	}
	for query, want := range map[string]string{"state=proposed": "[4 2]", "state=proposed,withdrawn&year=2026": "[3]", "tag=T201": "[1]", "package=Path&year=2028": "[2 5]", "package=Elsewhere": "[]", "programme=1": "[]", "site=Low+Quarter&tag=%23202": "[2]"} {
		if got := fmt.Sprint(ids("/jobs?" + query)); got != want {
			t.Errorf("%s: %s, want %s", query, got, want)
		}
	}
	for query, parameter := range map[string]string{"state=lost": "state", "year=1": "year", "limit=0": "limit", "cursor=-1": "cursor", "programme=0": "programme", "site=nowhere": "site", "package=%FF": "package", "tag=nobody": "tag"} {
		status := 400
		if parameter == "tag" {
			status = 404
		}
		s.problem(t, "/jobs?"+query, status, parameter)
	}
	for _, id := range []string{"0", "x", "01", "-1", "999", "99999999999999999999"} {
		s.problem(t, "/jobs/"+id, 404, "<nil>")
	}
}

// A completion names the field that cannot be.
func TestCompletionsRefused(t *testing.T) {
	s := serve(t, editing)
	j := s.byHand(t)
	s.inHand(t, j)
	for body, says := range map[string]string{
		`{"by":"C"}`: "on is missing", `{"on":"2026-05-02"}`: "by is missing", `{"on":"yesterday","by":"C"}`: "on is the text", `{"on":"2026-06-02","by":"C"}`: "future",
		`{"on":"2026-05-02","by":"C","dose":1.5}`: "dose: 1.5", `{"on":"2026-05-02","by":"C","cuts":[{"kind":"removal","diameter_cm":-4}]}`: "cuts[0].diameter_cm: -4, expected above 0 to 1500 cm",
		`{"on":"2026-05-02","by":"C","cuts":[{"kind":"removal","stub_length_cm":5000.7}]}`: "stub_length_cm: 5000.7, expected 0 to 5000 cm", `{"on":"2026-05-02","by":"C","cuts":[{"diameter_cm":3}]}`: "cuts[0].kind is missing", `{"on":"2026-05-02","by":"C","cuts":[{"kind":"sawing"}]}`: "cuts[0].kind",
		`{"on":"2026-05-02","by":"C","cuts":[{"kind":"removal"},{"kind":"removal","diameter_cm":2000}]}`: "cuts[1].diameter_cm", `{"on":"2026-05-02","by":"C","cuts":[{"kind":"removal","bearing_deg":360}]}`: "cuts[0].bearing_deg",
		`{"on":"2026-05-02","by":"C","cuts":[{"kind":"removal","gone":true}]}`: "cuts[0].on_cut", `{"on":"2026-05-02","by":"C","deviations":[{"what":"x"}]}`: "deviations[0]", `{"on":"2026-05-02","by":"C","cuts":[{"kind":"removal","diameter_m":0.03}]}`: `cuts[0].\"diameter_m\" is not known`,
		`{"on":"2026-05-02","by":"C","height_m":900}`: "height_m", `{"on":"2026-05-02","by":"C","cuts":[{"kind":"removal","on_cut":"old"}]}`: "cuts[0].on_cut is the text",
	} {
		s.post(t, at(j)+"/completion", body, 400, says)
	}
	s.post(t, at(j)+"/completion", `{"on":"2026-05-04","by":"C","cuts":[{"kind":"removal","on_cut":999999,"gone":true}]}`, 400, "999999")
	if got := s.json(t, at(j)); got["state"] != "in hand" || got["completion"] != nil {
		t.Error("what was refused is kept:", got["state"])
	}
	s.post(t, at(j)+"/check", `{"accept":true,"by":"I"}`, 409, "in hand")
	s.post(t, at(j)+"/check", `{"by":"I"}`, 400, "accept is missing")
	s.post(t, at(j)+"/check", `{"accept":true,"crown":"dire","by":"I"}`, 400, "crown is")
	s.post(t, at(j)+"/state", `{"to":"done","by":"C"}`, 400, "done")
	s.post(t, at(j)+"/state", `{"to":"gone","by":"C"}`, 400, "gone")
	s.post(t, at(j)+"/state", `{"to":"approved","by":"C"}`, 400, "reason")
	s.post(t, "/jobs", `{"tag":"T30","year":2020,"by":"C"}`, 400, "2020")
	s.post(t, "/jobs", `{"tag":"T30","visit":9,"year":2027,"by":"C"}`, 400, "visit 9")
	s.post(t, "/jobs", `{"tag":"nobody","year":2027,"by":"C"}`, 404, "nobody")
	s.post(t, "/jobs", `{"year":2027,"by":"C"}`, 400, "tag is missing")
}
