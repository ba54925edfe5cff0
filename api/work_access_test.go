package api_test

import (
	"fmt"
	"testing"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// Where keys are asked for, the key says who did it.
func TestWorkKeys(t *testing.T) {
	const owner, crew = "Bearer 0123456789abcdef-o", "Bearer 0123456789abcdef-c"
	s := serve(t, func(c *api.Config) {
		c.Edit, c.EditKeys = true, []api.EditKey{{Name: "Owner", Key: "0123456789abcdef-o"}, {Name: "Crew", Key: "0123456789abcdef-c"}}
	})
	for _, path := range []string{"/jobs", "/programmes", "/specification?tag=T30", "/appraisals?tag=T30", "/programmes/1/jobs", "/jobs/1/state", "/jobs/1/gates", "/jobs/1/completion", "/jobs/1/check"} {
		s.send(t, "POST", path, plainJSON, `{"by":"Owner"}`).want(t, 401, "key")
	}
	s.send(t, "POST", "/jobs/1/photos", "image/png", pngPhoto).want(t, 401, "key")
	s.send(t, "POST", "/specification?tag=T31", plainJSON, `{"note":"looked at"}`, "Authorization", owner).want(t, 200)
	r := s.send(t, "POST", "/jobs", plainJSON, `{"tag":"T30","year":2027}`, "Authorization", owner)
	r.want(t, 201)
	j := parse[object](t, r.body)
	s.send(t, "POST", at(j)+"/state", plainJSON, `{"to":"approved","by":"Owner"}`, "Authorization", crew).want(t, 400, "by is", "Crew")
	s.send(t, "POST", at(j)+"/state", plainJSON, `{"to":"approved","by":"Owner"}`, "Authorization", owner).want(t, 200)
	r = s.send(t, "POST", at(j)+"/photos", "image/png", pngPhoto, "Authorization", crew)
	r.want(t, 201)
	if p := parse[object](t, r.body); p["by"] != "Crew" {
		t.Error(p)
	}
	s.send(t, "POST", at(j)+"/photos?by=Owner", "image/png", pngPhoto, "Authorization", crew).want(t, 400, "by")
	events := pgtest.Query(t, s.url, `SELECT by || ' ' || to_state FROM job_events WHERE job_id = `+fmt.Sprint(j["job_id"])+` ORDER BY event_id`)
	if fmt.Sprint(events) != "[Owner proposed Owner approved]" {
		t.Error(events)
	}
	if actor := pgtest.Query(t, s.url, `SELECT changed_by FROM jobs WHERE job_id = `+fmt.Sprint(j["job_id"])); actor[0] != "Owner" {
		t.Errorf("the history names %s", actor)
	}
}

// What only reads takes no work, and says how to let it.
func TestWorkReadOnly(t *testing.T) {
	s := serve(t, nil)
	for path, allow := range map[string]string{"/jobs": "GET, HEAD, OPTIONS", "/programmes": "GET, HEAD, OPTIONS", "/specification?tag=T30": "GET, HEAD, OPTIONS", "/jobs/1/state": "OPTIONS", "/jobs/1/photos": "OPTIONS", "/programmes/1/jobs": "OPTIONS"} {
		r := s.send(t, "POST", path, plainJSON, `{"by":"Owner"}`)
		r.want(t, 405, "--edit")
		if r.header.Get("Allow") != allow {
			t.Errorf("%s allows %s", path, r.header.Get("Allow"))
		}
	}
	edit := serveOn(t, s, editing)
	for path, want := range map[string][2]string{"/jobs": {"GET, HEAD, OPTIONS, POST", plainJSON}, "/jobs/1/check": {"OPTIONS, POST", plainJSON}, "/jobs/1/photos": {"OPTIONS, POST", "image/jpeg, image/png, image/webp"}} {
		if h := edit.do(t, "OPTIONS", path).header; h.Get("Allow") != want[0] || h.Get("Accept-Post") != want[1] {
			t.Errorf("%s: %v", path, h)
		}
	}
	if r := edit.get(t, "/jobs/1/check"); r.status != 405 || r.header.Get("Allow") != "OPTIONS, POST" {
		t.Error(r.status, r.header)
	}
	for _, headers := range [][]string{{"Origin", "https://elsewhere.example"}, {"Host", "rebound.example"}} {
		edit.send(t, "POST", "/jobs", plainJSON, `{"tag":"T30","year":2027,"by":"x"}`, headers...).want(t, 403)
	}
}
