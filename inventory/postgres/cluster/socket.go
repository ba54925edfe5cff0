//go:build linux

package cluster

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// maxSocketPath is the room in Linux's sockaddr_un (108 bytes with the closing
// zero; see unix(7)).
const maxSocketPath = 107

// makeSocketDir makes and locks the folder of the socket: outside the data
// folder, whose path may be too long, and open to the server's user alone.
func makeSocketDir(p place) (*os.File, error) {
	name := "underbough-" + digest(p.home+"\x00"+strconv.Itoa(int(p.owner.uid)))
	var failure error
	// /tmp first: TMPDIR and XDG_RUNTIME_DIR can go before we do.
	for _, base := range []string{"/tmp", os.TempDir(), os.Getenv("XDG_RUNTIME_DIR")} {
		if !filepath.IsAbs(base) {
			continue
		}
		dir, err := claimDir(filepath.Join(base, name), p.owner)
		// A killed keeper may let go of this lock a little after its others.
		for try := 0; errors.Is(err, errLocked) && try < 50; try++ {
			time.Sleep(lockPoll)
			dir, err = claimDir(filepath.Join(base, name), p.owner)
		}
		if errors.Is(err, errLocked) || errors.Is(err, errTaken) {
			dir, err = claimFresh(base, name)
		}
		if err == nil && len(socketPath(dir.Name())) <= maxSocketPath {
			return dir, nil
		}
		if err == nil {
			err = fmt.Errorf("%s: too long for a socket", dir.Name())
			os.Remove(dir.Name())
			dir.Close()
		}
		failure = errors.Join(failure, err)
	}
	return nil, fmt.Errorf("no folder for the socket: %w", failure)
}

var errTaken = errors.New("the folder belongs to somebody else")

// claimDir makes the folder or takes over what a killed keeper left. It
// returns errLocked for a folder in use by another keeper, and errTaken for
// one of another user or with a server that has no keeper.
func claimDir(path string, owner account) (*os.File, error) {
	if err := os.Mkdir(path, 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
		return nil, err
	}
	info, err := os.Lstat(path)
	if err != nil {
		return nil, err
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok || !info.IsDir() || st.Uid != owner.uid || info.Mode().Perm() != 0o700 || socketInUse(path) {
		return nil, errTaken
	}
	dir, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	if err := flock(dir, unix.LOCK_EX); err != nil {
		dir.Close()
		return nil, err
	}
	if !sameFile(dir, path) {
		dir.Close()
		return nil, errLocked
	}
	// Postgres would take a zombie's lock file for one in use.
	for _, file := range []string{"", ".lock"} {
		if err := os.Remove(socketPath(path) + file); err != nil && !errors.Is(err, fs.ErrNotExist) {
			dir.Close()
			return nil, err
		}
	}
	return dir, nil
}

// socketPath is the path of the socket in its folder.
func socketPath(dir string) string { return filepath.Join(dir, ".s.PGSQL."+strconv.Itoa(socketPort)) }

// claimFresh takes a name that nobody has.
func claimFresh(base, name string) (*os.File, error) {
	path, err := os.MkdirTemp(base, name+"-")
	if err != nil {
		return nil, err
	}
	dir, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	return dir, flock(dir, unix.LOCK_EX)
}

// socketInUse reports whether the process that postgres's socket lock names is
// a running server.
func socketInUse(dir string) bool {
	text, err := os.ReadFile(socketPath(dir) + ".lock")
	if err != nil {
		return false
	}
	var pid int
	if _, err := fmt.Sscan(string(text), &pid); err != nil || pid <= 1 {
		return false
	}
	return isServer(pid)
}
