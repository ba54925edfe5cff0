//go:build linux

package cluster

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"golang.org/x/sys/unix"
)

const lockPoll = 10 * time.Millisecond

var errLocked = errors.New("locked by another process")

// openLock opens or makes a lock file. Under root the file may lie in a folder
// of an unprivileged user, so symbolic links are not followed.
func openLock(path string, owner account) (*os.File, error) {
	fd, err := unix.Open(path, unix.O_RDWR|unix.O_CREAT|unix.O_CLOEXEC|unix.O_NOFOLLOW, 0o600)
	if err != nil {
		return nil, &os.PathError{Op: "open", Path: path, Err: err}
	}
	f := os.NewFile(uintptr(fd), path)
	if os.Getuid() == 0 {
		if err := f.Chown(int(owner.uid), int(owner.gid)); err != nil {
			f.Close()
			return nil, err
		}
	}
	return f, nil
}

// tryLock takes the lock at once or returns errLocked. how is unix.LOCK_SH or
// unix.LOCK_EX. Closing the file gives the lock up.
func tryLock(path string, how int, owner account) (*os.File, error) {
	f, err := openLock(path, owner)
	if err != nil {
		return nil, err
	}
	if err := flock(f, how); err != nil {
		f.Close()
		return nil, err
	}
	// A leaving keeper may have deleted the file between open and lock: such a
	// lock would exclude nobody.
	if !sameFile(f, path) {
		f.Close()
		return nil, errLocked
	}
	return f, nil
}

// lock waits for the lock until the context ends.
func lock(ctx context.Context, path string, how int, owner account) (*os.File, error) {
	for {
		f, err := tryLock(path, how, owner)
		if !errors.Is(err, errLocked) {
			return f, err
		}
		if err := sleep(ctx, lockPoll); err != nil {
			return nil, fmt.Errorf("waiting for %s: %w", path, err)
		}
	}
}

// probeLock is tryLock for a file that must exist; it makes none, because
// the folder may be on its way out.
func probeLock(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDWR|unix.O_NOFOLLOW, 0)
	if err != nil {
		return nil, err
	}
	if err := flock(f, unix.LOCK_EX); err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

func flock(f *os.File, how int) error {
	for {
		err := unix.Flock(int(f.Fd()), how|unix.LOCK_NB)
		switch {
		case errors.Is(err, unix.EINTR):
			continue
		case errors.Is(err, unix.EWOULDBLOCK):
			return errLocked
		case err != nil:
			return &os.PathError{Op: "flock", Path: f.Name(), Err: err}
		}
		return nil
	}
}

// sameFile reports whether the open file still is the one at the path.
func sameFile(f *os.File, path string) bool {
	open, err := f.Stat()
	if err != nil {
		return false
	}
	named, err := os.Lstat(path)
	return err == nil && os.SameFile(open, named)
}

func sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}
