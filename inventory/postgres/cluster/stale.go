//go:build linux

package cluster

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// recoverStale clears the way for a start: it removes a postmaster.pid whose
// process is dead or something else, and stops a server of this very folder
// that lost its keeper. The caller holds keeper.lock, so no such server is
// meant to run. It returns one line for each repair.
func recoverStale(ctx context.Context, p place) ([]string, error) {
	path := filepath.Join(p.database(), "postmaster.pid")
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	first, _, _ := strings.Cut(string(text), "\n")
	pid, err := strconv.Atoi(strings.TrimSpace(first))
	if err != nil || pid <= 1 {
		return []string{fmt.Sprintf("removed %s, which names no process", path)}, os.Remove(path)
	}
	if !servesFolder(pid, p.database()) {
		return []string{fmt.Sprintf("removed %s: process %d is not a server of this folder", path, pid)}, os.Remove(path)
	}
	if err := stopOrphan(ctx, pid, p.database()); err != nil {
		return nil, err
	}
	notices := []string{fmt.Sprintf("stopped a database server (process %d) that had lost its keeper", pid)}
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return notices, err
	}
	return notices, nil
}

// servesFolder reports whether the process is a postgres that runs on the
// database folder: by its working folder, or where that is not ours to read,
// by its command line.
func servesFolder(pid int, database string) bool {
	proc := filepath.Join("/proc", strconv.Itoa(pid))
	if !isServer(pid) {
		return false
	}
	if cwd, err := os.Stat(filepath.Join(proc, "cwd")); err == nil {
		dir, err := os.Stat(database)
		return err == nil && os.SameFile(cwd, dir)
	}
	line, err := os.ReadFile(filepath.Join(proc, "cmdline"))
	return err == nil && slices.Contains(strings.Split(string(line), "\x00"), database)
}

// isServer reports whether the process is a postgres that runs. A zombie has
// ended; only its parent can clear it away.
func isServer(pid int) bool {
	proc := filepath.Join("/proc", strconv.Itoa(pid))
	comm, err := os.ReadFile(filepath.Join(proc, "comm"))
	if err != nil {
		return false
	}
	if name := strings.TrimSpace(string(comm)); name != "postgres" && name != "postmaster" {
		return false
	}
	stat, err := os.ReadFile(filepath.Join(proc, "stat"))
	_, after, _ := strings.Cut(string(stat), ") ")
	return err == nil && !strings.HasPrefix(after, "Z")
}

func stopOrphan(ctx context.Context, pid int, database string) error {
	for _, step := range []struct {
		signal syscall.Signal
		limit  time.Duration
	}{{syscall.SIGINT, stopLimit}, {syscall.SIGQUIT, 10 * time.Second}, {syscall.SIGKILL, 10 * time.Second}} {
		if err := syscall.Kill(pid, step.signal); err != nil && !errors.Is(err, syscall.ESRCH) {
			return fmt.Errorf("stop database server %d of this folder: %w", pid, err)
		}
		for end := time.Now().Add(step.limit); time.Now().Before(end); {
			if !servesFolder(pid, database) {
				return nil
			}
			if err := sleep(ctx, 20*time.Millisecond); err != nil {
				return err
			}
		}
	}
	return fmt.Errorf("database server %d of this folder does not stop: end it by hand", pid)
}
