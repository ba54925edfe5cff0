package main

import (
	"bufio"
	"syscall"
	"testing"
	"time"

	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// While it serves, an edit by plain SQL leads to new exposures with nobody
// asking.
func TestServeKeepsUpToDate(t *testing.T) {
	s, url := kept(t)
	load(s)
	s.ok("rank") // puts a run in force
	c := s.command("serve", "--listen", "127.0.0.1:0")
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	ended := false
	defer func() {
		if !ended {
			c.Process.Kill()
			c.Wait()
		}
	}()
	if line, err := bufio.NewReader(out).ReadString('\n'); err != nil {
		t.Fatalf("%q, %v", line, err)
	}
	harm := func() string {
		return pgtest.Query(t, url, `SELECT e.harm FROM exposures e JOIN trees t USING (client_id, tree_id) JOIN sites s ON s.client_id = e.client_id AND s.generation = e.generation WHERE t.tag = 'T2'`)[0]
	}
	was := harm()
	pgtest.Exec(t, url, `UPDATE trees SET crown_radius_m = 9 WHERE tag = 'T2'`)
	for end := time.Now().Add(30 * time.Second); harm() == was; time.Sleep(100 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("nothing was brought up to date")
		}
	}
	if touched := pgtest.Query(t, url, `SELECT count(*) FROM touched`); touched[0] != "0" {
		t.Errorf("%s edits are left", touched[0])
	}
	if err := c.Process.Signal(syscall.SIGINT); err != nil {
		t.Fatal(err)
	}
	err, ended = c.Wait(), true
	if err != nil && c.ProcessState.ExitCode() != 130 {
		t.Errorf("its end: %v", err)
	}
}
