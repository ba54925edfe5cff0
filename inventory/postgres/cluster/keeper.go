//go:build linux

package cluster

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"runtime"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

const (
	keeperVariable = "UNDERBOUGH_KEEPER"
	keeperLockFD   = 3
	probeEvery     = 250 * time.Millisecond
	maxRestarts    = 5
	logLimit       = 8 << 20 // bytes; one older log of this size is kept
)

// hooked tells that this program becomes a keeper when it is asked to; without
// it, re-executing ourselves would run the program again, without end.
var hooked bool

// orders is what a starting process hands to its keeper.
type orders struct {
	Data, Home string
	User       string
	UID, GID   uint32
	Binaries   binaries
	Throwaway  bool
	Remove     bool
}

// MaybeKeep turns this process into a keeper, and never returns, when it was
// started as one. Call it first in main, and in TestMain of packages that
// start a cluster.
func MaybeKeep() {
	hooked = true
	text, ok := os.LookupEnv(keeperVariable)
	if !ok {
		return
	}
	os.Unsetenv(keeperVariable)
	var o orders
	if err := json.Unmarshal([]byte(text), &o); err != nil {
		fmt.Fprintf(os.Stderr, "keeper: orders: %v\n", err)
		os.Exit(2)
	}
	if err := keep(context.Background(), o); err != nil {
		fmt.Fprintf(os.Stderr, "keeper: %v\n", err)
		os.Exit(1)
	}
	os.Exit(0)
}

// spawnKeeper starts a detached copy of ourselves that inherits the lock, so
// that there is no instant in which nobody holds it.
func spawnKeeper(ctx context.Context, p place, o Options, lock *os.File) error {
	defer lock.Close()
	dir := o.BinDir
	if dir == "" {
		dir = os.Getenv(BinDirVariable)
	}
	want, err := databaseMajor(p)
	if err != nil {
		return err
	}
	bin, err := findBinaries(ctx, dir, want)
	if err != nil {
		return err
	}
	if err := checkReach(bin.Dir, p.owner); err != nil {
		return fmt.Errorf("programs in %s: %w", bin.Dir, err)
	}
	text, err := json.Marshal(orders{Data: p.data, Home: p.home, User: p.owner.name, UID: p.owner.uid, GID: p.owner.gid,
		Binaries: bin, Throwaway: o.Throwaway, Remove: o.Remove})
	if err != nil {
		return err
	}
	if err := os.Remove(p.file("status.json")); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	log, err := openLock(p.file("keeper.log"), p.owner) // same care with links as for a lock
	if err != nil {
		return err
	}
	defer log.Close()
	if err := log.Truncate(0); err != nil {
		return err
	}
	cmd := exec.Command("/proc/self/exe") // still there when the file was replaced or deleted
	cmd.Args = []string{"underbough-keeper", p.home}
	cmd.Env = append(serverEnv(), keeperVariable+"="+string(text), "TMPDIR="+os.TempDir(), "XDG_RUNTIME_DIR="+os.Getenv("XDG_RUNTIME_DIR"))
	cmd.Dir = "/"
	cmd.Stdout, cmd.Stderr = log, log
	cmd.ExtraFiles = []*os.File{lock}
	// Away from the terminal, whose Ctrl-C must not reach it.
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true}
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("start the database keeper: %w", err)
	}
	go func() { _ = cmd.Wait() }() // only collects the process; its status file says how it went
	return nil
}

// keeper owns one server for as long as there are users.
type keeper struct {
	place  place
	orders orders
	lock   *os.File
	log    *slog.Logger
	status status
	// socket is the locked folder of the socket, nil once given up.
	socket *os.File
}

// keep is the body of the keeper process.
func keep(ctx context.Context, o orders) error {
	// The kernel ties the server's life to the thread that started it.
	runtime.LockOSThread()
	syscall.CloseOnExec(keeperLockFD)
	unix.Umask(0o077)
	ctx, stop := signal.NotifyContext(ctx, syscall.SIGTERM, syscall.SIGINT)
	defer stop()
	signal.Ignore(syscall.SIGHUP)
	k := &keeper{orders: o, lock: os.NewFile(keeperLockFD, "keeper.lock"), log: slog.New(slog.NewTextHandler(os.Stderr, nil))}
	k.place = place{data: o.Data, home: o.Home, owner: account{name: o.User, uid: o.UID, gid: o.GID}}
	if os.Getuid() == 0 {
		if err := become(k.place.owner); err != nil {
			return err
		}
	}
	err := k.run(ctx)
	if err != nil {
		k.status.State, k.status.Error = stateFailed, err.Error()
		// Where even this cannot be written, the waiting process reads our log.
		err = errors.Join(err, writeStatus(k.place, k.status))
	}
	return err
}

func (k *keeper) run(ctx context.Context) error {
	k.status = status{State: stateStarting, Keeper: os.Getpid()}
	if err := writeStatus(k.place, k.status); err != nil {
		return err
	}
	// An orphan goes first: it may still use the socket's folder.
	if err := k.clearStale(ctx); err != nil {
		return err
	}
	socket, err := makeSocketDir(k.place)
	if err != nil {
		return err
	}
	k.socket, k.status.Socket = socket, socket.Name()
	defer k.dropSocket()
	if err := k.makeDatabase(ctx); err != nil {
		return err
	}
	srv, err := k.startServer(ctx)
	if err != nil {
		return err
	}
	k.status.State, k.status.Server = stateReady, srv.pid()
	if err := writeStatus(k.place, k.status); err != nil {
		srv.stop(k.orders.Throwaway)
		return err
	}
	return k.watch(ctx, srv)
}

// watch keeps the server running until nobody uses it any more.
func (k *keeper) watch(ctx context.Context, srv *server) error {
	tick := time.NewTicker(probeEvery)
	defer tick.Stop()
	for restarts := 0; ; {
		select {
		case <-ctx.Done():
			k.log.Info("asked to end")
			srv.stop(false)
			return nil
		case <-srv.done:
			if restarts++; restarts > maxRestarts {
				return fmt.Errorf("the database ended %d times: %s", restarts, tail(k.place.file("server.log")))
			}
			k.log.Warn("the database ended by itself: starting it again", "result", srv.result)
			next, err := k.restartServer(ctx)
			if err != nil {
				return err
			}
			srv = next
		case <-tick.C:
			if !sameFile(k.lock, k.place.file("keeper.lock")) {
				// A new keeper may start in a new folder of this name, so let go fast.
				k.log.Warn("the data folder is gone")
				srv.stop(true)
				return nil
			}
			if err := rotateLog(k.place.file("server.log")); err != nil {
				k.log.Warn("server log cannot be rotated", "error", err)
			}
			left, err := k.leave(srv)
			if err != nil {
				srv.stop(false)
			}
			if left || err != nil {
				return err
			}
		}
	}
}

// leave stops the server if nobody holds a lease. The order of the locks is
// that of a starting process; with start.lock in hand nobody can join, so a
// newcomer waits until we are gone and then starts a keeper of its own.
func (k *keeper) leave(srv *server) (bool, error) {
	users, err := tryLock(k.place.file("users.lock"), unix.LOCK_EX, k.place.owner)
	if err != nil {
		return false, ignoreLocked(err)
	}
	users.Close()
	start, err := tryLock(k.place.file("start.lock"), unix.LOCK_EX, k.place.owner)
	if err != nil {
		return false, ignoreLocked(err)
	}
	defer start.Close()
	users, err = tryLock(k.place.file("users.lock"), unix.LOCK_EX, k.place.owner)
	if err != nil {
		return false, ignoreLocked(err)
	}
	defer users.Close()
	srv.stop(k.orders.Throwaway)
	k.dropSocket()
	if k.orders.Remove {
		k.removeAll()
	}
	// Released here, while newcomers still wait for start.lock.
	return true, k.lock.Close()
}

// dropSocket deletes the socket's folder, before the lock on it goes: after
// that a folder of this name is a successor's.
func (k *keeper) dropSocket() {
	if k.socket == nil {
		return
	}
	if err := os.RemoveAll(k.socket.Name()); err != nil {
		k.log.Warn("socket folder left behind", "error", err)
	}
	k.socket.Close()
	k.socket = nil
}

// removeAll deletes the cluster and, where it is empty then, the data folder.
// What root owns is left to the process that made it.
func (k *keeper) removeAll() {
	// Renamed first, so that a newcomer never makes files in a folder that is
	// being emptied. Root may not let us rename; then no newcomer is likely.
	gone := k.place.home + ".gone"
	if err := os.Rename(k.place.home, gone); err != nil {
		gone = k.place.home
	}
	if err := os.RemoveAll(gone); err != nil {
		k.log.Warn("files left behind", "error", err)
	}
	for _, name := range []string{locationName, "location.lock", ""} {
		_ = os.Remove(filepath.Join(k.place.data, name)) // other files in it are not ours
	}
}

func ignoreLocked(err error) error {
	if errors.Is(err, errLocked) {
		return nil
	}
	return err
}
