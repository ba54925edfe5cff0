package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// taker is a service that takes files.
type taker struct {
	t       testing.TB
	at      string
	command *exec.Cmd
}

func (s shell) taker(more ...string) *taker {
	s.t.Helper()
	c := s.command(append([]string{"serve", "--listen", "127.0.0.1:0", "--edit"}, more...)...)
	out, err := c.StdoutPipe()
	if err != nil {
		s.t.Fatal(err)
	}
	var trouble bytes.Buffer
	c.Stderr = &trouble
	if err := c.Start(); err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { c.Process.Kill(); c.Wait() })
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		s.t.Fatalf("%q, %v %s", line, err, trouble.String())
	}
	return &taker{s.t, strings.TrimSuffix(strings.Fields(line)[2], "/"), c}
}

// ask makes a request and reads the answer.
func (k *taker) ask(method, path, media string, body io.Reader, status int, into any) {
	k.t.Helper()
	req, err := http.NewRequestWithContext(k.t.Context(), method, k.at+path, body)
	if err != nil {
		k.t.Fatal(err)
	}
	req.Header.Set("Content-Type", media)
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		k.t.Fatal(err)
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != status {
		k.t.Fatalf("%s %s: %d %s, %v", method, path, resp.StatusCode, b, err)
	}
	if into != nil {
		if err := json.Unmarshal(b, into); err != nil {
			k.t.Fatal(err)
		}
	}
}

type takenRun struct {
	State   string
	Records int64
	Counts  inventory.Counts
}

// load sends a file, begins what is asked for, and returns where it is.
func (k *taker) load(file, how, plan string) (id string) {
	k.t.Helper()
	f, err := os.Open(file)
	if err != nil {
		k.t.Fatal(err)
	}
	defer f.Close()
	var sent struct{ Import string }
	k.ask("POST", "/imports?name="+filepath.Base(file), "application/octet-stream", f, http.StatusCreated, &sent)
	k.ask("POST", "/imports/"+sent.Import+"/"+how, "application/json", strings.NewReader(plan), http.StatusAccepted, nil)
	return sent.Import
}

func (k *taker) until(id string, is func(takenRun) bool) takenRun {
	k.t.Helper()
	for end := time.Now().Add(2 * time.Minute); ; time.Sleep(5 * time.Millisecond) {
		var r takenRun
		k.ask("GET", "/imports/"+id+"/run", "", nil, http.StatusOK, &r)
		if is(r) {
			return r
		}
		if time.Now().After(end) {
			k.t.Fatalf("it came to %+v", r)
		}
	}
}

// The service does with a file what the command does: the same counts, the same
// trees, the same rows held. The file is of the City of Cambridge (PDDL).
func TestServeLoads(t *testing.T) {
	file := filepath.Join(cityData(t), "trees-midcambridge.csv")
	byHand, url := kept(t)
	out := byHand.ok("import", file, "--site", "Mid Cambridge", "--as", "trees", "--map", "dbh=Diameter:in", "--where", "SiteType=Tree", "--format", "json")
	var want inventory.Counts
	if err := json.Unmarshal([]byte(out), &want); err != nil {
		t.Fatal(err)
	}
	served, other := kept(t)
	k := served.taker("--upload-dir", t.TempDir())
	// As the command maps it: what the columns' names propose, and the diameter.
	var sent struct {
		Import string
		Roles  []struct{ Mapping []json.RawMessage }
	}
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	k.ask("POST", "/imports?name=trees-midcambridge.csv", "application/octet-stream", f, http.StatusCreated, &sent)
	mapping, err := json.Marshal(append(sent.Roles[0].Mapping, json.RawMessage(`{"field": "dbh", "from": "Diameter", "unit": "in"}`)))
	if err != nil {
		t.Fatal(err)
	}
	plan := fmt.Sprintf(`{"as": "trees", "site": "Mid Cambridge", "mapping": %s, "where": [{"column": "SiteType", "values": ["Tree"]}]}`, mapping)
	for _, how := range []string{"try", "run"} {
		k.ask("POST", "/imports/"+sent.Import+"/"+how, "application/json", strings.NewReader(plan), http.StatusAccepted, nil)
		r := k.until(sent.Import, func(r takenRun) bool { return r.State != "reading" })
		if r.State != "ended" || r.Counts != want || want.Read != 8959 || want.LeftOut == 0 || want.Added == 0 || want.Quarantined == 0 {
			t.Errorf("%s: %+v, the command %+v", how, r, want)
		}
	}
	for _, sql := range []string{
		`SELECT count(*), md5(string_agg(concat_ws('|', source_id, species, dbh_m, planted_year, extra::text, ST_AsText(geometry)), ';' ORDER BY source_id)) FROM trees`,
		`SELECT count(*), md5(string_agg(concat_ws('|', record, field, reason, row_text), ';' ORDER BY record)) FROM quarantine`,
	} {
		if a, b := pgtest.Query(t, url, sql), pgtest.Query(t, other, sql); a[0] != b[0] {
			t.Errorf("the command left %s, the service %s", a, b)
		}
	}
}

// A service that is killed while it loads leaves nothing half loaded, and the next
// one deletes the file.
func TestServeKilled(t *testing.T) {
	s, url := kept(t)
	var b bytes.Buffer
	b.WriteString("id,species,lon,lat\n")
	const n = 250_000
	for i := range n {
		fmt.Fprintf(&b, "k%d,Tilia cordata,%.6f,%.6f\n", i, 25.2+float64(i%500)*1e-4, 54.6+float64(i/500)*1e-4)
	}
	s.write("many.csv", b.String())
	dir := t.TempDir()
	k := s.taker("--upload-dir", dir)
	id := k.load(filepath.Join(s.dir, "many.csv"), "run", `{"as": "trees", "site": "Many"}`)
	seen := k.until(id, func(r takenRun) bool { return r.Records > 0 })
	if seen.State != "reading" || seen.Records >= n {
		t.Fatalf("it was not half-way: %+v", seen)
	}
	if err := k.command.Process.Signal(syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	k.command.Wait()
	// The database takes all back when it finds the connection gone.
	for end := time.Now().Add(time.Minute); pgtest.Query(t, url, `SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid() AND state <> 'idle'`)[0] != "0"; time.Sleep(50 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("the load goes on without its service")
		}
	}
	if got := pgtest.Query(t, url, `SELECT (SELECT count(*) FROM trees), (SELECT count(*) FROM sites), (SELECT count(*) FROM imports)`); got[0] != "0|0|0" {
		t.Errorf("left: %s", got)
	}
	left := func() int {
		list, err := filepath.Glob(filepath.Join(dir, "*", "*"))
		if err != nil {
			t.Fatal(err)
		}
		return len(list)
	}
	if left() != 1 {
		t.Errorf("%d files were left by the kill", left())
	}
	next := s.taker("--upload-dir", dir)
	if left() != 0 {
		t.Errorf("%d files are left", left())
	}
	next.ask("GET", "/imports/"+id, "", nil, http.StatusNotFound, nil)
	// Two services side by side do not delete each other's.
	waits := next.load(filepath.Join(s.dir, "many.csv"), "try", `{"as": "trees", "site": "Many"}`)
	s.taker("--upload-dir", dir)
	if r := next.until(waits, func(r takenRun) bool { return r.State != "reading" }); r.State != "ended" || r.Counts.Added != n {
		t.Errorf("%+v", r)
	}
	// At its end a service forgets its files.
	next.command.Process.Signal(syscall.SIGINT)
	next.command.Wait()
	if left() != 0 {
		t.Errorf("%d files are left", left())
	}
}

// The limit that the operator sets holds, and 0 takes no files.
func TestServeUploadLimit(t *testing.T) {
	s, _ := kept(t)
	small := s.taker("--upload-limit", "1", "--upload-dir", t.TempDir())
	small.ask("POST", "/imports?name=a.csv", "text/csv", strings.NewReader("id,lon,lat\n"+strings.Repeat("x", 1<<20)), http.StatusRequestEntityTooLarge, nil)
	none := s.taker("--upload-limit", "0")
	none.ask("POST", "/imports?name=a.csv", "text/csv", strings.NewReader("id,lon,lat\n1,25,54\n"), http.StatusNotFound, nil)
	if a := s.run("serve", "--listen", "127.0.0.1:0", "--edit", "--upload-limit", "-1"); a.status != 2 || !strings.Contains(a.stderr, "--upload-limit") {
		t.Errorf("%d %s", a.status, a.stderr)
	}
}
