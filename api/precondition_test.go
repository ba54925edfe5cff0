package api_test

import (
	"bytes"
	"crypto/rand"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// RFC 9110, 13.1.1 and 13.1.2: If-Match holds where it names the tag of what is
// there, If-None-Match where it does not; 13.2.2 has 412 where one does not hold.
func TestPreconditionsOfFeatures(t *testing.T) {
	s := serve(t, editing)
	s.run(t)
	at := "/collections/trees/items/4"
	tag := s.get(t, at).header.Get("ETag")
	for _, none := range []string{"*", tag, "W/" + tag, `"x", ` + tag} {
		s.send(t, "PATCH", at, mergePatch, `{"properties":{"height_m":9}}`, "If-None-Match", none).want(t, 412, "")
		s.send(t, "PUT", at, geoJSON, tree, "If-None-Match", none).want(t, 412, "")
		s.send(t, "DELETE", at, "", "", "If-None-Match", none).want(t, 412, "")
	}
	s.send(t, "DELETE", "/collections/trees/items/99999", "", "", "If-None-Match", "*").want(t, 404)
	if now := s.get(t, at).header.Get("ETag"); now != tag {
		t.Errorf("%s after edits that were refused, %s before", now, tag)
	}
	s.get(t, at, "If-Match", tag).want(t, 200)
	s.get(t, at, "If-Match", "*").want(t, 200)
	s.send(t, "PATCH", at, mergePatch, `{"properties":{"height_m":9}}`, "If-None-Match", `"0.x"`).want(t, 200)
	s.get(t, at, "If-Match", tag).want(t, 412, "If-Match")
	s.get(t, at, "If-Match", "W/"+s.get(t, at).header.Get("ETag")).want(t, 412)
	s.get(t, at, "If-None-Match", tag).want(t, 200)
	s.send(t, "DELETE", at, "", "", "If-None-Match", tag).want(t, 204)
}

func TestPreconditionsOfQuestions(t *testing.T) {
	s := serve(t, editing)
	const at, body, other = "/questions/tall", `{"filter":"height_m > 15"}`, `{"filter":"height_m > 20"}`
	put := func(body string, headers ...string) reply {
		return s.send(t, "PUT", at, "application/json", body, headers...)
	}
	put(body, "If-Match", "*").want(t, 412)
	made := put(body, "If-None-Match", "*")
	made.want(t, 201)
	tag := made.header.Get("ETag")
	if got := s.get(t, at); got.header.Get("ETag") != tag || tag == "" || !strings.HasSuffix(made.header.Get("Location"), at) {
		t.Errorf("made %q at %q, read %q", tag, made.header.Get("Location"), got.header.Get("ETag"))
	}
	s.get(t, at, "If-None-Match", tag).want(t, 304)
	put(other, "If-None-Match", "*").want(t, 412)
	put(other, "If-None-Match", tag).want(t, 412)
	changed := put(other, "If-Match", tag)
	changed.want(t, 204)
	if now := changed.header.Get("ETag"); now == tag || now != s.get(t, at).header.Get("ETag") {
		t.Errorf("%s after a change of %s", now, tag)
	}
	put(body, "If-Match", tag).want(t, 412)
	put(body).want(t, 204)
	s.get(t, at, "If-Match", tag).want(t, 412)
	s.send(t, "DELETE", at, "", "", "If-Match", tag).want(t, 412)
	s.send(t, "DELETE", at, "", "", "If-None-Match", "*").want(t, 412)
	s.send(t, "DELETE", at, "", "", "If-Match", s.get(t, at).header.Get("ETag")).want(t, 204)
	s.send(t, "DELETE", at, "", "").want(t, 404)
	s.send(t, "DELETE", at, "", "", "If-Match", "*").want(t, 412)
}

// slowly is a body that a client sends in pieces, and of unknown length.
type slowly struct{ left int }

func (b *slowly) Read(p []byte) (int, error) {
	if b.left <= 0 {
		return 0, io.EOF
	}
	time.Sleep(20 * time.Millisecond)
	n := min(len(p), 32<<10, b.left)
	rand.Read(p[:n])
	b.left -= n
	return n, nil
}

// A client that sends before it listens reads that it has sent too much.
func TestTooLargeIsSaidToOneWhoSendsSlowly(t *testing.T) {
	s := serve(t, editing)
	// Two seconds of sending after the limit is passed.
	req, err := http.NewRequest("PUT", s.web.URL+"/questions/tall", &slowly{left: 1<<20 + 100*32<<10})
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/json")
	conn := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	resp, err := conn.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != 413 || !bytes.Contains(b, []byte("larger than 1 MiB")) {
		t.Errorf("%d %v: %s", resp.StatusCode, err, b)
	}
}

// What a client gets wrong is repeated in part, however long it is.
func TestFaultsRepeatLittle(t *testing.T) {
	s := serve(t, editing)
	long := strings.Repeat("x", 3000)
	feature := func(properties string) string {
		return `{"type":"Feature","geometry":{"type":"Point","coordinates":[25.28,54.68]},"properties":` + properties + `}`
	}
	for _, body := range []string{
		feature(`{"` + long + `":1}`), feature(`{"status":"` + long + `"}`), feature(`{"site":"` + long + `"}`), feature(`{"height_m":"` + long + `"}`),
		strings.Replace(feature(`{}`), "Point", long, 1), strings.Replace(feature(`{}`), "Feature", long, 1),
	} {
		if r := s.send(t, "POST", "/collections/trees/items", geoJSON, body); r.status != 400 || len(r.body) > 800 || strings.Contains(string(r.body), long[:62]) {
			t.Errorf("%d: %.900s", r.status, r.body)
		}
	}
	r := s.send(t, "POST", "/collections/counts/items", geoJSON, `{"type":"Feature","geometry":null,"properties":{"target_id":1,"people":1,"counted_at":"`+long+`"}}`)
	if r.status != 400 || strings.Contains(string(r.body), long[:62]) {
		t.Errorf("%d: %.900s", r.status, r.body)
	}
	if r := s.send(t, "PUT", "/questions/q", "application/json", `{"`+long+`":1}`); r.status != 400 || strings.Contains(string(r.body), long[:62]) {
		t.Errorf("%d: %.900s", r.status, r.body)
	}
}

// A source id is one feature's within a site.
func TestRepeatedSourceID(t *testing.T) {
	s := serve(t, func(c *api.Config) { c.Edit = true })
	with := strings.Replace(tree, `"tag":"NEW"`, `"source_id":"A-1"`, 1)
	s.send(t, "POST", "/collections/trees/items", geoJSON, with).want(t, 201)
	id := pgtest.Query(t, s.url, `SELECT tree_id FROM trees WHERE source_id = 'A-1'`)[0]
	s.send(t, "POST", "/collections/trees/items", geoJSON, with).want(t, 409, "source_id is A-1, and tree "+id+" of the site has it")
	s.send(t, "PATCH", "/collections/trees/items/4", mergePatch, `{"properties":{"source_id":"A-1"}}`).want(t, 409, "tree "+id)
	s.send(t, "PUT", "/collections/trees/items/"+id, geoJSON, with).want(t, 200)
	const road = `{"type":"Feature","geometry":{"type":"Point","coordinates":[25.28,54.68]},"properties":{"kind":"road","source_id":"A-1"}}`
	s.send(t, "POST", "/collections/targets/items", geoJSON, road).want(t, 201)
	s.send(t, "POST", "/collections/targets/items", geoJSON, road).want(t, 409, "source_id is A-1, and target ")
}
