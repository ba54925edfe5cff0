package main

import (
	"os"
	"path/filepath"
	"syscall"
	"time"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/cmd/underbough/loading"
	"github.com/underbough/underbough/inventory"
)

// uploadFlags say what files may be sent to a service that lets edit.
type uploadFlags struct {
	UploadLimit int    `name:"upload-limit" default:"1024" env:"UNDERBOUGH_UPLOAD_LIMIT" help:"Size of the largest file that can be sent to be loaded, MiB; 0 takes none." placeholder:"MIB"`
	UploadDir   string `name:"upload-dir" env:"UNDERBOUGH_UPLOAD_DIR" help:"Folder where files that are sent wait (default: uploads in the data folder, or with --database the system's folder for temporary files)." placeholder:"DIR" type:"path"`
}

// uploadPrefix begins the names of the folders of services, one each.
const uploadPrefix = "underbough-uploads-"

// taking lets the service take files. The function that it returns forgets them.
func (f *uploadFlags) taking(c *cli, inv *session, config *api.Config) (done func(), err error) {
	done = func() {}
	if f.UploadLimit < 0 {
		return done, inventory.Errorf(inventory.Invalid, "--upload-limit %d: expected a size in MiB, 0 for none", f.UploadLimit)
	}
	if !config.Edit || f.UploadLimit == 0 {
		return done, nil
	}
	dir := f.UploadDir
	switch {
	case dir != "":
	case c.Database != "":
		dir = os.TempDir()
	default:
		if dir, err = c.dataFolder(); err != nil {
			return done, err
		}
		dir = filepath.Join(dir, "uploads")
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return done, inventory.Errorf(inventory.Invalid, "--upload-dir: %w", err)
	}
	forgetOthers(dir)
	own, done, err := ownFolder(dir)
	if err != nil {
		return done, inventory.Errorf(inventory.Invalid, "--upload-dir: %w", err)
	}
	config.Importer = &loading.Loading{Store: inv, Client: inv.client, Now: time.Now}
	config.UploadDir, config.UploadBytes = own, int64(f.UploadLimit)<<20
	return done, nil
}

// ownFolder makes a folder that is locked for as long as this program runs: its
// end, however it comes, lets the next one clear up. One that begins at this very
// moment may take a folder for left behind before it is locked: then there is
// another.
func ownFolder(dir string) (own string, done func(), err error) {
	for range 10 {
		if own, err = os.MkdirTemp(dir, uploadPrefix); err != nil {
			return "", func() {}, err
		}
		var lock *os.File
		if lock, err = os.Open(own); err != nil {
			continue
		}
		if err = syscall.Flock(int(lock.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err == nil {
			_, err = os.Stat(own) // which it was locked for, unless it was deleted before
		}
		if err == nil {
			return own, func() { os.RemoveAll(own); lock.Close() }, nil
		}
		lock.Close()
	}
	return "", func() {}, err
}

// forgetOthers deletes the folders of services that are gone.
func forgetOthers(dir string) {
	list, _ := filepath.Glob(filepath.Join(dir, uploadPrefix+"*"))
	for _, other := range list {
		lock, err := os.Open(other)
		if err != nil {
			continue
		}
		if syscall.Flock(int(lock.Fd()), syscall.LOCK_EX|syscall.LOCK_NB) == nil {
			os.RemoveAll(other)
		}
		lock.Close()
	}
}
