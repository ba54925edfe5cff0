//go:build unix

package main

import (
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// Only a file is ever replaced.
func TestTilesFileReplacesFilesOnly(t *testing.T) {
	url := pgtest.URL(t)
	pgtest.Exec(t, url, hamlet)
	dir := t.TempDir()
	in := func(name string) string { return filepath.Join(dir, name) }
	write := func(out string) error {
		return run(t.Context(), []string{"tiles", "--database", url, "--site", "Hamlet", "--out", out, "--max-zoom", "3"}, io.Discard, io.Discard)
	}
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(syscall.Mkfifo(in("pipe"), 0o600))
	must(os.Mkdir(in("folder"), 0o700))
	must(os.Symlink(in("pipe"), in("to a pipe")))
	must(os.Symlink(in("nothing"), in("to nothing")))
	for name, says := range map[string]string{"pipe": "is a pipe", "folder": "is a folder", "to a pipe": "is a pipe", "to nothing": "a link to what is not there"} {
		before, err := os.Lstat(in(name))
		must(err)
		if err := write(in(name)); exitStatus(err) != 2 || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v", name, err)
		}
		if after, err := os.Lstat(in(name)); err != nil || !os.SameFile(before, after) || after.Mode() != before.Mode() {
			t.Errorf("%s is another now: %v", name, err)
		}
	}
	// A link to a file goes on being one.
	must(os.WriteFile(in("real"), []byte("old"), 0o600))
	must(os.Symlink("real", in("link")))
	old := syscall.Umask(0o027)
	err := write(in("link"))
	syscall.Umask(old)
	must(err)
	link, err := os.Lstat(in("link"))
	must(err)
	real, err := os.Lstat(in("real"))
	must(err)
	// Rights are those that a new file gets.
	if link.Mode()&os.ModeSymlink == 0 || real.Mode() != 0o640 || real.Size() < 127 {
		t.Errorf("%v and %v of %d bytes", link.Mode(), real.Mode(), real.Size())
	}
	if left, err := filepath.Glob(in(".*")); err != nil || len(left) != 0 {
		t.Errorf("%v left, %v", left, err)
	}
}
