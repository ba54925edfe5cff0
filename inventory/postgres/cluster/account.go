//go:build linux

package cluster

import (
	"errors"
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"
)

// account is the system user that runs the server and owns its files.
type account struct {
	name     string
	uid, gid uint32
}

// serverAccount is the caller, or under root (whom PostgreSQL refuses) the
// user "postgres" where there is one, else "nobody".
func serverAccount() (account, error) {
	if os.Getuid() != 0 {
		return account{name: strconv.Itoa(os.Getuid()), uid: uint32(os.Getuid()), gid: uint32(os.Getgid())}, nil
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, errU := strconv.ParseUint(u.Uid, 10, 32)
		gid, errG := strconv.ParseUint(u.Gid, 10, 32)
		if errU == nil && errG == nil && uid != 0 {
			return account{name: name, uid: uint32(uid), gid: uint32(gid)}, nil
		}
	}
	return account{}, errors.New("postgresql does not run as root, and there is no user postgres or nobody to run it: add one")
}

// ownerAccount is the account that owns an existing folder, or fallback where
// root does. It lets root use the data folder of a common user without taking
// it away from them.
func ownerAccount(dir string, fallback account) account {
	info, err := os.Lstat(dir)
	if err != nil {
		return fallback
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok || st.Uid == 0 || st.Uid == fallback.uid {
		return fallback
	}
	return account{name: "uid " + strconv.Itoa(int(st.Uid)), uid: st.Uid, gid: st.Gid}
}

// checkReach says which folder on the way to path the account may not pass.
// It reads permission bits only; access lists could allow more, never less.
func checkReach(path string, a account) error {
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		return err
	}
	for dir := real; ; dir = filepath.Dir(dir) {
		info, err := os.Stat(dir)
		if err != nil {
			return err
		}
		st, ok := info.Sys().(*syscall.Stat_t)
		if !ok {
			return fmt.Errorf("%s: no owner known", dir)
		}
		bit := uint32(0o001)
		switch {
		case st.Uid == a.uid:
			bit = 0o100
		case st.Gid == a.gid:
			bit = 0o010
		}
		if st.Mode&bit == 0 {
			return fmt.Errorf("%s (mode %04o) is closed to user %s", dir, st.Mode&0o7777, a.name)
		}
		if dir == "/" {
			return nil
		}
	}
}

// become gives root's rights up for good, in every thread of this process.
func become(a account) error {
	if err := syscall.Setgroups([]int{int(a.gid)}); err != nil {
		return fmt.Errorf("set groups: %w", err)
	}
	if err := syscall.Setresgid(int(a.gid), int(a.gid), int(a.gid)); err != nil {
		return fmt.Errorf("set group %d: %w", a.gid, err)
	}
	if err := syscall.Setresuid(int(a.uid), int(a.uid), int(a.uid)); err != nil {
		return fmt.Errorf("set user %s: %w", a.name, err)
	}
	return nil
}
