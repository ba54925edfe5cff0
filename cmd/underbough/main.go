// Command underbough finds the trees that carry old bad pruning cuts over
// places where people and cars are, and ranks them by what they would land on.
package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // sheets print the site's clock wherever they are made

	"github.com/underbough/underbough/inventory/postgres/cluster"
)

func main() {
	// The database's keeper is this program started again; it never returns.
	cluster.MaybeKeep()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	err := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	interrupted := ctx.Err() != nil
	stop()
	switch {
	case err == nil:
	case interrupted:
		fmt.Fprintln(os.Stderr, "underbough: interrupted; nothing was half-written")
		os.Exit(130)
	default:
		fmt.Fprintln(os.Stderr, "underbough: "+err.Error())
		os.Exit(exitStatus(err))
	}
}
