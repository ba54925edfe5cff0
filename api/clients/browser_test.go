//go:build clients

package clients_test

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// site serves the pages of testdata and the map libraries from an origin of its
// own, so that the browser asks the service across origins.
func site(t *testing.T) string {
	t.Helper()
	wanted := parse[struct{ DevDependencies map[string]string }](t, read(t, "package.json")).DevDependencies
	for name, version := range wanted {
		file := filepath.Join("node_modules", name, "package.json")
		if _, err := os.Stat(file); err != nil {
			t.Fatalf("%s is not there: %s", name, hint)
		}
		if got := parse[struct{ Version string }](t, read(t, file)).Version; got != version {
			t.Fatalf("%s is of version %s, expected %s: %s", name, got, version, hint)
		}
	}
	mux := http.NewServeMux()
	mux.Handle("/node_modules/", http.StripPrefix("/node_modules/", http.FileServer(http.Dir("node_modules"))))
	mux.Handle("/", http.FileServer(http.Dir("testdata")))
	mux.HandleFunc("/favicon.ico", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusNoContent) })
	web := httptest.NewServer(mux)
	t.Cleanup(web.Close)
	return web.URL
}

func read(t *testing.T, file string) []byte {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// browser is Chromium, and what its pages complained about.
type browser struct {
	ctx context.Context
	dir string // for pictures

	mu      sync.Mutex
	trouble []string
	asked   []string
}

// open starts Chromium; map libraries draw with WebGL, which is worked out in
// software here.
func open(t *testing.T) *browser {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		t.Fatal("there is no chromium: " + hint)
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.UserDataDir(t.TempDir()), chromedp.NoSandbox,
		chromedp.Flag("use-angle", "swiftshader"), chromedp.Flag("enable-unsafe-swiftshader", true), chromedp.Flag("ignore-gpu-blocklist", true))
	for _, flag := range []string{"disable-quic", "disable-background-networking", "disable-component-update", "disable-sync", "no-first-run", "disable-dev-shm-usage"} {
		options = append(options, chromedp.Flag(flag, true))
	}
	ctx, cancel := chromedp.NewExecAllocator(context.WithoutCancel(t.Context()), options...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	b := &browser{ctx: ctx, dir: t.ArtifactDir()}
	if err := chromedp.Do(ctx, call(network.Enable, network.EnableParams{}), call(log.Enable, cdp.Empty{}), call(runtime.Enable, cdp.Empty{})); err != nil {
		t.Fatal(err)
	}
	if err := chromedp.Listen(ctx, b.listen); err != nil {
		t.Fatal(err)
	}
	return b
}

func (b *browser) listen(ev any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch ev := ev.(type) {
	case *network.EventRequestWillBeSent:
		b.asked = append(b.asked, ev.Request.URL)
	case *network.EventLoadingFailed:
		b.trouble = append(b.trouble, fmt.Sprintf("a request fails: %s %v", ev.ErrorText, ev.BlockedReason))
	case *runtime.EventExceptionThrown:
		b.trouble = append(b.trouble, fmt.Sprintf("%+v", ev.ExceptionDetails))
	case *runtime.EventConsoleAPICalled:
		if ev.Type == "error" {
			b.trouble = append(b.trouble, fmt.Sprint(ev.Args))
		}
	case *log.EventEntryAdded:
		if ev.Entry.Level == "error" {
			b.trouble = append(b.trouble, ev.Entry.Text+" "+ev.Entry.URL)
		}
	}
}

// call makes an action of a command of the protocol.
func call[P, R any](c cdp.Command[P, R], params P) chromedp.Action[chromedp.Void] {
	return func(ctx context.Context, t *chromedp.Target) (none chromedp.Void, err error) {
		_, err = cdp.Call(ctx, t, c, params)
		return none, err
	}
}

const width, height = 1200, 900

// drawn opens a page, waits until its map is drawn, and returns what the page says
// of it and a picture. A page that complains fails the test.
func (b *browser) drawn(t *testing.T, name, page string, with url.Values, ready any) canvas {
	t.Helper()
	b.mu.Lock()
	b.trouble, b.asked = nil, nil
	b.mu.Unlock()
	ctx, cancel := context.WithTimeout(b.ctx, 2*time.Minute)
	defer cancel()
	err := chromedp.Do(ctx, chromedp.EmulateViewport(width, height), chromedp.Navigate(page+"?"+with.Encode()),
		settled(chromedp.Poll[chromedp.Void]("window.ready !== undefined")), chromedp.Sleep(300*time.Millisecond))
	b.mu.Lock()
	for _, line := range b.trouble {
		t.Errorf("%s: the page says: %s", name, line)
	}
	b.mu.Unlock()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	said, err := chromedp.Run(ctx, chromedp.Evaluate[string]("JSON.stringify(window.ready)"))
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%s: %s", name, said)
	if err := json.Unmarshal([]byte(said), ready); err != nil {
		t.Fatal(err)
	}
	shot, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(b.dir, strings.ReplaceAll(name, " ", "-")+".png")
	if err := os.WriteFile(file, shot, 0o644); err != nil {
		t.Fatal(err)
	}
	return picture(t, file)
}

// settled takes a step again that met the end of the page before.
func settled[R any](step chromedp.Action[R]) chromedp.Action[R] {
	return func(ctx context.Context, target *chromedp.Target) (r R, err error) {
		for range 20 {
			r, err = step(ctx, target)
			if err == nil || !strings.Contains(err.Error(), "context") || ctx.Err() != nil {
				return r, err
			}
			time.Sleep(100 * time.Millisecond)
		}
		return r, err
	}
}

// pixels asks the page where places, given as longitude|latitude|anything, are in
// its picture.
func (b *browser) pixels(t *testing.T, places []string) [][2]int {
	t.Helper()
	var list [][]float64
	for _, p := range places {
		list = append(list, numbers(t, strings.Split(p, "|")[:2]...))
	}
	given, err := json.Marshal(list)
	if err != nil {
		t.Fatal(err)
	}
	said, err := chromedp.Run(b.ctx, chromedp.Evaluate[[][]float64](`(`+string(given)+`).map(([lon, lat]) => window.ready.at(lon, lat))`))
	if err != nil {
		t.Fatal(err)
	}
	var out [][2]int
	for _, p := range said {
		out = append(out, [2]int{int(p[0]), int(p[1])})
	}
	return out
}
