//go:build linux

package cluster_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory/postgres/cluster"
)

// What PostgreSQL's programs print is from its own programs (15.18 and 9.6);
// the files of an extension are those of its manual, "Packaging Related
// Objects into an Extension".
func TestAcquireSaysWhatIsMissing(t *testing.T) {
	for _, c := range []struct {
		name              string
		postgres, postgis string
		library           bool
		want              []string
	}{
		{name: "no programs", want: []string{"no program postgres", "apt-get install postgresql-15 postgresql-15-postgis-3"}},
		{name: "old postgresql", postgres: "postgres (PostgreSQL) 13.4", want: []string{"PostgreSQL 13.4 is too old", "apt-get install postgresql-15 postgresql-15-postgis-3"}},
		{name: "no postgis", postgres: "postgres (PostgreSQL) 17.2 (Debian 17.2-1)", want: []string{"PostgreSQL 17.2, but no PostGIS (no ", "postgis.control", "apt-get install postgresql-17 postgresql-17-postgis-3"}},
		{name: "old postgis", postgres: "postgres (PostgreSQL) 16.1", postgis: "3.2.1", library: true, want: []string{"PostGIS 3.2.1 is too old", "postgresql-16-postgis-3"}},
		{name: "no library", postgres: "postgres (PostgreSQL) 15.18", postgis: "3.3.2", want: []string{"PostGIS is incomplete (no ", "postgis-3.so"}},
		{name: "unknown answer", postgres: "hello", want: []string{`unknown version "hello"`}},
	} {
		t.Run(c.name, func(t *testing.T) {
			bin := fakePrograms(t, c.postgres, c.postgis, c.library)
			_, err := cluster.Acquire(t.Context(), cluster.Options{Data: dataFolder(t), BinDir: bin})
			if err == nil {
				t.Fatal("no error")
			}
			for _, want := range append(c.want, bin, "--database") {
				if !strings.Contains(err.Error(), want) {
					t.Errorf("error %q does not say %q", err, want)
				}
			}
		})
	}
}

func TestAcquireTakesBinDirFromEnvironment(t *testing.T) {
	bin := fakePrograms(t, "postgres (PostgreSQL) 14.1", "", false)
	t.Setenv(cluster.BinDirVariable, bin)
	if _, err := cluster.Acquire(t.Context(), cluster.Options{Data: dataFolder(t)}); err == nil || !strings.Contains(err.Error(), bin+": PostgreSQL 14.1 is too old") {
		t.Errorf("error %v", err)
	}
}

func TestAcquireNamesBothVersions(t *testing.T) {
	data := dataFolder(t)
	stop(t, acquire(t, cluster.Options{Data: data, Throwaway: true}))
	path := filepath.Join(data, "cluster", "postgres", "PG_VERSION")
	have, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte("12\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err = cluster.Acquire(t.Context(), cluster.Options{Data: data})
	for _, want := range []string{"made by PostgreSQL 12", "PostgreSQL " + strings.TrimSpace(string(have))} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v does not say %q", err, want)
		}
	}
}

func TestAcquireRefusesData(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for data, want := range map[string]string{"": "absolute", "some/where": "absolute", "/": "of its own", file: "not a folder"} {
		if _, err := cluster.Acquire(t.Context(), cluster.Options{Data: data}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("data %q: error %v, want %q", data, err, want)
		}
	}
}

// A server that cannot start must show the end of its log.
func TestAcquireShowsServerLog(t *testing.T) {
	data := dataFolder(t)
	stop(t, acquire(t, cluster.Options{Data: data, Throwaway: true}))
	auto := filepath.Join(data, "cluster", "postgres", "postgresql.auto.conf")
	if err := os.WriteFile(auto, []byte("shared_preload_libraries = 'no_such_library'\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := cluster.Acquire(t.Context(), cluster.Options{Data: data, Throwaway: true})
	if err == nil || !strings.Contains(err.Error(), "no_such_library") || !strings.Contains(err.Error(), "server.log") {
		t.Errorf("error %v, want the log's end", err)
	}
}

// fakePrograms makes a folder of programs that print versions.
func fakePrograms(t *testing.T, postgres, postgis string, library bool) string {
	t.Helper()
	root := t.TempDir()
	write := func(name, text string, mode os.FileMode) {
		path := filepath.Join(root, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), mode); err != nil {
			t.Fatal(err)
		}
	}
	if postgres != "" {
		write("bin/postgres", "#!/bin/sh\necho '"+postgres+"'\n", 0o755)
		write("bin/initdb", "#!/bin/sh\nexit 1\n", 0o755)
		write("bin/pg_config", fmt.Sprintf("#!/bin/sh\ncase $1 in --sharedir) echo %s/share;; --pkglibdir) echo %s/lib;; esac\n", root, root), 0o755)
	}
	if postgis != "" {
		write("share/extension/postgis.control", "default_version = '"+postgis+"'\nmodule_pathname = '$libdir/postgis-3'\n", 0o644)
	}
	if library {
		write("lib/postgis-3.so", "", 0o644)
	}
	return filepath.Join(root, "bin")
}
