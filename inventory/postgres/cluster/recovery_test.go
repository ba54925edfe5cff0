//go:build linux

package cluster_test

import (
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/underbough/underbough/inventory/postgres/cluster"
)

func TestStalePostmasterPID(t *testing.T) {
	data := dataFolder(t)
	stop(t, acquire(t, cluster.Options{Data: data}))
	dead := exec.Command("/bin/true")
	if err := dead.Run(); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{
		"a dead process":        strconv.Itoa(dead.Process.Pid),
		"an unrelated process":  strconv.Itoa(os.Getpid()),
		"nothing, cut off":      "",
		"a process of everyone": "1",
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(data, "cluster", "postgres", "postmaster.pid")
			database := filepath.Dir(path)
			lines := text + "\n" + database + "\n1700000000\n54329\n/tmp\n\n  1 1\nready\n"
			if text == "" {
				lines = ""
			}
			if err := os.WriteFile(path, []byte(lines), 0o600); err != nil {
				t.Fatal(err)
			}
			giveToServer(t, path, database)
			log, heard := logger()
			l := acquire(t, cluster.Options{Data: data, Log: log})
			if !strings.Contains(heard.String(), "removed "+path) {
				t.Errorf("log says %q, want a line about the removal", heard)
			}
			stop(t, l)
		})
	}
}

// A server of this folder that runs without a keeper, as after a keeper's
// death on a system that loses the parent-death signal, is stopped cleanly.
func TestOrphanServer(t *testing.T) {
	data := dataFolder(t)
	l := acquire(t, cluster.Options{Data: data})
	execute(t, l.URL(), "CREATE TABLE kept AS SELECT 1 AS id")
	database := filepath.Join(data, "cluster", "postgres")
	program, err := os.Readlink(filepath.Join("/proc", strconv.Itoa(serverPID(t, data)), "exe"))
	if err != nil {
		t.Fatal(err)
	}
	stop(t, l)
	info, err := os.Stat(database)
	if err != nil {
		t.Fatal(err)
	}
	st := info.Sys().(*syscall.Stat_t)
	orphan := exec.Command(program, "-D", database, "-c", "unix_socket_directories="+database)
	orphan.Dir = "/"
	if os.Getuid() == 0 {
		orphan.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: st.Uid, Gid: st.Gid}}
	}
	if err := orphan.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- orphan.Wait() }()
	waitFor(t, "the orphan to start", func() bool {
		text, err := os.ReadFile(filepath.Join(database, "postmaster.pid"))
		return err == nil && strings.Contains(string(text), "ready")
	})
	log, heard := logger()
	l = acquire(t, cluster.Options{Data: data, Log: log})
	if err := <-ended; err != nil {
		t.Errorf("the orphan ended with %v, want a clean stop", err)
	}
	if !strings.Contains(heard.String(), "lost its keeper") {
		t.Errorf("log says %q, want a line about the orphan", heard)
	}
	if got := query(t, l.URL(), "SELECT count(*)::text FROM kept"); got != "1" {
		t.Errorf("%s rows, want 1", got)
	}
}

func TestLongDataPath(t *testing.T) {
	data := filepath.Join(dataFolder(t), strings.Repeat("long/", 40), strings.Repeat("x", 120))
	l := acquire(t, cluster.Options{Data: data, Throwaway: true})
	// 108 bytes with the closing zero: unix(7).
	if n := len(socketFolder(t, l.URL()) + "/.s.PGSQL.54329"); n > 107 {
		t.Errorf("the socket's path has %d bytes", n)
	}
}

// t.TempDir is closed to all but its owner (mode 0700), like a root's home or
// a clone in a folder of mktemp -d.
func TestUnreachableDataFolder(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	log, heard := logger()
	l := acquire(t, cluster.Options{Data: data, Throwaway: true, Log: log})
	execute(t, l.URL(), "CREATE TABLE kept (id int)")
	location, err := os.ReadFile(filepath.Join(data, "cluster.location"))
	if os.Getuid() != 0 {
		if err == nil {
			t.Errorf("a common user's cluster is elsewhere: %s", location)
		}
		return
	}
	if err != nil {
		t.Fatal(err)
	}
	home, _, _ := strings.Cut(string(location), "\n")
	t.Cleanup(func() { removeRemote(t, home) })
	if !strings.HasPrefix(home, "/var/lib/underbough/clusters/") || strings.Count(heard.String(), "kept elsewhere") != 1 || !strings.Contains(heard.String(), home) {
		t.Errorf("files in %q, log %q: want one line that names the place", home, heard)
	}
	log, heard = logger()
	other := acquire(t, cluster.Options{Data: data, Throwaway: true, Log: log})
	if other.URL() != l.URL() || heard.Len() != 0 {
		t.Errorf("second lease at %s, want %s; log %q", other.URL(), l.URL(), heard)
	}
	stop(t, other)
	stop(t, l)

	t.Run("it stays where it is when the folder is moved", func(t *testing.T) {
		moved := filepath.Join(filepath.Dir(data), "moved")
		if err := os.Rename(data, moved); err != nil {
			t.Fatal(err)
		}
		l := acquire(t, cluster.Options{Data: moved, Throwaway: true})
		if got := query(t, l.URL(), "SELECT count(*)::text FROM kept"); got != "0" {
			t.Errorf("kept has %s rows, want 0", got)
		}
		stop(t, l)
		if err := os.Rename(moved, data); err != nil {
			t.Fatal(err)
		}
	})
	t.Run("it does not come back after the folder was deleted", func(t *testing.T) {
		if err := os.RemoveAll(data); err != nil {
			t.Fatal(err)
		}
		log, heard := logger()
		l := acquire(t, cluster.Options{Data: data, Throwaway: true, Log: log})
		if got := query(t, l.URL(), "SELECT coalesce(to_regclass('kept')::text, 'none')"); got != "none" {
			t.Error("the table of the deleted folder is back")
		}
		if !strings.Contains(heard.String(), "set them aside") {
			t.Errorf("log says %q, want a line about the files set aside", heard)
		}
		stop(t, l)
	})
}

func TestRemoveUnreachable(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	if err := os.Mkdir(data, 0o700); err != nil {
		t.Fatal(err)
	}
	l := acquire(t, cluster.Options{Data: data, Throwaway: true, Remove: true})
	files := query(t, l.URL(), "SHOW data_directory")
	stop(t, l)
	if _, err := os.Stat(filepath.Dir(files)); !os.IsNotExist(err) {
		t.Errorf("%s is left behind: %v", filepath.Dir(files), err)
	}
}

// Under root the server belongs to an unprivileged user, and the same tests
// must hold for a user who is not root: this test program runs them again as
// "nobody".
func TestUnprivilegedUser(t *testing.T) {
	if os.Getuid() != 0 {
		return // every test of this run is unprivileged already
	}
	nobody, err := user.Lookup("nobody")
	if err != nil {
		t.Fatal(err)
	}
	uid, errU := strconv.ParseUint(nobody.Uid, 10, 32)
	gid, errG := strconv.ParseUint(nobody.Gid, 10, 32)
	if errU != nil || errG != nil {
		t.Fatal(errU, errG)
	}
	folder := dataFolder(t)
	if err := os.Mkdir(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.Chown(folder, int(uid), int(gid)); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("/proc/self/exe", "-test.v",
		"-test.run=^(TestAcquire|TestAcquireTogether|TestKill|TestStalePostmasterPID|TestOrphanServer|TestUnreachableDataFolder)$")
	cmd.Dir = "/"
	cmd.Env = []string{"PATH=" + os.Getenv("PATH"), "TMPDIR=" + folder}
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}}
	begin := time.Now()
	out, err := cmd.CombinedOutput()
	if err != nil || strings.Count(string(out), "\n--- PASS") != 6 {
		t.Errorf("as nobody: %v\n%s", err, out)
	}
	t.Logf("took %v", time.Since(begin))
}

// Root may use a common user's folder without taking it away from them.
func TestRootInUsersFolder(t *testing.T) {
	if os.Getuid() != 0 {
		return // needs two users
	}
	data := dataFolder(t)
	home := filepath.Join(data, "cluster")
	const uid = 65534 // nobody
	for _, dir := range []string{data, home} {
		if err := os.Mkdir(dir, 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.Chown(dir, uid, uid); err != nil {
			t.Fatal(err)
		}
	}
	acquire(t, cluster.Options{Data: data, Throwaway: true})
	entries, err := os.ReadDir(home)
	if err != nil || len(entries) < 5 {
		t.Fatalf("%d files, error %v", len(entries), err)
	}
	for _, e := range entries {
		if got := owner(t, filepath.Join(home, e.Name())); got != uid {
			t.Errorf("%s belongs to user %d, want %d", e.Name(), got, uid)
		}
	}
}

// giveToServer hands a file to the owner of the folder, under root.
func giveToServer(t *testing.T, path, folder string) {
	t.Helper()
	info, err := os.Stat(folder)
	if err != nil {
		t.Fatal(err)
	}
	st := info.Sys().(*syscall.Stat_t)
	if err := os.Chown(path, int(st.Uid), int(st.Gid)); err != nil {
		t.Fatal(err)
	}
}

// removeRemote deletes a cluster outside its data folder and what was set aside.
func removeRemote(t *testing.T, home string) {
	t.Helper()
	if !strings.HasPrefix(home, "/var/lib/underbough/clusters/") {
		t.Fatalf("not deleting %q", home)
	}
	found, err := filepath.Glob(home + "*")
	if err != nil {
		t.Fatal(err)
	}
	for _, dir := range found {
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	}
}
