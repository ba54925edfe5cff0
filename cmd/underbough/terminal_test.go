//go:build linux

package main

import (
	"fmt"
	"io"
	"os"
	"strings"
	"testing"

	"github.com/mattn/go-runewidth"
	"golang.org/x/sys/unix"
)

// terminal opens a pseudo-terminal of a width (pty(7)): the side that a program
// is connected to, and the side that shows what it writes.
func terminal(t *testing.T, width uint16) (program, screen *os.File) {
	t.Helper()
	screen, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { screen.Close() })
	fd := int(screen.Fd())
	if err := unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0); err != nil {
		t.Fatal(err)
	}
	n, err := unix.IoctlGetInt(fd, unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	if err := unix.IoctlSetWinsize(fd, unix.TIOCSWINSZ, &unix.Winsize{Row: 24, Col: width}); err != nil {
		t.Fatal(err)
	}
	program, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	return program, screen
}

func TestTerminal(t *testing.T) {
	s := onDatabase(t)
	load(s)
	for _, width := range []int{80, 120} {
		for _, args := range []string{"rank --cut topping", "explain T1", "quarantine"} {
			program, screen := terminal(t, uint16(width))
			c := s.command(strings.Fields(args)...)
			c.Stdout, c.Stderr = program, program
			if err := c.Start(); err != nil {
				t.Fatal(err)
			}
			program.Close()
			shown, _ := io.ReadAll(screen) // ends with EIO when the program has gone
			if err := c.Wait(); err != nil {
				t.Fatalf("%s: %v\n%s", args, err, shown)
			}
			text := strings.ReplaceAll(string(shown), "\r\n", "\n")
			_, at := rule(t, strings.ReplaceAll(text, "\n  ─", "\n─"))
			if narrow := strings.HasPrefix(args, "rank") && width == 80; narrow != strings.Contains(text, "left out, for want of room: person-h/yr") {
				t.Errorf("%s on %d columns: whether columns are left out must be said:\n%s", args, width, text)
			}
			lines := strings.Split(text, "\n")
			if len(lines) <= at+1 {
				t.Fatalf("%s: an empty table:\n%s", args, text)
			}
			for _, line := range lines[at-1 : at+2] {
				if w := runewidth.StringWidth(line); w > width {
					t.Errorf("%s on %d columns: %d cells in %q", args, width, w, line)
				}
			}
		}
	}
}
