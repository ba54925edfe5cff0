// Package pdf prints an HTML document to PDF by a browser on this machine,
// without a network.
package pdf

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// Timeout bounds one print where the context sets no earlier end.
const Timeout = 2 * time.Minute

// ErrNoBrowser goes with every error that says that there is no browser to print
// with.
var ErrNoBrowser = errors.New("no Chromium to print with")

// names are what the browser is called, in the order they are looked for.
var names = []string{"chromium", "chromium-browser", "google-chrome", "google-chrome-stable"}

// Find returns the path of the browser: the one that is named, else the first
// that is installed.
func Find(chromium string) (string, error) {
	if chromium != "" {
		path, err := exec.LookPath(chromium)
		if err != nil {
			return "", fmt.Errorf("%w: %s is not there or cannot be run: give the path of Chromium, or leave it out to use the one that is installed", ErrNoBrowser, chromium)
		}
		return path, nil
	}
	for _, name := range names {
		if path, err := exec.LookPath(name); err == nil {
			return path, nil
		}
	}
	return "", fmt.Errorf("%w: none of %s is installed: install Debian's package chromium, or ask for HTML and print it from a browser", ErrNoBrowser, strings.Join(names, ", "))
}

// Print returns the document as PDF. chromium is the browser's path or name;
// empty for the one that is installed. The network is off: a document that needs
// anything from it is not printed whole.
func Print(ctx context.Context, html []byte, chromium string) ([]byte, error) {
	path, err := Find(chromium)
	if err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "print-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	from, to := filepath.Join(dir, "document.html"), filepath.Join(dir, "document.pdf")
	if err := os.WriteFile(from, html, 0o600); err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, Timeout)
	defer cancel()
	cmd := exec.CommandContext(ctx, path, arguments(dir, from, to)...)
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "HOME="+dir, "XDG_CONFIG_HOME="+dir, "XDG_CACHE_HOME="+dir)
	cmd.WaitDelay = 5 * time.Second // children may hold its output open
	own(cmd)
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	runErr := cmd.Run()
	if ctx.Err() != nil {
		return nil, fmt.Errorf("print to PDF: %s did not finish: %w", path, context.Cause(ctx))
	}
	body, err := os.ReadFile(to)
	if err != nil || !bytes.HasPrefix(body, []byte("%PDF-")) {
		return nil, fmt.Errorf("print to PDF: %s wrote no PDF (%v); it said: %s", path, errors.Join(runErr, err), tail(said.String()))
	}
	return body, nil
}

// arguments of the browser. Every name resolves to nothing, so that a document
// reaches nobody.
func arguments(dir, from, to string) []string {
	return []string{
		"--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--disable-extensions", "--disable-background-networking",
		"--disable-component-update", "--disable-sync", "--disable-quic", "--no-first-run", "--no-default-browser-check", "--metrics-recording-only",
		"--host-resolver-rules=MAP * ~NOTFOUND", "--proxy-server=127.0.0.1:9",
		"--user-data-dir=" + filepath.Join(dir, "profile"), "--no-pdf-header-footer", "--print-to-pdf=" + to, "file://" + from,
	}
}

// tail is the end of what a program said, where the cause stands. That there is no
// message bus on a server is no cause.
func tail(s string) string {
	const most = 600
	lines := slices.DeleteFunc(strings.Split(s, "\n"), func(line string) bool { return strings.Contains(line, ":ERROR:dbus/") })
	if s = strings.TrimSpace(strings.Join(lines, "\n")); len(s) > most {
		return "…" + s[len(s)-most:]
	}
	return s
}
