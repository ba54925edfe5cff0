package pdf

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"
)

// tool names a program of poppler, which reads what the browser wrote.
func tool(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Fatalf("%s is missing: run `make test`, which installs poppler-utils", name)
	}
	return path
}

// Poppler reads the text and the pages of a print; A4 is 595 by 842 points (ISO
// 216: 210 by 297 mm).
func TestPrint(t *testing.T) {
	body, err := Print(t.Context(), []byte(`<!doctype html><title>t</title><style>@page{size:A4}.p{break-before:page}</style><p>First page äöü</p><p class="p">Second page</p>`), "")
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "a.pdf")
	if err := os.WriteFile(file, body, 0o600); err != nil {
		t.Fatal(err)
	}
	info, err := exec.Command(tool(t, "pdfinfo"), file).Output()
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(strings.Fields(string(info)), " "); !strings.Contains(got, "Pages: 2 ") || !strings.Contains(got, "(A4)") {
		t.Errorf("pdfinfo says %s", info)
	}
	text, err := exec.Command(tool(t, "pdftotext"), file, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"First page äöü", "Second page"} {
		if !bytes.Contains(text, []byte(want)) {
			t.Errorf("the text has no %q: %q", want, text)
		}
	}
}

// A document reaches nobody, though somebody listens.
func TestPrintReachesNobody(t *testing.T) {
	var asked atomic.Int32
	s := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { asked.Add(1) }))
	defer s.Close()
	_, port, err := net.SplitHostPort(s.Listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	// The listener is there for who may reach it.
	if r, err := http.Get(s.URL); err != nil || r.Body.Close() != nil || asked.Load() != 1 {
		t.Fatalf("the listener does not answer: %v", err)
	}
	page := fmt.Sprintf(`<!doctype html><img src="http://127.0.0.1:%[1]s/a"><img src="http://localhost:%[1]s/b"><link rel="stylesheet" href="http://example.com:%[1]s/c">
<script>fetch("http://127.0.0.1:%[1]s/d", {mode: "no-cors"})</script><p>still</p>`, port)
	body, err := Print(t.Context(), []byte(page), "")
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "a.pdf")
	if err := os.WriteFile(file, body, 0o600); err != nil {
		t.Fatal(err)
	}
	text, err := exec.Command(tool(t, "pdftotext"), file, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	if asked.Load() != 1 || !bytes.Contains(text, []byte("still")) {
		t.Errorf("%d requests came from the document, whose text is %q", asked.Load()-1, text)
	}
}

func TestPrintWithoutBrowser(t *testing.T) {
	t.Setenv("PATH", t.TempDir())
	for _, named := range []string{"", "/no/such/browser"} {
		_, err := Print(t.Context(), []byte("<p>a</p>"), named)
		if !errors.Is(err, ErrNoBrowser) || named == "" && !strings.Contains(err.Error(), "install Debian's package chromium") || named != "" && !strings.Contains(err.Error(), named) {
			t.Errorf("browser %q: %v", named, err)
		}
	}
}

// A browser that never ends is ended with all that it started; one that writes
// nothing is quoted.
func TestPrintBadBrowsers(t *testing.T) {
	dir := t.TempDir()
	script := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte("#!/bin/sh\n"+text+"\n"), 0o700); err != nil {
			t.Fatal(err)
		}
		return path
	}
	ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
	defer cancel()
	began := time.Now()
	_, err := Print(ctx, nil, script("slow", "sleep 60 & sleep 60"))
	if !errors.Is(err, context.DeadlineExceeded) || time.Since(began) > 20*time.Second {
		t.Errorf("after %s: %v", time.Since(began), err)
	}
	_, err = Print(t.Context(), nil, script("failing", "echo cannot open display >&2; exit 3"))
	if err == nil || !strings.Contains(err.Error(), "cannot open display") || !strings.Contains(err.Error(), "exit status 3") {
		t.Errorf("got %v", err)
	}
}
