package api_test

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/png"
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

	"github.com/underbough/underbough/api/viewer"
)

// browser opens pages in Chromium and keeps what they asked for and said.
type browser struct {
	mu       sync.Mutex
	requests []string
	trouble  []string
}

func open(t *testing.T) (context.Context, *browser) {
	t.Helper()
	ctx, b, _ := openIn(t, t.TempDir())
	return ctx, b
}

// openIn opens a browser that keeps what it keeps in a folder; end ends its
// process.
func openIn(t *testing.T, folder string) (_ context.Context, _ *browser, end func()) {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		t.Fatal("the map is tested in Debian's chromium: run `make test`, which installs what is missing")
	}
	if _, built := viewer.Page(); !built {
		t.Fatal("the map page is not built: run `make test`, which builds it where Node is there")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.UserDataDir(folder), chromedp.NoSandbox,
		// The map draws with WebGL, which is worked out in software here.
		chromedp.Flag("use-angle", "swiftshader"), chromedp.Flag("enable-unsafe-swiftshader", true), chromedp.Flag("ignore-gpu-blocklist", true))
	for _, flag := range []string{"disable-quic", "disable-background-networking", "disable-component-update", "disable-sync", "no-first-run", "disable-dev-shm-usage"} {
		options = append(options, chromedp.Flag(flag, true))
	}
	ctx, cancel := chromedp.NewExecAllocator(context.WithoutCancel(t.Context()), options...)
	t.Cleanup(cancel)
	end = cancel
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	b := &browser{}
	if err := chromedp.Do(ctx, call(network.Enable, network.EnableParams{}), call(log.Enable, cdp.Empty{}), call(runtime.Enable, cdp.Empty{})); err != nil {
		t.Fatal(err)
	}
	err = chromedp.Listen(ctx, func(ev any) {
		b.mu.Lock()
		defer b.mu.Unlock()
		switch ev := ev.(type) {
		case *network.EventRequestWillBeSent:
			b.requests = append(b.requests, ev.Request.URL)
		case *runtime.EventExceptionThrown:
			b.trouble = append(b.trouble, fmt.Sprintf("%+v", ev.ExceptionDetails))
		case *runtime.EventConsoleAPICalled:
			if ev.Type == "error" || ev.Type == "warning" {
				b.trouble = append(b.trouble, fmt.Sprint(ev.Args))
			}
		case *log.EventEntryAdded:
			// How slow the software's WebGL reads a picture back is no fault of the page.
			if strings.Contains(ev.Entry.Text, "GPU stall due to ReadPixels") {
				return
			}
			b.trouble = append(b.trouble, ev.Entry.Text+" "+ev.Entry.URL)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	return ctx, b, end
}

// call makes an action of a command of the protocol.
func call[P, R any](c cdp.Command[P, R], params P) chromedp.Action[chromedp.Void] {
	return func(ctx context.Context, t *chromedp.Target) (none chromedp.Void, err error) {
		_, err = cdp.Call(ctx, t, c, params)
		return none, err
	}
}

// do takes steps, and value works an expression out; both end the test where
// that fails.
func do(t *testing.T, ctx context.Context, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	ctx, cancel := context.WithTimeout(ctx, 2*time.Minute)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		t.Fatal(err)
	}
}

func value[T any](t *testing.T, ctx context.Context, expression string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, settled(chromedp.Evaluate[T](expression)))
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// settled takes a step again that met the end of the page before: after a
// navigation the browser may still speak of that one's context.
func settled[R any](step chromedp.Action[R]) chromedp.Action[R] {
	return func(ctx context.Context, target *chromedp.Target) (r R, err error) {
		for range 20 {
			r, err = step(ctx, target)
			if err == nil || !strings.Contains(err.Error(), "context") && !strings.Contains(err.Error(), "navigated") || ctx.Err() != nil {
				return r, err
			}
			time.Sleep(100 * time.Millisecond)
		}
		return r, err
	}
}

// shown waits for an element to have a height.
func shown(selector string) chromedp.Action[chromedp.Void] {
	return until(fmt.Sprintf("document.querySelector(%q)?.offsetHeight > 0", selector))
}

// until waits for an expression to be true; one that fails is not true yet. Where it never is, the error tells
// what the page shows instead.
func until(expression string) chromedp.Action[chromedp.Void] {
	// Frames are not waited for: each that is asked for is drawn in software.
	poll := settled(chromedp.Poll[chromedp.Void]("(() => { try { return "+expression+" } catch (e) { return false } })()", chromedp.WithPollingInterval(50*time.Millisecond), chromedp.WithPollingTimeout(50*time.Second)))
	return func(ctx context.Context, target *chromedp.Target) (none chromedp.Void, err error) {
		if none, err = poll(ctx, target); err == nil {
			return none, nil
		}
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
		defer cancel()
		now, _ := chromedp.Evaluate[string](`location.search + ' ' + JSON.stringify(document.getElementById('map')?.dataset ?? {}) + ' with the focus at ' + document.activeElement?.outerHTML.slice(0, 200) + ' ' + document.body.innerText.slice(0, 600)`)(ctx, target)
		return none, fmt.Errorf("waited for %s: %w; the page is at %s", expression, err, now)
	}
}

// keep stores a picture of the page and checks that it is no blank.
func keep(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	shot, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	if err != nil {
		t.Fatal(err)
	}
	picture, err := png.Decode(bytes.NewReader(shot))
	if err != nil {
		t.Fatal(err)
	}
	if n := colours(picture); n < 8 {
		t.Errorf("%s: the picture has %d colours", name, n)
	}
	file := filepath.Join(t.ArtifactDir(), url.PathEscape(strings.ReplaceAll(name, " ", "-"))+".png")
	if err := os.WriteFile(file, shot, 0o644); err != nil {
		t.Fatal(err)
	}
}

func colours(p image.Image) int {
	seen := map[color.Color]bool{}
	b := p.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y += 3 {
		for x := b.Min.X; x < b.Max.X; x += 3 {
			seen[p.At(x, y)] = true
		}
	}
	return len(seen)
}
