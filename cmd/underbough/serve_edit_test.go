package main

import (
	"bufio"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

func TestEditFlags(t *testing.T) {
	file := func(text string) string {
		name := filepath.Join(t.TempDir(), "keys")
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return name
	}
	var c api.Config
	f := editFlags{Edit: true, EditKeys: file("# those who edit\n\nRuta: 0123456789abcdef:r\n Jonas :  0123456789abcdef-j \n"), EditOrigin: []string{"https://editor.example"}, RequireMatch: true}
	if err := f.editing(&c); err != nil {
		t.Fatal(err)
	}
	if err := c.Validate(); err != nil {
		t.Error(err)
	}
	if len(c.EditKeys) != 2 || c.EditKeys[0] != (api.EditKey{Name: "Ruta", Key: "0123456789abcdef:r"}) || c.EditKeys[1] != (api.EditKey{Name: "Jonas", Key: "0123456789abcdef-j"}) || !c.Edit || !c.RequireMatch {
		t.Errorf("%+v", c)
	}
	for _, bad := range []editFlags{
		{EditKeys: "keys"}, {RequireMatch: true}, {EditOrigin: []string{"https://a.example"}},
		{Edit: true, EditKeys: "/nowhere/keys"}, {Edit: true, EditKeys: file("")}, {Edit: true, EditKeys: file("0123456789abcdef")}, {Edit: true, EditKeys: file("Ruta:")},
	} {
		err := bad.editing(&c)
		if err == nil {
			t.Errorf("%+v passes", bad)
		} else if strings.Contains(err.Error(), "0123456789abcdef") {
			t.Errorf("the message repeats a key: %v", err)
		}
	}
}

func TestLoopback(t *testing.T) {
	for address, want := range map[string]bool{"127.0.0.1:8017": true, "[::1]:0": true, "localhost:1": true, "0.0.0.0:8017": false, ":8017": false, "trees.example:80": false, "10.0.0.1:80": false} {
		if loopback(address) != want {
			t.Errorf("%s: %v", address, !want)
		}
	}
}

// The flags reach the service, and the key's name the history.
func TestServeEdits(t *testing.T) {
	s, url := kept(t)
	load(s)
	keys := filepath.Join(t.TempDir(), "keys")
	if err := os.WriteFile(keys, []byte("Ruta: 0123456789abcdef\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	c := s.command("serve", "--listen", "127.0.0.1:0", "--edit", "--edit-keys", keys, "--require-match")
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() {
		c.Process.Signal(syscall.SIGINT)
		c.Wait()
	}()
	said := bufio.NewReader(out)
	line, err := said.ReadString('\n')
	if err != nil {
		t.Fatalf("%q, %v", line, err)
	}
	if note, err := said.ReadString('\n'); err != nil || note != "Editing is on, for those with a key.\n" {
		t.Errorf("%q, %v", note, err)
	}
	at := strings.Fields(line)[2] + "collections/trees/items/" + pgtest.Query(t, url, `SELECT tree_id FROM trees WHERE tag = 'T2'`)[0]
	patch := func(headers ...string) int {
		t.Helper()
		req, err := http.NewRequestWithContext(t.Context(), http.MethodPatch, at, strings.NewReader(`{"properties":{"species":"Acer rubrum"}}`))
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Content-Type", "application/merge-patch+json")
		for i := 0; i < len(headers); i += 2 {
			req.Header.Set(headers[i], headers[i+1])
		}
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		return resp.StatusCode
	}
	key := []string{"Authorization", "Bearer 0123456789abcdef"}
	if without, unmatched, stale, right := patch(), patch(key...), patch(append(key, "If-Match", `"9.x"`)...), patch(append(key, "If-Match", "*")...); without != 401 || unmatched != 428 || stale != 412 || right != 200 {
		t.Error(without, unmatched, stale, right)
	}
	if got := pgtest.Query(t, url, `SELECT changed_by, version FROM trees WHERE tag = 'T2'`); got[0] != "Ruta|2" {
		t.Error(got)
	}
}
