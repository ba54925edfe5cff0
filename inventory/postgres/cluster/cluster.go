// Package cluster runs a private PostgreSQL server in a data folder.
//
// Several processes share one server. The server is the child of a keeper, a
// detached copy of our own program, and ends by itself once the last process
// that holds a [Lease] is gone, however that process ended. It listens on a
// Unix socket only and runs as an unprivileged user even under root.
//
// Three advisory file locks (flock) make this hold without any clean-up code
// having to run, because the kernel drops them with the process:
//
//	start.lock   exclusive, while a process starts or joins, and while the keeper leaves
//	users.lock   shared, by each process that holds a lease
//	keeper.lock  exclusive, by the keeper for its life
package cluster

import (
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
)

const (
	// BinDirVariable names the environment variable with PostgreSQL's program folder.
	BinDirVariable = "UNDERBOUGH_PG_BIN"

	databaseName = "underbough"
	userName     = "underbough"
	// The port only names the socket file. It is not 5432, so that no client
	// reaches this server by default and no system server is mistaken for it.
	socketPort = 54329

	rootData = "/var/lib/underbough"
)

// Options says which cluster to run and how.
type Options struct {
	// Data is the absolute path of the data folder; it is made when missing.
	Data string
	// BinDir is the folder of PostgreSQL's programs. Empty means
	// $UNDERBOUGH_PG_BIN, and where that is unset too, a search.
	BinDir string
	// Throwaway gives up durability for speed: for tests only.
	Throwaway bool
	// Remove deletes the cluster's files once the last holder is gone.
	Remove bool
	// Log hears about waits and repairs. Nil means silence.
	Log *slog.Logger
}

// DefaultData returns the data folder of a user who named none:
// $XDG_DATA_HOME/underbough, else ~/.local/share/underbough. For root it is
// /var/lib/underbough, because the server's unprivileged user cannot reach
// root's home.
func DefaultData() (string, error) {
	if os.Getuid() == 0 {
		return rootData, nil
	}
	// The XDG base directory specification says to ignore a relative path.
	if base := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(base) {
		return filepath.Join(base, "underbough"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil || !filepath.IsAbs(home) {
		return "", errors.New("no home folder for the data folder: set HOME or name a folder with --data")
	}
	return filepath.Join(home, ".local", "share", "underbough"), nil
}

// connectionURL is the address of a database on the server behind socketDir.
func connectionURL(socketDir, database string) string {
	q := url.Values{}
	q.Set("host", socketDir)
	q.Set("port", strconv.Itoa(socketPort))
	q.Set("sslmode", "disable")
	u := url.URL{Scheme: "postgres", User: url.User(userName), Path: "/" + database, RawQuery: q.Encode()}
	return u.String()
}

func checkData(data string) error {
	if !filepath.IsAbs(data) {
		return fmt.Errorf("data folder %q: give an absolute path", data)
	}
	if filepath.Clean(data) == "/" {
		return errors.New("data folder /: name a folder of its own")
	}
	return nil
}
