package api_test

import (
	"fmt"
	"strings"
	"sync"
	"testing"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// doneAt is a completion with a cut and where the crew's device was, so many degrees
// east of the tree.
func (s *service) doneAt(t testing.TB, j object, east float64) string {
	t.Helper()
	tree := parse[feature](t, s.get(t, fmt.Sprintf("/collections/trees/items/%v", j["tree_id"])).body)
	at := parse[[2]float64](t, tree.Geometry.Coordinates)
	return fmt.Sprintf(`{"on":"2026-05-04","by":"Crew A","dose":0.02,"deviations":[{"what":"in a closed window","reason":"agreed"}],"cuts":[{"kind":"removal","diameter_cm":6}],
		"position":{"longitude":%v,"latitude":%v,"accuracy_m":6.5,"at":"2026-05-04T08:12:30+03:00"}}`, at[0]+east, at[1])
}

// A completion says where the crew's device was, and how far that is from the tree;
// too far is told to whoever checks.
func TestCompletionPosition(t *testing.T) {
	s := serve(t, editing)
	_, jobs := s.planned(t)
	j, far := first(t, jobs, "restoration"), first(t, jobs, "cleaning")
	s.inHand(t, j)
	s.inHand(t, far)
	path := at(j) + "/completion"
	for body, says := range map[string]string{
		`{"longitude":181,"latitude":1,"accuracy_m":5,"at":"2026-05-04T08:00:00Z"}`:         "position.longitude",
		`{"longitude":1,"latitude":-91,"accuracy_m":5,"at":"2026-05-04T08:00:00Z"}`:         "position.latitude",
		`{"longitude":1,"latitude":1,"accuracy_m":-1,"at":"2026-05-04T08:00:00Z"}`:          "position.accuracy_m",
		`{"longitude":1,"latitude":1,"accuracy_m":5,"at":"2027-05-04T08:00:00Z"}`:           "position.at",
		`{"longitude":1,"latitude":1,"accuracy_m":5,"at":"yesterday"}`:                      "position.at",
		`{"longitude":1,"latitude":1,"at":"2026-05-04T08:00:00Z"}`:                          "position.accuracy_m",
		`{"longitude":1,"latitude":1,"accuracy_m":5,"at":"2026-05-04T08:00:00Z","speed":2}`: "speed",
		`[1,2]`: "position",
	} {
		s.post(t, path, `{"on":"2026-05-04","by":"Crew A","cuts":[],"position":`+body+`}`, 400, says)
	}
	c := s.post(t, path, s.doneAt(t, j, 0.00006), 200)["completion"].(object)
	p := c["position"].(object)
	// 0.00006° of longitude at 54.68° N are 3.87 m (GeodSolve of GeographicLib 2.1).
	if d := p["from_tree_m"].(float64); d < 3.86 || d > 3.88 || p["accuracy_m"] != 6.5 || p["at"] != "2026-05-04T05:12:30Z" || c["notices"] != nil {
		t.Errorf("position %v, notices %v", p, c["notices"])
	}
	kept := s.json(t, at(j))["completion"].(object)["position"]
	if fmt.Sprint(kept) != fmt.Sprint(p) {
		t.Errorf("kept %v, answered %v", kept, p)
	}
	// 64.502 m away (GeodSolve) it is told, and no defect.
	c = s.post(t, at(far)+"/completion", s.doneAt(t, far, 0.001), 200)["completion"].(object)
	if n := fmt.Sprint(c["notices"]); !strings.Contains(n, "64.5 m from the tree, give or take 6.5 m") || c["defects"] != nil {
		t.Errorf("notices %v, defects %v", n, c["defects"])
	}
}

// A completion that is sent again, because the answer got lost, is recorded once and
// answered as before, whatever became of the version; another with its key is refused.
func TestCompletionSentAgain(t *testing.T) {
	s := serve(t, editing)
	_, jobs := s.planned(t)
	j := first(t, jobs, "restoration")
	s.inHand(t, j)
	path, body := at(j)+"/completion", s.doneAt(t, j, 0)
	for _, key := range []string{`8e03978e`, `""`, `"a`, `"a\"b"`, `"` + strings.Repeat("a", 201) + `"`, `"ž"`} {
		s.send(t, "POST", path, plainJSON, body, "Idempotency-Key", key).want(t, 400, "Idempotency-Key")
	}
	tag := s.get(t, at(j)).header.Get("ETag")
	const key = `"8e03978e-40d5-43e8-bc93-6894a57f9324"`
	once := s.send(t, "POST", path, plainJSON, body, "Idempotency-Key", key, "If-Match", tag)
	once.want(t, 200)
	again := s.send(t, "POST", path, plainJSON, body, "Idempotency-Key", key, "If-Match", tag)
	again.want(t, 200)
	if string(once.body) != string(again.body) || once.header.Get("ETag") != again.header.Get("ETag") {
		t.Errorf("answered %s, then %s", once.body, again.body)
	}
	s.send(t, "POST", path, plainJSON, strings.Replace(body, `"removal"`, `"stub"`, 1), "Idempotency-Key", key).want(t, 422, "another completion")
	// Without its key it is a second completion, which the job does not take.
	s.send(t, "POST", path, plainJSON, body).want(t, 409, "done")
	s.send(t, "POST", path, plainJSON, body, "Idempotency-Key", `"another"`, "If-Match", tag).want(t, 412)
	// Sent back meanwhile, the first round still is what the key stands for.
	s.post(t, at(j)+"/check", `{"accept":false,"reason":"look again","by":"Inspector"}`, 200)
	s.send(t, "POST", path, plainJSON, body, "Idempotency-Key", key, "If-Match", tag).want(t, 200, `"state":"in hand"`)
	if n := pgtest.Query(t, s.url, fmt.Sprintf(`SELECT count(*) FROM cuts WHERE job_id = %v`, j["job_id"]))[0]; n != "1" {
		t.Errorf("%s cuts are recorded, expected 1", n)
	}
}

// Many at once with one key record once, and all are answered.
func TestCompletionSentAtOnce(t *testing.T) {
	s := serve(t, editing)
	_, jobs := s.planned(t)
	j := first(t, jobs, "restoration")
	s.inHand(t, j)
	path, body := at(j)+"/completion", s.doneAt(t, j, 0)
	var wg sync.WaitGroup
	replies := make([]reply, 6)
	for i := range replies {
		wg.Go(func() { replies[i] = s.send(t, "POST", path, plainJSON, body, "Idempotency-Key", `"one"`) })
	}
	wg.Wait()
	for _, r := range replies {
		r.want(t, 200)
	}
	if n := pgtest.Query(t, s.url, fmt.Sprintf(`SELECT count(*) FROM cuts WHERE job_id = %v`, j["job_id"]))[0]; n != "1" {
		t.Errorf("%s cuts are recorded, expected 1", n)
	}
}

// A page that sends without a key is told so at once: the browser does not come
// between with a question of its own, as it does for Basic (RFC 7617).
func TestKeyAskedOfPage(t *testing.T) {
	s := serve(t, func(c *api.Config) {
		editing(c)
		c.EditKeys = []api.EditKey{{Name: "Crew B", Key: "a key of 32 letters, as is needed"}}
	})
	for mode, want := range map[string]int{"": 2, "navigate": 2, "cors": 1, "same-origin": 1} {
		r := s.send(t, "POST", "/jobs/1/completion", plainJSON, `{}`, "Sec-Fetch-Mode", mode)
		r.want(t, 401, "key")
		if n := len(r.header.Values("WWW-Authenticate")); n != want {
			t.Errorf("Sec-Fetch-Mode %q: %d challenges, expected %d", mode, n, want)
		}
	}
}
