//go:build linux

package cluster

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"golang.org/x/sys/unix"
)

// Lease holds the server of a data folder. The server runs for as long as
// any process holds one.
type Lease struct {
	place  place
	users  *os.File // holds the shared lock
	keeper *os.File // the keeper's lock file, to see it end even when the folder is removed
	url    string
}

// Acquire makes sure that a server runs for the data folder and returns a
// lease on it. The first use of a folder makes the database. It waits for
// recovery after a crash until the context ends. The program's main function
// must have called [MaybeKeep] first.
func Acquire(ctx context.Context, o Options) (*Lease, error) {
	if !hooked {
		return nil, errors.New("the private cluster needs a call of cluster.MaybeKeep at the start of main (in tests: pgtest.Main)")
	}
	if err := checkData(o.Data); err != nil {
		return nil, err
	}
	o.Data = filepath.Clean(o.Data)
	log := o.Log
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	// A Remove keeper may take the folder away under us, and it is made again.
	for {
		l, err := acquire(ctx, o, log)
		if err == nil || ctx.Err() != nil || !o.Remove || !errors.Is(err, os.ErrNotExist) {
			return l, err
		}
		if err := sleep(ctx, lockPoll); err != nil {
			return nil, err
		}
	}
}

func acquire(ctx context.Context, o Options, log *slog.Logger) (*Lease, error) {
	p, err := findPlace(ctx, o.Data, log)
	if err != nil {
		return nil, err
	}
	// Held until the server answers. A keeper that wants to leave needs it too,
	// so it never goes between our look at it and our hold on users.lock.
	start, err := lock(ctx, p.file("start.lock"), unix.LOCK_EX, p.owner)
	if err != nil {
		return nil, err
	}
	defer start.Close()
	users, err := lock(ctx, p.file("users.lock"), unix.LOCK_SH, p.owner)
	if err != nil {
		return nil, err
	}
	l := &Lease{place: p, users: users}
	if err := l.connect(ctx, o, log); err != nil {
		users.Close()
		return nil, err
	}
	return l, nil
}

// errKeeperGone means that the keeper ended before the server answered.
var errKeeperGone = errors.New("the database keeper ended early")

// connect starts a keeper where none runs, and waits until the server answers.
// A keeper that was killed holds its lock for another instant, so one that
// goes away and is not our own is replaced.
func (l *Lease) connect(ctx context.Context, o Options, log *slog.Logger) error {
	for {
		ours, err := l.ensureKeeper(ctx, o)
		if err != nil {
			return err
		}
		s, err := l.waitReady(ctx, log)
		if err == nil {
			l.url = connectionURL(s.Socket, databaseName)
			err = l.waitAnswer(ctx)
		}
		if errors.Is(err, errKeeperGone) && !ours {
			continue
		}
		if err != nil {
			return err
		}
		if ours {
			for _, notice := range s.Notices {
				log.Warn(notice)
			}
		}
		l.keeper, err = openLock(l.place.file("keeper.lock"), l.place.owner)
		return err
	}
}

// ensureKeeper reports whether it had to start one.
func (l *Lease) ensureKeeper(ctx context.Context, o Options) (bool, error) {
	f, err := tryLock(l.place.file("keeper.lock"), unix.LOCK_EX, l.place.owner)
	if err != nil {
		return false, ignoreLocked(err)
	}
	return true, spawnKeeper(ctx, l.place, o, f)
}

// waitReady follows the keeper's status until it is ready or has failed.
func (l *Lease) waitReady(ctx context.Context, log *slog.Logger) (status, error) {
	told, begin := false, time.Now()
	for {
		alive := l.keeperAlive()
		s := readStatus(l.place) // after the look, so that last words count
		switch {
		case s.State == stateReady && alive:
			return s, nil
		case s.State == stateFailed:
			return s, errors.New(s.Error)
		case !alive:
			return s, fmt.Errorf("%w: %s", errKeeperGone, tail(l.place.file("keeper.log")))
		}
		if !told && time.Since(begin) > 3*time.Second {
			told = true
			log.Info("waiting for the database to start", "log", l.place.file("server.log"))
		}
		if err := sleep(ctx, lockPoll); err != nil {
			return s, fmt.Errorf("waiting for the database to start: %w: %s", err, tail(l.place.file("server.log")))
		}
	}
}

// keeperAlive must be called with start.lock held: its look takes the lock
// for an instant, which a starting process would mistake for a keeper.
func (l *Lease) keeperAlive() bool {
	f, err := probeLock(l.place.file("keeper.lock"))
	if err != nil {
		return errors.Is(err, errLocked)
	}
	f.Close()
	return false
}

// waitAnswer asks the server itself: a ready keeper may be restarting a server
// that was killed.
func (l *Lease) waitAnswer(ctx context.Context) error {
	for {
		err := ping(ctx, l.url)
		if err == nil {
			return nil
		}
		if !l.keeperAlive() {
			return fmt.Errorf("%w: %w: %s", errKeeperGone, err, tail(l.place.file("keeper.log")))
		}
		if errSleep := sleep(ctx, 50*time.Millisecond); errSleep != nil {
			return fmt.Errorf("waiting for the database: %w: %w", errSleep, err)
		}
	}
}

// URL is the connection URL of the database over the Unix socket.
func (l *Lease) URL() string { return l.url }

// Release gives the lease up; a clean stop follows when nobody else holds one.
// Later calls do nothing.
func (l *Lease) Release() error {
	if l.users == nil {
		return nil
	}
	err := l.users.Close()
	l.users = nil
	return err
}

// WaitStopped waits, after Release, until the server has stopped. It returns
// at once when another process holds a lease, and on later calls.
func (l *Lease) WaitStopped(ctx context.Context) error {
	for l.keeper != nil {
		settled, err := l.settled()
		if settled || err != nil {
			err = errors.Join(err, l.keeper.Close())
			l.keeper = nil
			return err
		}
		if err := sleep(ctx, lockPoll); err != nil {
			return fmt.Errorf("waiting for the database to stop: %w", err)
		}
	}
	return nil
}

// settled reports whether the server has stopped or has other users. It looks
// from behind start.lock, where the keeper's own probes cannot be mistaken
// for a user.
func (l *Lease) settled() (bool, error) {
	start, err := probeLock(l.place.file("start.lock"))
	if errors.Is(err, os.ErrNotExist) {
		// Removed: nobody can take this lock any more but the keeper, which
		// gives it up when all is gone.
		err := flock(l.keeper, unix.LOCK_EX)
		return err == nil, ignoreLocked(err)
	}
	if err != nil {
		return false, ignoreLocked(err) // the keeper is leaving, or somebody joins
	}
	defer start.Close()
	if !l.keeperAlive() {
		return true, nil
	}
	users, err := probeLock(l.place.file("users.lock"))
	if err == nil {
		return false, users.Close() // the keeper has yet to notice
	}
	return errors.Is(err, errLocked), ignoreLocked(err)
}

// ping opens one connection and closes it.
func ping(ctx context.Context, url string) error {
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return err
	}
	return conn.Close(ctx)
}

// tail is the end of a log for an error message.
func tail(path string) string {
	const most = 1200
	text, err := os.ReadFile(path)
	if err != nil {
		return "no log: " + err.Error()
	}
	if len(text) > most {
		text = text[len(text)-most:]
	}
	trimmed := strings.TrimSpace(string(text))
	if trimmed == "" {
		return path + " is empty"
	}
	return "end of " + path + " (last " + strconv.Itoa(len(trimmed)) + " bytes):\n" + trimmed
}
