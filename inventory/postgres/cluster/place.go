//go:build linux

package cluster

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// place is where one data folder's cluster lives and who owns it.
type place struct {
	data  string // the data folder
	home  string // our folder: locks, logs, and the database files in postgres/
	owner account
}

func (p place) database() string { return filepath.Join(p.home, "postgres") }
func (p place) file(name string) string {
	return filepath.Join(p.home, name)
}

// locationName is the file in the data folder that says where the cluster is
// when it could not be kept in the folder itself.
const locationName = "cluster.location"

// findPlace finds or makes the folder of the cluster. It never changes the
// owner or mode of a data folder that was there before.
func findPlace(ctx context.Context, data string, log *slog.Logger) (place, error) {
	owner, err := serverAccount()
	if err != nil {
		return place{}, err
	}
	if err := makeData(data, owner); err != nil {
		return place{}, fmt.Errorf("data folder: %w", err)
	}
	p := place{data: data, home: filepath.Join(data, "cluster"), owner: owner}
	if os.Getuid() != 0 {
		return p, makeOwned(p.home, owner)
	}
	if _, err := os.Lstat(p.home); err == nil {
		p.owner = ownerAccount(p.home, owner)
		if err := checkReach(data, p.owner); err != nil {
			return p, fmt.Errorf("database files in %s: %w: open it with chmod o+x or use another data folder", p.home, err)
		}
		return p, makeOwned(p.home, p.owner)
	}
	if _, err := os.Lstat(filepath.Join(data, locationName)); err != nil && checkReach(data, owner) == nil {
		return p, makeOwned(p.home, owner)
	}
	return findRemote(ctx, p, log)
}

// makeData makes a missing data folder, mode 0700 and owned by the server's
// user. It appears at its path complete, so that no other process finds it
// half-made.
func makeData(data string, owner account) error {
	info, err := os.Stat(data)
	if err == nil && !info.IsDir() {
		return fmt.Errorf("%s is not a folder", data)
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(data), 0o755); err != nil {
		return err
	}
	made, err := os.MkdirTemp(filepath.Dir(data), ".underbough-*") // mode 0700
	if err != nil {
		return err
	}
	defer os.Remove(made)
	if err := own(made, owner); err != nil {
		return err
	}
	if err := os.Rename(made, data); err != nil {
		if info, errStat := os.Stat(data); errStat == nil && info.IsDir() {
			return nil // another process was faster
		}
		return err
	}
	return nil
}

// findRemote keeps the cluster outside a data folder that the server's user
// cannot reach. The data folder and the cluster hold the same token: a cluster
// whose data folder was deleted must not come back under a new folder of the
// same name.
func findRemote(ctx context.Context, p place, log *slog.Logger) (place, error) {
	guard, err := lock(ctx, filepath.Join(p.data, "location.lock"), unix.LOCK_EX, account{})
	if err != nil {
		return p, err
	}
	defer guard.Close()
	location := filepath.Join(p.data, locationName)
	token := ""
	if text, err := os.ReadFile(location); err == nil {
		lines := strings.Split(strings.TrimSpace(string(text)), "\n")
		if len(lines) != 2 || !filepath.IsAbs(lines[0]) {
			return p, fmt.Errorf("%s: want the cluster's folder and its token on two lines: mend it or delete the data folder", location)
		}
		p.home, token = lines[0], lines[1]
	} else {
		real, err := filepath.EvalSymlinks(p.data)
		if err != nil {
			return p, err
		}
		p.home = filepath.Join(rootData, "clusters", digest(real))
		token = rand.Text()
	}
	if err := makeRemote(p, token, log); err != nil {
		return p, fmt.Errorf("cluster for %s: %w", p.data, err)
	}
	p.owner = ownerAccount(p.home, p.owner)
	if err := checkReach(p.home, p.owner); err != nil {
		return p, fmt.Errorf("database files in %s: %w", p.home, err)
	}
	if _, err := os.Stat(location); err == nil {
		return p, nil
	}
	log.Info("data folder is closed to the database user, so its database files are kept elsewhere",
		"data", p.data, "user", p.owner.name, "files", p.home)
	return p, os.WriteFile(location, []byte(p.home+"\n"+token+"\n"), 0o600)
}

func makeRemote(p place, token string, log *slog.Logger) error {
	parent := filepath.Dir(p.home)
	if err := os.MkdirAll(parent, 0o711); err != nil {
		return err
	}
	// Ours by name: let the server's user pass, whoever made it. The clusters
	// below stay closed to all but their owner.
	for _, dir := range []string{rootData, parent} {
		if info, err := os.Stat(dir); err == nil && checkReach(dir, p.owner) != nil {
			if err := os.Chmod(dir, info.Mode().Perm()|0o011); err != nil {
				return err
			}
		}
	}
	// The keeper, which is not root, deletes a cluster that is not to stay.
	if err := own(parent, p.owner); err != nil {
		return err
	}
	tokenFile := p.file("token")
	if found, err := os.ReadFile(tokenFile); err == nil && strings.TrimSpace(string(found)) != token {
		aside := fmt.Sprintf("%s.left-%d", p.home, time.Now().UnixNano())
		if err := os.Rename(p.home, aside); err != nil {
			return err
		}
		log.Warn("found the database files of an earlier data folder of this name and set them aside: delete them if they are not needed",
			"data", p.data, "files", aside)
	}
	if err := makeOwned(p.home, p.owner); err != nil {
		return err
	}
	// O_EXCL follows no symbolic link that the server's user may have put there.
	f, err := os.OpenFile(tokenFile, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if _, err := f.WriteString(token + "\n"); err != nil {
		f.Close()
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	return own(tokenFile, p.owner)
}

// makeOwned makes a folder of our own, or closes an existing one to others.
func makeOwned(dir string, owner account) error {
	if err := os.Mkdir(dir, 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	info, err := os.Lstat(dir)
	if err != nil {
		return err
	}
	if !info.IsDir() {
		return fmt.Errorf("%s is not a folder", dir)
	}
	if info.Mode().Perm() != 0o700 {
		if err := os.Chmod(dir, 0o700); err != nil {
			return err
		}
	}
	return own(dir, owner)
}

func own(path string, owner account) error {
	if os.Getuid() != 0 {
		return nil
	}
	return os.Lchown(path, int(owner.uid), int(owner.gid))
}

// digest shortens a path to a file name of 16 characters.
func digest(path string) string {
	sum := sha256.Sum256([]byte(path))
	return hex.EncodeToString(sum[:8])
}
