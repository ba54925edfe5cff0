// Withdb runs a command with a throw-away database cluster, whose address the
// command finds in UNDERBOUGH_TEST_DATABASE:
//
//	withdb go test ./...
//
// It ends with the command's exit status, and adds nothing to its output.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"syscall"
	"time"

	"github.com/underbough/underbough/inventory/postgres/cluster"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

func main() {
	cluster.MaybeKeep()
	if len(os.Args) < 2 {
		fmt.Fprintln(os.Stderr, "usage: withdb COMMAND [ARGUMENT…]")
		os.Exit(2)
	}
	code, err := run(os.Args[1:])
	if err != nil {
		fmt.Fprintln(os.Stderr, "withdb:", err)
		code = max(code, 1)
	}
	os.Exit(code)
}

func run(args []string) (code int, err error) {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	lease, dir, err := pgtest.Throwaway(ctx)
	if err != nil {
		return 1, err
	}
	defer func() {
		// The command's context may have ended by a signal.
		ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
		defer cancel()
		err = errors.Join(err, pgtest.Discard(ctx, lease, dir))
	}()
	cmd := exec.CommandContext(ctx, args[0], args[1:]...)
	cmd.Cancel = func() error { return cmd.Process.Signal(syscall.SIGTERM) }
	cmd.WaitDelay = 20 * time.Second
	cmd.Env = append(os.Environ(), pgtest.Variable+"="+lease.URL())
	cmd.Stdin, cmd.Stdout, cmd.Stderr = os.Stdin, os.Stdout, os.Stderr
	err = cmd.Run()
	if exit := (*exec.ExitError)(nil); errors.As(err, &exit) {
		if code := exit.ExitCode(); code > 0 {
			return code, nil
		}
		return 1, err // ended by a signal
	}
	if err != nil {
		return 1, err
	}
	return 0, nil
}
