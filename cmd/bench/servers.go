package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/pprof"
	"os"
	"os/exec"
	"strconv"
	"strings"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory/postgres"
)

// The processes that are measured are this program again, told by a variable
// which one it is: the service, or the bare handlers.
const roleVariable = "UNDERBOUGH_BENCH_ROLE"

const serviceRole, bareRole = "service", "bare"

// playRole is what this process does where it has a role.
func playRole(ctx context.Context, role string) error {
	url := os.Getenv("UNDERBOUGH_DATABASE")
	var handlers []http.Handler
	switch role {
	case serviceRole:
		db, err := postgres.Open(ctx, url)
		if err != nil {
			return err
		}
		// Each request is logged, as the service does.
		log, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
		if err != nil {
			return err
		}
		config := api.Config{Store: db, Client: 1, Profile: defaultProfile, Log: slog.New(slog.NewTextHandler(log, nil))}
		handlers = append(handlers, api.New(config).Handler())
		config.TileCacheBytes = 1 // no tile is kept
		handlers = append(handlers, api.New(config).Handler())
	case bareRole:
		b, err := newBare(ctx, url)
		if err != nil {
			return err
		}
		handlers = append(handlers, b.handler())
	}
	for _, h := range append(handlers, profiles()) {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			return err
		}
		fmt.Println(l.Addr())
		go http.Serve(l, h)
	}
	fmt.Println()
	io.Copy(io.Discard, os.Stdin) // until the one who started it is done
	return nil
}

func profiles() http.Handler {
	m := http.NewServeMux()
	m.HandleFunc("/profile", pprof.Profile)
	return m
}

// server is a process that is measured.
type server struct {
	cmd  *exec.Cmd
	end  io.Closer
	at   []string // addresses; the last one is for profiles
	what string
}

func (b *bench) start(role string) (*server, error) {
	program, err := os.Executable()
	if err != nil {
		return nil, err
	}
	s := &server{cmd: exec.CommandContext(b.ctx, program), what: role}
	s.cmd.Env = append(os.Environ(), "UNDERBOUGH_DATABASE="+b.url, roleVariable+"="+role)
	s.cmd.Stderr = os.Stderr
	if s.end, err = s.cmd.StdinPipe(); err != nil {
		return nil, err
	}
	out, err := s.cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := s.cmd.Start(); err != nil {
		return nil, err
	}
	for lines := bufio.NewScanner(out); lines.Scan() && lines.Text() != ""; {
		s.at = append(s.at, lines.Text())
	}
	if len(s.at) < 2 {
		s.stop()
		return nil, fmt.Errorf("the %s did not start", role)
	}
	return s, nil
}

func (s *server) stop() {
	s.end.Close()
	s.cmd.Wait()
}

// memory returns what the process keeps in memory now and the most that it did
// since the last reset, bytes.
func (s *server) memory() (now, most int64) {
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", s.cmd.Process.Pid))
	if err != nil {
		return 0, 0
	}
	for line := range strings.SplitSeq(string(status), "\n") {
		name, value, _ := strings.Cut(line, ":")
		kb, _ := strconv.ParseInt(strings.TrimSuffix(strings.TrimSpace(value), " kB"), 10, 64)
		switch name {
		case "VmRSS":
			now = kb << 10
		case "VmHWM":
			most = kb << 10
		}
	}
	return now, most
}

// resetMost begins to look for the most anew (proc(5), clear_refs).
func (s *server) resetMost() error {
	return os.WriteFile(fmt.Sprintf("/proc/%d/clear_refs", s.cmd.Process.Pid), []byte("5"), 0)
}

// profile writes a profile of the processor's time of the next seconds to a file,
// and returns a function that waits for that.
func (s *server) profile(path string, seconds int) (wait func() error) {
	done := make(chan error, 1)
	go func() {
		done <- func() error {
			r, err := http.Get(fmt.Sprintf("http://%s/profile?seconds=%d", s.at[len(s.at)-1], seconds))
			if err != nil {
				return err
			}
			defer r.Body.Close()
			f, err := os.Create(path)
			if err != nil {
				return err
			}
			defer f.Close()
			_, err = io.Copy(f, r.Body)
			return err
		}()
	}()
	return func() error { return <-done }
}
