//go:build linux

package cluster

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

const (
	minPostgres = 15
	debianMajor = 15 // Debian 12's, for the advice where nothing is installed
)

var minPostGIS = [2]int{3, 3}

// binaries is a folder of PostgreSQL programs with a usable PostGIS.
type binaries struct {
	Dir   string
	Major int
}

var (
	versionPattern = regexp.MustCompile(`PostgreSQL\)? (\d+)(\S*)`)
	defaultPattern = regexp.MustCompile(`(?m)^\s*default_version\s*=\s*'(\d+)\.(\d+)([^']*)'`)
	modulePattern  = regexp.MustCompile(`(?m)^\s*module_pathname\s*=\s*'\$libdir/([^']+)'`)
)

// findBinaries returns the programs in dir, or where dir is empty the newest
// usable ones on this machine; want, unless 0, is the major version needed.
// The error lists what was found where and what to install.
func findBinaries(ctx context.Context, dir string, want int) (binaries, error) {
	dirs := []string{dir}
	if dir == "" {
		dirs = searchBinaries(ctx)
	}
	var findings []string
	advice := debianMajor
	for _, d := range dirs {
		b, err := inspectBinaries(ctx, d)
		if b.Major >= minPostgres {
			advice = max(advice, b.Major)
		}
		switch {
		case err != nil:
			findings = append(findings, fmt.Sprintf("%s: %v", d, err))
		case want != 0 && b.Major != want:
			findings = append(findings, fmt.Sprintf("%s: PostgreSQL %d", d, b.Major))
		default:
			return b, nil
		}
	}
	if len(findings) == 0 {
		findings = []string{"nothing found in /usr/lib/postgresql and on the PATH"}
	}
	found := strings.Join(findings, "; ")
	if want != 0 {
		return binaries{}, fmt.Errorf("the data folder was made by PostgreSQL %d, and here is %s: on Debian install that version with "+
			"`apt-get install postgresql-%d postgresql-%d-postgis-3`, or use another data folder", want, found, want, want)
	}
	return binaries{}, fmt.Errorf("no usable PostgreSQL with PostGIS (need PostgreSQL %d and PostGIS %d.%d or later): %s: on Debian install with "+
		"`apt-get install postgresql-%d postgresql-%d-postgis-3`, name the program folder in %s, or a database with --database",
		minPostgres, minPostGIS[0], minPostGIS[1], found, advice, advice, BinDirVariable)
}

// searchBinaries lists program folders, newest version first.
func searchBinaries(ctx context.Context) []string {
	dirs, _ := filepath.Glob("/usr/lib/postgresql/*/bin") // fails on a bad pattern only
	major := func(dir string) int {
		n, _ := strconv.Atoi(filepath.Base(filepath.Dir(dir))) // no number sorts last
		return n
	}
	slices.SortFunc(dirs, func(a, b string) int { return major(b) - major(a) })
	if out, err := output(ctx, "pg_config", "--bindir"); err == nil && !slices.Contains(dirs, out) {
		dirs = append(dirs, out)
	}
	return dirs
}

// inspectBinaries checks one folder. Major is set as soon as it is known.
func inspectBinaries(ctx context.Context, dir string) (binaries, error) {
	b := binaries{Dir: dir}
	for _, name := range []string{"postgres", "initdb", "pg_config"} {
		if _, err := exec.LookPath(filepath.Join(dir, name)); err != nil {
			return b, fmt.Errorf("no program %s", name)
		}
	}
	version, err := output(ctx, filepath.Join(dir, "postgres"), "--version")
	if err != nil {
		return b, err
	}
	m := versionPattern.FindStringSubmatch(version)
	if m == nil {
		return b, fmt.Errorf("unknown version %q", version)
	}
	if b.Major, err = strconv.Atoi(m[1]); err != nil {
		return b, fmt.Errorf("unknown version %q", version)
	}
	if b.Major < minPostgres {
		return b, fmt.Errorf("PostgreSQL %s%s is too old", m[1], m[2])
	}
	if err := inspectPostGIS(ctx, dir); err != nil {
		return b, fmt.Errorf("PostgreSQL %s%s, but %w", m[1], m[2], err)
	}
	return b, nil
}

func inspectPostGIS(ctx context.Context, dir string) error {
	config := filepath.Join(dir, "pg_config")
	share, err := output(ctx, config, "--sharedir")
	if err != nil {
		return err
	}
	control := filepath.Join(share, "extension", "postgis.control")
	text, err := os.ReadFile(control)
	if err != nil {
		return fmt.Errorf("no PostGIS (no %s)", control)
	}
	m := defaultPattern.FindSubmatch(text)
	if m == nil {
		return fmt.Errorf("no PostGIS version in %s", control)
	}
	major, errA := strconv.Atoi(string(m[1]))
	minor, errB := strconv.Atoi(string(m[2]))
	if errA != nil || errB != nil || slices.Compare([]int{major, minor}, minPostGIS[:]) < 0 {
		return fmt.Errorf("PostGIS %s.%s%s is too old", m[1], m[2], m[3])
	}
	// Debian ships the control file in a package of its own, which can be there
	// without the library.
	if m := modulePattern.FindSubmatch(text); m != nil {
		lib, err := output(ctx, config, "--pkglibdir")
		if err != nil {
			return err
		}
		module := filepath.Join(lib, string(m[1])+".so")
		if _, err := os.Stat(module); err != nil {
			return fmt.Errorf("PostGIS is incomplete (no %s)", module)
		}
	}
	return nil
}

func output(ctx context.Context, program string, args ...string) (string, error) {
	cmd := exec.CommandContext(ctx, program, args...)
	cmd.Env = serverEnv()
	out, err := cmd.Output()
	if err != nil {
		if exit := (*exec.ExitError)(nil); errors.As(err, &exit) {
			return "", fmt.Errorf("%s %s: %w: %s", program, strings.Join(args, " "), err, strings.TrimSpace(string(exit.Stderr)))
		}
		return "", fmt.Errorf("%s %s: %w", program, strings.Join(args, " "), err)
	}
	return strings.TrimSpace(string(out)), nil
}

// serverEnv leaves the caller's PG… variables out: PGPORT or PGOPTIONS would
// change the server behind our back.
func serverEnv() []string {
	return []string{"PATH=" + os.Getenv("PATH"), "LC_ALL=C", "TZ=UTC"}
}
