// Command bench measures, side by side in one run on one machine, our import
// against ogr2ogr with COPY on the same file; our full exposure run against the
// best single SQL statement we know for it, and says how far both agree; and our
// HTTP service against bare handlers with the same SQL, and ogr2ogr.
//
// The data are generated from a seed. Nothing here asserts a time.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory/postgres/cluster"
)

type bench struct {
	ctx            context.Context
	dir            string
	url            string
	conn           *pgx.Conn
	trees, targets int
	seed           uint64
	runs           int
	editsEach      int
	ogr            bool
	engine, http   bool
	page           bool
	seconds        float64
	profiles, kept string
	generateOnly   string
	program        string
}

func main() {
	cluster.MaybeKeep()
	if role := os.Getenv(roleVariable); role != "" {
		if err := playRole(context.Background(), role); err != nil {
			fmt.Fprintln(os.Stderr, "bench,", role+":", err)
			os.Exit(1)
		}
		return
	}
	b := &bench{}
	sizes := flag.String("trees", "1000000", "numbers of trees, one run each, such as 100000,1000000,10000000")
	flag.IntVar(&b.targets, "targets", 0, "number of targets; 0 for three in ten trees")
	flag.Uint64Var(&b.seed, "seed", 1, "seed of the data")
	flag.IntVar(&b.runs, "runs", 3, "timed repetitions of each of ours; SQL and ogr2ogr run once for each two")
	flag.IntVar(&b.editsEach, "edits", 300, "edits of each kind to time; 0 for none")
	sql := flag.Bool("sql", true, "measure the SQL statement too")
	flag.BoolVar(&b.ogr, "ogr2ogr", true, "measure ogr2ogr too")
	flag.BoolVar(&b.engine, "engine", true, "measure imports, full runs and edits; without, the data are only loaded and ranked")
	flag.BoolVar(&b.http, "serve", true, "measure the HTTP service")
	flag.BoolVar(&b.page, "view", true, "measure the map page in Chromium")
	flag.Float64Var(&b.seconds, "seconds", 3, "how long each round of a case of the service takes")
	flag.StringVar(&b.profiles, "profiles", "", "write processor profiles of the service and the floor into this folder")
	flag.StringVar(&b.kept, "data", "", "measure the service only, on a database in this folder that is kept for the next time")
	flag.StringVar(&b.generateOnly, "generate", "", "only write the data into this folder")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	b.ctx = ctx
	for text := range strings.SplitSeq(*sizes, ",") {
		one := *b
		var err error
		if one.trees, err = strconv.Atoi(text); err == nil {
			if one.targets == 0 {
				one.targets = one.trees * 3 / 10
			}
			err = one.run(*sql)
		}
		if err != nil {
			fmt.Fprintln(os.Stderr, "bench:", err)
			os.Exit(1)
		}
		fmt.Println()
	}
}

func (b *bench) run(sql bool) error {
	if b.generateOnly != "" {
		b.dir = b.generateOnly
		return b.generate()
	}
	dir, err := os.MkdirTemp("", "underbough-bench-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	if err := os.Chmod(dir, 0o755); err != nil {
		return err
	}
	b.dir = dir
	options := cluster.Options{Data: filepath.Join(dir, "data"), Remove: true}
	if b.kept != "" {
		options = cluster.Options{Data: b.kept}
	}
	lease, err := cluster.Acquire(b.ctx, options)
	if err != nil {
		return err
	}
	defer lease.Release()
	b.url = lease.URL()
	if b.conn, err = pgx.Connect(b.ctx, b.url); err != nil {
		return err
	}
	defer b.conn.Close(context.WithoutCancel(b.ctx))
	fmt.Printf("%d trees, %d targets, seed %d\n", b.trees, b.targets, b.seed)
	b.program = filepath.Join(dir, "underbough")
	if out, err := exec.CommandContext(b.ctx, "go", "build", "-buildvcs=false", "-o", b.program, "./cmd/underbough").CombinedOutput(); err != nil {
		return fmt.Errorf("building underbough: %w\n%s", err, out)
	}
	if b.kept != "" {
		if err := b.loadOnce(); err != nil {
			return err
		}
		return b.served()
	}
	if err := b.generate(); err != nil {
		return err
	}
	if b.engine {
		if err := b.imports(b.program); err != nil {
			return err
		}
		if err := b.exposures(b.program, sql); err != nil {
			return err
		}
	} else if err := b.load(); err != nil {
		return err
	}
	return b.served()
}

// served measures the service, and the map page on top of it.
func (b *bench) served() error {
	if b.http {
		if err := b.serve(); err != nil {
			return err
		}
	}
	if b.page {
		return b.view()
	}
	return nil
}

// loadOnce loads the data where none are there.
func (b *bench) loadOnce() error {
	var trees int
	err := b.conn.QueryRow(b.ctx, `SELECT count(*) FROM trees`).Scan(&trees)
	switch {
	case err != nil || trees == 0:
		if err := b.generate(); err != nil {
			return err
		}
		return b.load()
	case trees != b.trees:
		return fmt.Errorf("%s holds %d trees, not %d", b.kept, trees, b.trees)
	}
	return nil
}

// load only loads the data and ranks them.
func (b *bench) load() error {
	for _, args := range [][]string{{"import", b.treesFile(), "--site", "bench", "--as", "trees"}, {"import", b.targetsFile(), "--site", "bench", "--as", "targets"}, {"rank", "--limit", "1"}} {
		if _, err := b.process(b.program, args...); err != nil {
			return err
		}
	}
	return nil
}

// measured is one finished process.
type measured struct {
	wall time.Duration
	cpu  time.Duration
	rss  int64 // bytes
}

func (m measured) String() string {
	return fmt.Sprintf("%6.2f s wall, %6.2f s of its own processor time, %4d MB resident", m.wall.Seconds(), m.cpu.Seconds(), m.rss>>20)
}

// process runs a command and measures it.
func (b *bench) process(name string, args ...string) (measured, error) {
	cmd := exec.CommandContext(b.ctx, name, args...)
	cmd.Env = append(os.Environ(), "UNDERBOUGH_DATABASE="+b.url)
	start := time.Now()
	out, err := cmd.CombinedOutput()
	m := measured{wall: time.Since(start)}
	if err != nil {
		return m, fmt.Errorf("%s: %w\n%s", name, err, out)
	}
	m.cpu = cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	if usage, ok := cmd.ProcessState.SysUsage().(*syscall.Rusage); ok {
		m.rss = usage.Maxrss << 10
	}
	return m, nil
}

func (b *bench) exec(statements ...string) error {
	for _, s := range statements {
		if _, err := b.conn.Exec(b.ctx, s); err != nil {
			return fmt.Errorf("%w\n%s", err, s)
		}
	}
	return nil
}
