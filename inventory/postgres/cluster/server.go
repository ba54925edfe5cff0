//go:build linux

package cluster

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
	"golang.org/x/sys/unix"
)

const (
	startLimit = 10 * time.Minute // recovery replays up to max_wal_size
	stopLimit  = time.Minute      // for the last checkpoint
)

// server is one run of the postgres program.
type server struct {
	cmd    *exec.Cmd
	done   chan struct{}
	result error // valid once done is closed
}

func (s *server) pid() int { return s.cmd.Process.Pid }

// databaseMajor is the major version that made the database files, or 0 where
// there are none yet.
func databaseMajor(p place) (int, error) {
	path := filepath.Join(p.database(), "PG_VERSION")
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	major, err := strconv.Atoi(strings.TrimSpace(string(text)))
	if err != nil {
		return 0, fmt.Errorf("%s: want a version number, got %q", path, text)
	}
	return major, nil
}

// makeDatabase runs initdb on first use. It works beside the final place and
// renames, so that an interrupted run leaves nothing that looks complete.
func (k *keeper) makeDatabase(ctx context.Context) error {
	if _, err := os.Stat(filepath.Join(k.place.database(), "PG_VERSION")); err == nil {
		return nil
	}
	if entries, err := os.ReadDir(k.place.database()); err == nil && len(entries) > 0 {
		return fmt.Errorf("%s holds files but no database (no PG_VERSION): move it away", k.place.database())
	}
	next := k.place.file("postgres.new")
	var failure error
	for _, locale := range []string{"C.UTF-8", "C"} {
		if err := os.RemoveAll(next); err != nil {
			return err
		}
		args := []string{"-D", next, "-U", userName, "-A", "trust", "-E", "UTF8", "--locale=" + locale, "--no-instructions"}
		if k.orders.Throwaway {
			args = append(args, "--no-sync")
		}
		cmd := exec.CommandContext(ctx, filepath.Join(k.orders.Binaries.Dir, "initdb"), args...)
		cmd.Env, cmd.Dir = serverEnv(), k.place.home
		cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
		out, err := cmd.CombinedOutput()
		if err == nil {
			return os.Rename(next, k.place.database())
		}
		failure = errors.Join(failure, fmt.Errorf("initdb with locale %s: %w: %s", locale, err, strings.TrimSpace(string(out))))
		if !strings.Contains(string(out), "locale") {
			break
		}
	}
	return failure
}

// startServer starts postgres and waits until our database can be used.
func (k *keeper) startServer(ctx context.Context) (*server, error) {
	ctx, cancel := context.WithTimeout(ctx, startLimit)
	defer cancel()
	if err := k.clearStale(ctx); err != nil {
		return nil, err
	}
	if err := writeSettings(k.place, k.status.Socket, k.orders.Throwaway); err != nil {
		return nil, err
	}
	srv, err := k.launch()
	if err != nil {
		return nil, err
	}
	if err := k.waitServer(ctx, srv); err != nil {
		srv.stop(false)
		return nil, err
	}
	return srv, nil
}

// clearStale makes the repairs that a start needs and passes on what was done.
func (k *keeper) clearStale(ctx context.Context) error {
	notices, err := recoverStale(ctx, k.place)
	for _, n := range notices {
		k.log.Warn(n)
	}
	k.status.Notices = append(k.status.Notices, notices...)
	return err
}

func (k *keeper) launch() (*server, error) {
	path := k.place.file("server.log")
	if err := rotateLog(path); err != nil {
		return nil, err
	}
	log, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_APPEND|unix.O_NOFOLLOW, 0o600)
	if err != nil {
		return nil, err
	}
	defer log.Close()
	srv := &server{cmd: exec.Command(filepath.Join(k.orders.Binaries.Dir, "postgres"), "-D", k.place.database()), done: make(chan struct{})}
	srv.cmd.Env, srv.cmd.Dir = serverEnv(), k.place.database()
	srv.cmd.Stdout, srv.cmd.Stderr = log, log
	// SIGINT is a fast, clean stop, even when the keeper was killed.
	srv.cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGINT}
	if err := srv.cmd.Start(); err != nil {
		return nil, fmt.Errorf("start postgres: %w", err)
	}
	go func() {
		srv.result = srv.cmd.Wait()
		close(srv.done)
	}()
	return srv, nil
}

// restartServer starts again after a crash. Processes of a killed server may
// still hold its memory, and postgres refuses until they have gone.
func (k *keeper) restartServer(ctx context.Context) (*server, error) {
	for try := 1; ; try++ {
		if err := sleep(ctx, time.Second/2); err != nil {
			return nil, err
		}
		srv, err := k.startServer(ctx)
		if err == nil || try == 20 {
			return srv, err
		}
		k.log.Warn("the database does not start yet", "error", err)
	}
}

func (k *keeper) waitServer(ctx context.Context, srv *server) error {
	for {
		err := ensureDatabase(ctx, k.status.Socket)
		if err == nil {
			return nil
		}
		select {
		case <-srv.done:
			return fmt.Errorf("postgres ended at the start (%v): %s", srv.result, tail(k.place.file("server.log")))
		case <-time.After(20 * time.Millisecond):
		case <-ctx.Done():
			return fmt.Errorf("postgres does not answer (%w): %w: %s", ctx.Err(), err, tail(k.place.file("server.log")))
		}
	}
}

// ensureDatabase connects and makes our database where it is missing.
func ensureDatabase(ctx context.Context, socket string) error {
	conn, err := pgx.Connect(ctx, connectionURL(socket, "postgres"))
	if err != nil {
		return err
	}
	defer conn.Close(ctx)
	var found bool
	if err := conn.QueryRow(ctx, "SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)", databaseName).Scan(&found); err != nil || found {
		return err
	}
	_, err = conn.Exec(ctx, "CREATE DATABASE "+pgx.Identifier{databaseName}.Sanitize())
	return err
}

// stop ends the server: cleanly, or at once where its data is not needed.
func (s *server) stop(hurry bool) {
	steps := []struct {
		signal syscall.Signal
		limit  time.Duration
	}{{syscall.SIGINT, stopLimit}, {syscall.SIGQUIT, 10 * time.Second}, {syscall.SIGKILL, 10 * time.Second}}
	if hurry {
		steps = steps[1:]
	}
	for _, step := range steps {
		if err := s.cmd.Process.Signal(step.signal); err != nil {
			return // it has ended
		}
		select {
		case <-s.done:
			return
		case <-time.After(step.limit):
		}
	}
}

// rotateLog copies a log that has grown too long aside and empties it. The
// server goes on writing to the same, now empty, file.
func rotateLog(path string) error {
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) || err == nil && info.Size() < logLimit {
		return nil
	}
	if err != nil {
		return err
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	if err := os.WriteFile(path+".1", text, 0o600); err != nil {
		return err
	}
	return os.Truncate(path, 0)
}
