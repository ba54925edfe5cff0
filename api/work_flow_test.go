package api_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"testing"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/question"
)

const plainJSON = "application/json"

// post sends JSON and wants an answer.
func (s *service) post(t testing.TB, path, body string, status int, says ...string) object {
	t.Helper()
	r := s.send(t, "POST", path, plainJSON, body)
	r.want(t, status, says...)
	return parse[object](t, r.body)
}

// question is what the programmes of the tests are asked for.
const plan = `{"name":"Five years","by":"Planner","from":"2027-01-01","years":5,"measure":"hours","budget":80}`

// planned makes a programme and its jobs, and returns both.
func (s *service) planned(t testing.TB) (programme object, jobs []object) {
	t.Helper()
	programme = s.post(t, "/programmes", plan, 201)
	s.post(t, fmt.Sprintf("/programmes/%v/jobs", programme["programme_id"]), `{"by":"Planner"}`, 201)
	list := s.json(t, fmt.Sprintf("/jobs?programme=%v&limit=1000", programme["programme_id"]))
	return programme, objects(list["jobs"])
}

// keepProgramme keeps a programme, the first.
func (s *service) keepProgramme(t testing.TB) {
	t.Helper()
	b := &question.Basis{Site: inventory.Site{ID: 1, Client: 1, Name: "Low Quarter", TimeZone: "Europe/Vilnius"}, Profile: profile.Default(), Practice: practice.Default(), AsOf: today}
	q := programme.Question{From: "2027-01-01", Years: 2, Measure: programme.Hours, Budget: []float64{40}}
	if made, err := question.MakeProgramme(t.Context(), s.db, b, "kept", "Planner", q); err != nil || made.Record.ID != 1 {
		t.Fatal(made, err)
	}
}

func objects(v any) []object {
	var out []object
	for _, one := range v.([]any) {
		out = append(out, one.(object))
	}
	return out
}

// first finds the first job of a kind of work.
func first(t testing.TB, jobs []object, work string) object {
	t.Helper()
	for _, j := range jobs {
		if j["work"] == work && j["visit"] == 1.0 {
			return j
		}
	}
	t.Fatalf("none of %d jobs is %s", len(jobs), work)
	return nil
}

// byHand makes a job of a tree by hand.
func (s *service) byHand(t testing.TB) object {
	t.Helper()
	s.post(t, "/specification?tag=T31", `{"note":"looked at","by":"Owner"}`, 200)
	return s.post(t, "/jobs", `{"tag":"T30","year":2027,"by":"Owner"}`, 201)
}

func at(j object) string { return fmt.Sprintf("/jobs/%v", j["job_id"]) }

// inHand takes a job as far as the crew.
func (s *service) inHand(t testing.TB, j object) {
	t.Helper()
	s.post(t, at(j)+"/state", `{"to":"approved","by":"Owner"}`, 200)
	for _, g := range objects(j["gates"]) {
		b, _ := json.Marshal(map[string]any{"name": g["name"], "reference": "P-77", "on": "2026-05-01", "by": "Office"})
		s.post(t, at(j)+"/gates", string(b), 200)
	}
	s.post(t, at(j)+"/state", `{"to":"in hand","by":"Crew A"}`, 200)
}

// From the programme to work that somebody else has checked, and back once because
// of a stub.
func TestWorkFromProgrammeToProof(t *testing.T) {
	s := serve(t, editing)
	planned, jobs := s.planned(t)
	if planned["gap_share"].(float64) < 0 || planned["harm_index_bound"].(float64) < planned["harm_index_taken_off"].(float64)-1e-9 || len(jobs) < 20 {
		t.Fatalf("%d jobs of %v", len(jobs), planned)
	}
	j := first(t, jobs, "restoration")
	tree := fmt.Sprintf("/collections/trees/items/%v", j["tree_id"])
	before := parse[feature](t, s.get(t, tree).body).Properties

	s.post(t, at(j)+"/state", `{"to":"in hand","by":"Crew A"}`, 409, "proposed")
	s.post(t, at(j)+"/state", `{"to":"approved","by":"Owner"}`, 200)
	if gates := objects(j["gates"]); len(gates) == 0 {
		t.Error("a job without any gate")
	} else {
		s.post(t, at(j)+"/state", `{"to":"in hand","by":"Crew A"}`, 409, gates[0]["name"].(string))
		s.post(t, at(j)+"/gates", `{"name":"moonlight","by":"Office"}`, 404, "moonlight", gates[0]["name"].(string))
		for _, g := range gates {
			name, _ := json.Marshal(g["name"])
			got := s.post(t, at(j)+"/gates", `{"name":`+string(name)+`,"reference":"P-77","on":"2026-05-01","by":"Office"}`, 200)
			for _, now := range objects(got["gates"]) {
				if now["name"] == g["name"] && (now["cleared"] != true || now["by"] != "Office" || now["reference"] != "P-77" || now["on"] != "2026-05-01T00:00:00Z") {
					t.Errorf("settled: %v", now)
				}
			}
		}
	}
	s.post(t, at(j)+"/completion", `{"on":"2026-05-04","by":"Crew A"}`, 409, "approved")
	s.post(t, at(j)+"/state", `{"to":"in hand","by":"Crew A"}`, 200)

	// A stub of 12 cm where the collar is, and a lateral of a fifth: two defects.
	done := s.post(t, at(j)+"/completion", `{"on":"2026-05-04","by":"Crew A","deviations":[{"what":"in a closed window","reason":"agreed with the city"}],"dose":0.02,"hours":2.5,
		"cuts":[{"kind":"removal","diameter_cm":9,"stub_length_cm":12},{"kind":"reduction","diameter_cm":10,"lateral_diameter_cm":2,"height_m":6,"bearing_deg":90}]}`, 200)
	completion := done["completion"].(object)
	defects := objects(completion["defects"])
	if len(defects) != 2 || done["state"] != "done" || defects[0]["cut"] != 0.0 || !strings.Contains(fmt.Sprint(defects[0]["what"]), "12.0 cm") || defects[1]["cut"] != 1.0 {
		t.Fatalf("%v: %v", done["state"], defects)
	}
	if cut := objects(completion["cuts"])[0]; cut["diameter_m"] != 0.09 || cut["stub_length_m"] != 0.12 {
		t.Errorf("centimetres were read as %v", cut)
	}
	if done["harm_index_after"] == nil {
		t.Error("the tree was not computed again")
	}
	made := s.features(t, fmt.Sprintf("/collections/cuts/items?job_id=%v", j["job_id"])).Features
	if len(made) != 2 || made[0].Properties["kind"] != "stub" || made[0].Properties["given_kind"] != "removal" || made[1].Properties["kind"] != "heading" || made[0].Properties["made_on"] != "2026-05-04" {
		t.Errorf("the cuts made are kept as %v", properties(made))
	}
	s.post(t, at(j)+"/check", `{"on":"2026-05-04","accept":true,"by":"Inspector"}`, 400, "2 defects")
	s.post(t, at(j)+"/check", `{"on":"2026-05-04","accept":false,"by":"Inspector"}`, 400, "reason")
	back := s.post(t, at(j)+"/check", `{"on":"2026-05-04","accept":false,"reason":"cut the stub back","by":"Inspector"}`, 200)
	if back["state"] != "in hand" {
		t.Fatal(back["state"])
	}
	done = s.post(t, at(j)+"/completion", `{"on":"2026-05-04","by":"Crew A","dose":0.03,"hours":0.5,"cuts":[{"kind":"removal","diameter_cm":9,"stub_length_cm":0.5}],
		"deviations":[{"what":"in a closed window","reason":"agreed with the city"},{"what":"left one limb","reason":"a nest"}]}`, 200)
	if d := done["completion"].(object)["defects"]; d != nil {
		t.Errorf("defects of clean work: %v", d)
	}
	s.post(t, at(j)+"/check", `{"on":"2026-05-04","accept":true,"reason":"seen","by":"crew a"}`, 400, "somebody else")
	s.post(t, at(j)+"/check", `{"on":"2026-05-01","accept":true,"reason":"seen","by":"Inspector"}`, 400, "on:", "before")
	closed := s.post(t, at(j)+"/check", `{"on":"2026-05-04","accept":true,"by":"Inspector","reason":"a heading cut, watched","whole_tree":"improbable","crown":"possible","condition":"fair"}`, 200)
	var to []string
	for _, e := range objects(closed["steps"]) {
		to = append(to, fmt.Sprint(e["by"], ": ", e["to"]))
	}
	// A gate is a step that leaves the state as it is.
	if last := len(to) - 1; closed["state"] != "checked" || to[0] != "Planner: proposed" || to[1] != "Owner: approved" || to[last] != "Inspector: checked" || to[last-2] != "Inspector: in hand" {
		t.Error(to)
	}
	visits := s.features(t, fmt.Sprintf("/collections/visits/items?job_id=%v&sortby=visited_on", j["job_id"])).Features
	if last := len(visits) - 1; last < 0 || visits[last].Properties["whole_tree"] != "improbable" || visits[last].Properties["next_visit_on"] == nil {
		t.Errorf("the visits of the job: %v", properties(visits))
	}
	after := parse[feature](t, s.get(t, tree).body).Properties
	if fmt.Sprint(after["harm_index"]) == fmt.Sprint(before["harm_index"]) {
		t.Errorf("the harm index stays %v", before["harm_index"])
	}
	// What is summed up is what the job says.
	effect := s.json(t, "/work/effect")
	for _, name := range []string{"harm_index_before", "harm_index_predicted", "harm_index_after"} {
		if !closeTo(effect[name].(float64), closed[name].(float64), 1e-9) {
			t.Errorf("%s is %v of all jobs and %v of the one", name, effect[name], closed[name])
		}
	}
	if effect["jobs"] != 1.0 || !closeTo(closed["harm_index_after"].(float64), after["harm_index"].(float64), 1e-4) || !strings.Contains(fmt.Sprint(effect["assumption"]), "Rochester") {
		t.Errorf("%v, and the tree is at %v", effect, after["harm_index"])
	}
	// The tree is due again, and its restoration has come one visit further.
	due := s.json(t, "/due?until=2040-01-01")
	found := false
	for _, d := range objects(due["trees"]) {
		found = found || d["tree_id"] == j["tree_id"] && d["next_visit"] == visits[len(visits)-1].Properties["next_visit_on"] && d["overdue"] == false
	}
	if !found {
		t.Errorf("the tree is not due: %v", due["trees"])
	}
	progress := s.json(t, "/specification?tag="+fmt.Sprint(j["tag"]))["progress"].(object)
	if fmt.Sprint(progress["done"]) != "[1]" || progress["next"] != 2.0 {
		t.Errorf("progress: %v", progress)
	}
	s.post(t, at(j)+"/state", `{"to":"withdrawn","by":"Owner","reason":"no"}`, 409, "checked")
}

// A job that is looked at as of an instant is as it was then.
func TestJobsAsOf(t *testing.T) {
	s := serve(t, editing)
	j := s.byHand(t)
	s.exec(t, `UPDATE jobs SET state = state`) // a step's own time
	instant := s.instant(t)
	s.post(t, at(j)+"/state", `{"to":"approved","by":"Owner"}`, 200)
	s.send(t, "POST", at(j)+"/photos?by=Owner", "image/png", pngPhoto).want(t, 201)
	// The service's clock is not the database's here: as_of must not be yet to come.
	late := serveOn(t, s, func(c *api.Config) { c.Edit, c.Now = true, nil })
	past := late.json(t, at(j)+"?as_of="+instant)
	if past["state"] != "proposed" || len(objects(past["steps"])) != 1 || len(objects(past["photos"])) != 0 {
		t.Errorf("as of then: %v, %v, %v", past["state"], past["steps"], past["photos"])
	}
	now := late.json(t, at(j))
	if now["state"] != "approved" || len(objects(now["steps"])) != 2 || len(objects(now["photos"])) != 1 {
		t.Errorf("now: %v, %v, %v", now["state"], now["steps"], now["photos"])
	}
	if list := objects(late.json(t, "/jobs?tag=T30&state=proposed&as_of="+instant)["jobs"]); len(list) != 1 {
		t.Errorf("%d jobs were proposed then", len(list))
	}
	if list := objects(late.json(t, "/jobs?tag=T30&state=proposed")["jobs"]); len(list) != 0 {
		t.Errorf("%d jobs are proposed now", len(list))
	}
	s.problem(t, at(j)+"?as_of=2999-01-01", 400, "as_of")
	// What a person decided later was not decided then.
	s.post(t, "/specification?tag=T30", `{"cycle_years":4,"by":"Ruta"}`, 200)
	then, decided := late.json(t, "/specification?tag=T30&as_of="+instant), late.json(t, "/specification?tag=T30")
	if then["by_person"] != false || decided["by_person"] != true {
		t.Errorf("decided by a person then: %v, now: %v", then["by_person"], decided["by_person"])
	}
	for _, path := range []string{"/due?as_of=", "/appraisals?as_of=", "/programmes?as_of=", "/drawing.svg?tag=T30&as_of="} {
		if r := late.get(t, path+instant); r.status != 200 {
			t.Errorf("%s: %d %s", path, r.status, r.body)
		}
	}
}

// A hazard that cannot wait is marked with who says so and why.
func TestUrgentOverHTTP(t *testing.T) {
	s := serve(t, editing)
	j := s.byHand(t)
	s.post(t, at(j)+"/urgent", `{"by":"Ruta"}`, 400, "reason is missing")
	now := s.post(t, at(j)+"/urgent", `{"reason":"split limb","by":"Ruta"}`, 200)
	if now["urgent"] != true || !strings.Contains(fmt.Sprint(now["steps"]), "split limb") {
		t.Errorf("%v, %v", now["urgent"], now["steps"])
	}
}

// Whoever works from an older state of a job is told so.
func TestJobPreconditions(t *testing.T) {
	s := serve(t, editing)
	j := s.byHand(t)
	read := s.get(t, at(j))
	tag := read.header.Get("ETag")
	if version := strings.Trim(strings.Split(tag, ".")[0], `"`); version != fmt.Sprint(j["version"]) {
		t.Errorf("tag %s of version %v", tag, j["version"])
	}
	if r := s.get(t, at(j), "If-None-Match", tag); r.status != 304 {
		t.Error(r.status)
	}
	move := func(status int, headers ...string) reply {
		t.Helper()
		r := s.send(t, "POST", at(j)+"/state", plainJSON, `{"to":"approved","by":"Owner"}`, headers...)
		r.want(t, status)
		return r
	}
	move(412, "If-Match", `"999.x"`)
	move(412, "If-Match", "W/"+tag) // compared strongly
	move(412, "If-Match", "nonsense")
	move(412, "If-None-Match", "*")
	move(412, "If-None-Match", tag)
	r := move(200, "If-Match", `"999.x", `+tag)
	if got := s.get(t, at(j)); got.header.Get("ETag") != r.header.Get("ETag") || string(got.body) != string(r.body) || r.header.Get("Content-Location") != s.web.URL+at(j) {
		t.Errorf("GET differs from what POST answered: %s, %s", got.header.Get("ETag"), r.header.Get("ETag"))
	}
	s.send(t, "POST", at(j)+"/state", plainJSON, `{"to":"withdrawn","reason":"no money","by":"Owner"}`, "If-Match", tag).want(t, 412)
	s.send(t, "POST", at(j)+"/state", plainJSON, `{"to":"withdrawn","reason":"no money","by":"Owner"}`, "If-Match", "*").want(t, 200)
	s.send(t, "POST", "/jobs/999999/state", plainJSON, `{"to":"approved","by":"Owner"}`).want(t, 404)
	s.send(t, "POST", "/jobs/999999/state", plainJSON, `{"to":"approved","by":"Owner"}`, "If-Match", "*").want(t, 412)

	strict := serveOn(t, s, func(c *api.Config) { c.Edit, c.RequireMatch = true, true })
	for _, what := range []string{"state", "gates", "completion", "check"} {
		strict.send(t, "POST", at(j)+"/"+what, plainJSON, `{"by":"Owner"}`).want(t, 428, "If-Match")
	}
	strict.send(t, "POST", at(j)+"/state", plainJSON, `{"to":"proposed","reason":"money came","by":"Owner"}`, "If-Match", s.get(t, at(j)).header.Get("ETag")).want(t, 200)
}

// Of many who take a job in hand from one state of it, one does.
func TestJobTakenOnce(t *testing.T) {
	s := serve(t, editing)
	j := s.byHand(t)
	s.contract(t)
	tag := s.get(t, at(j)).header.Get("ETag")
	status := make(chan int)
	for i := range 8 {
		go func() {
			req, _ := http.NewRequest("POST", s.web.URL+at(j)+"/state", strings.NewReader(`{"to":"approved","by":"Owner `+strconv.Itoa(i)+`"}`))
			req.Header.Set("Content-Type", plainJSON)
			req.Header.Set("If-Match", tag)
			resp, err := http.DefaultClient.Do(req)
			if err != nil {
				status <- 0
				return
			}
			resp.Body.Close()
			status <- resp.StatusCode
		}()
	}
	counts := map[int]int{}
	for range 8 {
		counts[<-status]++
	}
	if counts[200] != 1 || counts[412] != 7 {
		t.Error(counts)
	}
	if n := pgtest.Query(t, s.url, `SELECT count(*) FROM job_events WHERE to_state = 'approved'`)[0]; n != "1" {
		t.Errorf("%s approvals", n)
	}
}

// forgetful keeps no harm that is computed after work.
type forgetful struct{ api.Store }

func (forgetful) SetHarmAfter(context.Context, inventory.ClientID, string, map[inventory.JobID]float64) error {
	return errors.New("the disk is full")
}

// What a crew recorded stays recorded where the tree cannot be computed again.
func TestWorkStaysRecorded(t *testing.T) {
	own := serve(t, editing)
	j := own.byHand(t)
	own.inHand(t, j)
	s := serveOn(t, own, func(c *api.Config) { c.Edit, c.Store = true, forgetful{c.Store} })
	done := s.post(t, at(j)+"/completion", `{"on":"2026-05-04","by":"Crew A","deviations":[{"what":"in a closed window","reason":"storm"}],"cuts":[{"kind":"removal","diameter_cm":3,"stub_length_cm":0.5}]}`, 200)
	if done["state"] != "done" || done["harm_index_after"] != nil {
		t.Error(done["state"], done["harm_index_after"])
	}
	checked := s.post(t, at(j)+"/check", `{"accept":true,"by":"Inspector"}`, 200)
	if checked["state"] != "checked" {
		t.Error(checked["state"])
	}
	told := 0
	for _, line := range s.log.all(t) {
		if line["level"] == "ERROR" && strings.Contains(fmt.Sprint(line["error"]), "the disk is full") {
			told++
		}
	}
	if told != 2 {
		t.Errorf("the log tells %d times why", told)
	}
}
