package main

import (
	"bytes"
	"crypto/rand"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/inventory/postgres/cluster"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// binary is the program, built once for all tests.
var binary string

func TestMain(m *testing.M) {
	cluster.MaybeKeep()
	dir, err := os.MkdirTemp("", "underbough-build-")
	if err == nil {
		// The server's user starts this program again as its keeper.
		err = os.Chmod(dir, 0o755)
	}
	if err == nil {
		binary = filepath.Join(dir, "underbough")
		build := exec.Command("go", "build", "-buildvcs=false", "-o", binary, ".")
		build.Stdout, build.Stderr = os.Stdout, os.Stderr
		err = build.Run()
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "build the program:", err)
		os.Exit(1)
	}
	pgtest.Main(m, func() { os.RemoveAll(dir) })
}

// shell runs the program with some variables set.
type shell struct {
	t   testing.TB
	dir string // where it is run
	env []string
}

// answer is what a run of the program gave.
type answer struct {
	stdout, stderr string
	status         int
}

func (s shell) command(args ...string) *exec.Cmd {
	c := exec.CommandContext(s.t.Context(), binary, args...)
	c.Dir = s.dir
	for _, v := range os.Environ() {
		if !strings.HasPrefix(v, "UNDERBOUGH_") {
			c.Env = append(c.Env, v)
		}
	}
	c.Env = append(c.Env, s.env...)
	return c
}

func (s shell) run(args ...string) answer {
	s.t.Helper()
	return s.finish(s.command(args...))
}

func (s shell) finish(c *exec.Cmd) answer {
	s.t.Helper()
	var stdout, stderr bytes.Buffer
	c.Stdout, c.Stderr = &stdout, &stderr
	err := c.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		s.t.Fatal(err)
	}
	return answer{stdout.String(), stderr.String(), c.ProcessState.ExitCode()}
}

// ok runs the program and returns its output; any failure ends the test.
func (s shell) ok(args ...string) string {
	s.t.Helper()
	a := s.run(args...)
	if a.status != 0 {
		s.t.Fatalf("%s: status %d\n%s%s", strings.Join(args, " "), a.status, a.stdout, a.stderr)
	}
	return a.stdout
}

// private is a shell on a private cluster of its own.
func private(t testing.TB) shell {
	t.Helper()
	// Not t.TempDir: the server's user must be able to reach it.
	data := filepath.Join(os.TempDir(), "underbough-cli-"+strings.ToLower(rand.Text()[:10]))
	t.Cleanup(func() {
		for end := time.Now().Add(time.Minute); os.RemoveAll(data) != nil; time.Sleep(50 * time.Millisecond) {
			if time.Now().After(end) {
				t.Errorf("%s cannot be removed", data)
				return
			}
		}
	})
	return shell{t: t, dir: t.TempDir(), env: []string{"UNDERBOUGH_DATA=" + data}}
}

// onDatabase is a shell on a fresh database of the test cluster.
func onDatabase(t testing.TB) shell {
	t.Helper()
	return shell{t: t, dir: t.TempDir(), env: []string{"UNDERBOUGH_DATABASE=" + pgtest.URL(t)}}
}

func (s shell) write(name, text string) {
	s.t.Helper()
	if err := os.WriteFile(filepath.Join(s.dir, name), []byte(text), 0o644); err != nil {
		s.t.Fatal(err)
	}
}
