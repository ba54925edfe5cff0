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
	s.ok("ranking", "run", "--name", "spring", "--day", "2026-03-01")
	s.ok("ranking", "run", "--name", "the same with intervals", "--draws", "50", "--profile", "points")
	for _, width := range []int{80, 140} {
		for _, args := range []string{"rank --cut topping", "rank --draws 50", "rank --what-if tree,T1,removed", "explain T1", "quarantine",
			"places", "places --uncovered --kind plaza", "grid --format table", "ranking list", "ranking show 1", "ranking compare 1 2", "hours T1"} {
			program, screen := terminal(t, uint16(width))
			fields := strings.Fields(args)
			for i := range fields {
				fields[i] = strings.ReplaceAll(fields[i], ",", " ")
			}
			c := s.command(fields...)
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
			lines := strings.Split(text, "\n")
			if !strings.HasPrefix(args, "quarantine") {
				for _, line := range lines {
					if w := runewidth.StringWidth(line); w > width {
						t.Errorf("%s on %d columns: %d cells in %q", args, width, w, line)
					}
				}
				if spoken := strings.Join(strings.Fields(text), " "); !strings.Contains(spoken, strings.Join(strings.Fields(cautions), " ")) && args != "ranking list" {
					t.Errorf("%s: no cautions in\n%s", args, text)
				}
			}
			if strings.HasPrefix(args, "hours") || strings.HasPrefix(args, "places --uncovered") {
				continue // no table
			}
			_, at := rule(t, strings.ReplaceAll(text, "\n  ─", "\n─"))
			if args == "rank --cut topping" && (width == 80) != strings.Contains(text, "left out, for want of room: person-h/yr") {
				t.Errorf("%s on %d columns: whether columns are left out must be said:\n%s", args, width, text)
			}
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
