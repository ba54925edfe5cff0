//go:build linux

package cluster_test

import (
	"bufio"
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory/postgres/cluster"
)

// holdVariable makes the test program a common user process: it acquires the
// data folder named there, prints the address, and holds on until its input
// ends or it is killed.
const holdVariable = "UNDERBOUGH_TEST_HOLD"

func TestMain(m *testing.M) {
	cluster.MaybeKeep()
	if data, ok := os.LookupEnv(holdVariable); ok {
		if err := hold(data); err != nil {
			fmt.Println("error:", err)
			os.Exit(1)
		}
		return
	}
	os.Exit(m.Run())
}

func hold(data string) error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	l, err := cluster.Acquire(ctx, cluster.Options{Data: data})
	if err != nil {
		return err
	}
	fmt.Println(l.URL())
	if _, err := io.Copy(io.Discard, os.Stdin); err != nil {
		return err
	}
	return l.Release()
}

func TestAcquire(t *testing.T) {
	data := dataFolder(t)
	begin := time.Now()
	l := acquire(t, cluster.Options{Data: data})
	first := time.Since(begin)
	execute(t, l.URL(), "CREATE TABLE kept (id int)")
	execute(t, l.URL(), "CREATE EXTENSION postgis")
	for setting, want := range map[string]string{"listen_addresses": "", "server_encoding": "UTF8", "TimeZone": "UTC", "fsync": "on", "jit": "off"} {
		if got := query(t, l.URL(), "SHOW "+setting); got != want {
			t.Errorf("%s is %q, want %q", setting, got, want)
		}
	}
	for _, dir := range []string{data, filepath.Join(data, "cluster")} {
		if info, err := os.Stat(dir); err != nil || info.Mode().Perm() != 0o700 {
			t.Errorf("%s: mode %v, error %v, want 0700", dir, info.Mode(), err)
		}
	}
	server := serverPID(t, data)
	if uid := owner(t, filepath.Join("/proc", strconv.Itoa(server))); uid == 0 {
		t.Error("the server runs as root")
	}
	socket := socketFolder(t, l.URL())
	begin = time.Now()
	stop(t, l)
	stopped := time.Since(begin)
	if alive(server) {
		t.Error("the server is still there after the last lease")
	}
	if _, err := os.Stat(socket); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("socket folder %s is left behind: %v", socket, err)
	}
	begin = time.Now()
	l = acquire(t, cluster.Options{Data: data})
	t.Logf("first start %v, stop %v, second start %v", first, stopped, time.Since(begin))
	if got := query(t, l.URL(), "SELECT count(*)::text FROM kept"); got != "0" {
		t.Errorf("kept has %s rows, want 0", got)
	}
	begin = time.Now()
	other := acquire(t, cluster.Options{Data: data})
	t.Logf("joining took %v", time.Since(begin))
	if other.URL() != l.URL() {
		t.Errorf("a second lease has another address: %s, %s", other.URL(), l.URL())
	}
	stop(t, l) // returns, as another lease holds the server
	if got := query(t, other.URL(), "SELECT 1::text"); got != "1" {
		t.Errorf("the server of the second lease answers %q", got)
	}
}

func TestAcquireTogether(t *testing.T) {
	data := dataFolder(t)
	var users []*holder
	for range 4 {
		users = append(users, startUser(t, data))
	}
	pids := map[string]bool{}
	for _, u := range users {
		pids[query(t, u.url(t), "SELECT pg_postmaster_start_time()::text")] = true
	}
	if len(pids) != 1 {
		t.Errorf("%d servers for one folder: %v", len(pids), pids)
	}
}

// A newcomer must never be left without a server by a keeper that is just
// leaving, so join and leave again and again around the keeper's own rhythm.
func TestAcquireWhileLeaving(t *testing.T) {
	data := dataFolder(t)
	for i := range 12 {
		l := acquire(t, cluster.Options{Data: data, Throwaway: true})
		if err := l.Release(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(i) * 40 * time.Millisecond)
	}
	l := acquire(t, cluster.Options{Data: data, Throwaway: true})
	time.Sleep(600 * time.Millisecond) // two probes of the keeper
	if got := query(t, l.URL(), "SELECT 1::text"); got != "1" {
		t.Errorf("the server answers %q", got)
	}
}

func TestKill(t *testing.T) {
	data := dataFolder(t)
	u := startUser(t, data)
	execute(t, u.url(t), "CREATE TABLE kept (id int)")
	rows := 0
	insert := func(t *testing.T, url string) {
		execute(t, url, "INSERT INTO kept VALUES (1)")
		rows++
	}
	check := func(t *testing.T) {
		t.Helper()
		l := acquire(t, cluster.Options{Data: data})
		if got := query(t, l.URL(), "SELECT count(*)::text FROM kept"); got != strconv.Itoa(rows) {
			t.Errorf("%s committed rows, want %d", got, rows)
		}
		stop(t, l)
	}
	t.Run("the user: the server stops by itself", func(t *testing.T) {
		insert(t, u.url(t))
		server := serverPID(t, data)
		u.kill(t)
		waitFor(t, "the server to end", func() bool { return !alive(server) })
		check(t)
	})
	t.Run("the keeper: the server goes down with it", func(t *testing.T) {
		u = startUser(t, data)
		insert(t, u.url(t))
		server := serverPID(t, data)
		kill(t, keeperPID(t, server))
		waitFor(t, "the server to end", func() bool { return !alive(server) })
		u.kill(t)
		check(t)
	})
	t.Run("the keeper: a new one serves while the old user lives", func(t *testing.T) {
		u = startUser(t, data)
		insert(t, u.url(t))
		keeper := keeperPID(t, serverPID(t, data))
		kill(t, keeper)
		waitFor(t, "the keeper to end", func() bool { return !alive(keeper) })
		l := acquire(t, cluster.Options{Data: data})
		if got := query(t, u.url(t), "SELECT count(*)::text FROM kept"); got != strconv.Itoa(rows) {
			t.Errorf("%s committed rows at the old address, want %d", got, rows)
		}
		stop(t, l)
		u.kill(t)
		check(t)
	})
	t.Run("the server: the keeper starts it again", func(t *testing.T) {
		u = startUser(t, data)
		insert(t, u.url(t))
		kill(t, serverPID(t, data))
		waitFor(t, "the server to come back", func() bool { return ping(u.url(t)) == nil })
		u.kill(t)
		check(t)
	})
	t.Run("server, keeper and user at once", func(t *testing.T) {
		u = startUser(t, data)
		insert(t, u.url(t))
		server := serverPID(t, data)
		keeper := keeperPID(t, server)
		kill(t, server)
		kill(t, keeper)
		u.kill(t)
		check(t)
	})
}

func TestRemove(t *testing.T) {
	data := dataFolder(t)
	l := acquire(t, cluster.Options{Data: data, Throwaway: true, Remove: true})
	stop(t, l)
	if _, err := os.Stat(data); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("%s is left behind: %v", data, err)
	}
}

// holder is another process with a lease.
type holder struct {
	cmd     *exec.Cmd
	out     *bufio.Reader
	address string
}

func startUser(t *testing.T, data string) *holder {
	t.Helper()
	cmd := exec.Command("/proc/self/exe")
	cmd.Env = append(os.Environ(), holdVariable+"="+data)
	if _, err := cmd.StdinPipe(); err != nil { // held open: its end is the sign to go
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	u := &holder{cmd: cmd, out: bufio.NewReader(out)}
	t.Cleanup(func() { u.kill(t) })
	return u
}

func (u *holder) url(t *testing.T) string {
	t.Helper()
	if u.address == "" {
		line, err := u.out.ReadString('\n')
		if err != nil || !strings.HasPrefix(line, "postgres://") {
			t.Fatalf("user process: %q %v", line, err)
		}
		u.address = strings.TrimSpace(line)
	}
	return u.address
}

func (u *holder) kill(t *testing.T) {
	t.Helper()
	if u.cmd.ProcessState != nil {
		return
	}
	kill(t, u.cmd.Process.Pid)
	if err := u.cmd.Wait(); err == nil {
		t.Error("a killed process ended well")
	}
}

// dataFolder names a folder that the server's user can reach under root too,
// which t.TempDir is not, and waits for its server to end after the test.
func dataFolder(t *testing.T) string {
	t.Helper()
	data := filepath.Join(os.TempDir(), "underbough-cluster-"+strings.ToLower(rand.Text()[:10]))
	t.Cleanup(func() {
		if t.Failed() {
			if text, err := os.ReadFile(filepath.Join(data, "cluster", "keeper.log")); err == nil {
				t.Logf("keeper.log:\n%s", text)
			}
		}
		// Fails while a server whose last user was killed still winds up.
		waitFor(t, "the data folder to be free", func() bool { return os.RemoveAll(data) == nil })
	})
	return data
}

func acquire(t *testing.T, o cluster.Options) *cluster.Lease {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	l, err := cluster.Acquire(ctx, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { stop(t, l) })
	return l
}

func stop(t *testing.T, l *cluster.Lease) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	if err := errors.Join(l.Release(), l.WaitStopped(ctx)); err != nil {
		t.Error(err)
	}
}

func logger() (*slog.Logger, *bytes.Buffer) {
	var text bytes.Buffer
	return slog.New(slog.NewTextHandler(&text, nil)), &text
}

func query(t *testing.T, url, sql string) string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	var s string
	if err := conn.QueryRow(t.Context(), sql).Scan(&s); err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
	return s
}

func execute(t *testing.T, url, sql string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	if _, err := conn.Exec(t.Context(), sql); err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
}

func ping(url string) error {
	conn, err := pgx.Connect(context.Background(), url)
	if err != nil {
		return err
	}
	return conn.Close(context.Background())
}

func socketFolder(t *testing.T, url string) string {
	t.Helper()
	c, err := pgx.ParseConfig(url)
	if err != nil {
		t.Fatal(err)
	}
	return c.Host
}

func serverPID(t *testing.T, data string) int {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(data, "cluster", "postgres", "postmaster.pid"))
	if err != nil {
		t.Fatal(err)
	}
	first, _, _ := strings.Cut(string(text), "\n")
	pid, err := strconv.Atoi(first)
	if err != nil {
		t.Fatal(err)
	}
	return pid
}

// keeperPID is the parent of the server.
func keeperPID(t *testing.T, server int) int {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("/proc", strconv.Itoa(server), "stat"))
	if err != nil {
		t.Fatal(err)
	}
	_, after, _ := strings.Cut(string(text), ") ")
	fields := strings.Fields(after) // state, parent, …: see proc(5)
	pid, err := strconv.Atoi(fields[1])
	if err != nil || pid <= 1 {
		t.Fatalf("parent of the server: %v %v", fields[1], err)
	}
	return pid
}

func owner(t *testing.T, path string) uint32 {
	t.Helper()
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	return info.Sys().(*syscall.Stat_t).Uid
}

func kill(t *testing.T, pid int) {
	t.Helper()
	if err := syscall.Kill(pid, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
}

// alive reports whether the process runs; a zombie does not.
func alive(pid int) bool {
	text, err := os.ReadFile(filepath.Join("/proc", strconv.Itoa(pid), "stat"))
	_, after, _ := strings.Cut(string(text), ") ")
	return err == nil && !strings.HasPrefix(after, "Z")
}

func waitFor(t *testing.T, what string, done func() bool) {
	t.Helper()
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if done() {
			return
		}
	}
	t.Fatalf("waited 30 s for %s", what)
}
