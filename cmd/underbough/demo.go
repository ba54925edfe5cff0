package main

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"syscall"
	"time"

	"github.com/underbough/underbough/cmd/underbough/demo"
	"github.com/underbough/underbough/importers"
)

type demoCmd struct {
	Once   bool   `help:"Stop after the table."`
	Seed   uint64 `default:"7" help:"Seed of the invented town."`
	Dir    string `help:"Write the town's files here and keep them (default: a temporary folder)." placeholder:"DIR" type:"path"`
	Listen string `default:"127.0.0.1:8017" env:"UNDERBOUGH_LISTEN" help:"Address to serve on; another port is taken where this one is in use." placeholder:"HOST:PORT"`
}

// Run writes the town's files, loads them as any file is loaded, ranks and
// serves. Running it again changes nothing.
func (d *demoCmd) Run(c *cli) error {
	dir := d.Dir
	if dir == "" {
		made, err := os.MkdirTemp("", "underbough-demo-")
		if err != nil {
			return err
		}
		defer os.RemoveAll(made)
		dir = made
	} else if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	start := time.Now()
	imports, err := demo.Write(dir, d.Seed, time.Now().Year())
	if err != nil {
		return err
	}
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	fmt.Fprintf(c.stdout, "%s: an invented town. Its trees, cuts and places are made up.\n\n", demo.Site)
	for _, one := range imports {
		i := importCmd{
			Site: one.Site, As: string(one.Role), Map: one.Map, Mapping: one.MappingFile, Kind: one.Kind,
			TimeZone: demo.TimeZone, MaxKM: importers.DefaultMaxKM, Format: "text",
		}
		if err := i.one(c, s, one.File); err != nil {
			return err
		}
	}
	fmt.Fprintln(c.stdout)
	plan, err := d.planWork(c, s)
	if err != nil {
		return err
	}
	r := rankCmd{asked: asked{Site: demo.Site, Over: "parking,walkway", Cut: "topping", By: "harm"}, Limit: 12, Format: "table"}
	if err := r.rank(c, s); err != nil {
		return err
	}
	notes{c.stdout, terminalWidth(c.stdout)}.say("\nA programme of five years within %d units of money a year, %d of %d trees: bin/underbough programme show %d%s", demoBudget, plan.Result.Planned, plan.Result.Trees, plan.ID, c.dataFlag())
	fmt.Fprintf(c.stdout, "\nLoaded, ranked and planned in %.1f s. See what was held back: bin/underbough quarantine%s\n", time.Since(start).Seconds(), c.dataFlag())
	if d.Once {
		return nil
	}
	serve := serveCmd{Listen: freeAddress(d.Listen), logLevel: slog.LevelWarn} // a line a request would bury the table
	serve.Edit = loopback(serve.Listen)
	serve.UploadLimit = 1024
	return serve.serve(c, s)
}

// freeAddress returns address, or any free port of its host where another
// program has it: two demos may run side by side.
func freeAddress(address string) string {
	l, err := net.Listen("tcp", address)
	if err == nil {
		l.Close()
		return address
	}
	if host, _, split := net.SplitHostPort(address); split == nil && errors.Is(err, syscall.EADDRINUSE) {
		return net.JoinHostPort(host, "0")
	}
	return address
}

// loopback reports whether an address is of this machine alone.
func loopback(address string) bool {
	host, _, err := net.SplitHostPort(address)
	ip := net.ParseIP(host)
	return err == nil && (host == "localhost" || ip != nil && ip.IsLoopback())
}
