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
	"github.com/chromedp/cdproto/emulation"
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
	path, err := exec.LookPath("chromium")
	if err != nil {
		t.Fatal("the map is tested in Debian's chromium: run `make test`, which installs what is missing")
	}
	if _, built := viewer.Page(); !built {
		t.Fatal("the map page is not built: run `make test`, which builds it where Node is there")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.UserDataDir(t.TempDir()), chromedp.NoSandbox, chromedp.DisableGPU)
	for _, flag := range []string{"disable-quic", "disable-background-networking", "disable-component-update", "disable-sync", "no-first-run", "disable-dev-shm-usage"} {
		options = append(options, chromedp.Flag(flag, true))
	}
	ctx, cancel := chromedp.NewExecAllocator(context.WithoutCancel(t.Context()), options...)
	t.Cleanup(cancel)
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
			b.trouble = append(b.trouble, ev.Entry.Text+" "+ev.Entry.URL)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	return ctx, b
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
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
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
			if err == nil || !strings.Contains(err.Error(), "context") || ctx.Err() != nil {
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

func until(expression string) chromedp.Action[chromedp.Void] {
	return settled(chromedp.Poll[chromedp.Void](expression))
}

func TestMap(t *testing.T) {
	s := serve(t, nil)
	ctx, b := open(t)
	for _, c := range []struct {
		name          string
		width, height int64
		scheme        string
	}{
		{"desktop, light", 1280, 800, "light"},
		{"desktop, dark", 1280, 800, "dark"},
		{"phone, light", 390, 844, "light"},
		{"phone, dark", 390, 844, "dark"},
	} {
		t.Run(c.name, func(t *testing.T) {
			do(t, ctx,
				chromedp.EmulateViewport(c.width, c.height),
				call(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: c.scheme}}}),
				chromedp.Navigate(s.web.URL+"/map?over=parking,walkway&cut=topping&limit=20"),
				shown("#list li"),
				until("Number(document.getElementById('map').dataset.targets) > 0"),
				chromedp.Sleep(300*time.Millisecond))
			if n := value[int](t, ctx, "document.querySelectorAll('#list li').length"); n != 20 {
				t.Errorf("%d rows", n)
			}
			if value[bool](t, ctx, "document.documentElement.scrollWidth > innerWidth") {
				t.Error("the page is wider than the window")
			}
			if n := value[int](t, ctx, inkOf("overlay")); n < 500 {
				t.Errorf("the marks cover %d pixels", n)
			}
			if n := value[int](t, ctx, inkOf("zones")); n != 0 {
				t.Errorf("zones cover %d pixels before any tree is chosen", n)
			}
			// What to mind before any work is seen without a scroll.
			if !value[bool](t, ctx, `(() => { const e = document.getElementById('cautions'), b = e.getBoundingClientRect(); return e.textContent.includes('arborist') && b.top >= 0 && b.height > 0 && b.bottom <= innerHeight })()`) {
				t.Error("the cautions are out of sight")
			}
			keep(t, ctx, "map "+c.name)

			do(t, ctx,
				chromedp.Focus("#list li:nth-child(2) button"),
				chromedp.KeyEvent("\r"),
				until("Number(document.getElementById('map').dataset.zones) >= 3"),
				shown("#list li:nth-child(2) table"),
				chromedp.Sleep(500*time.Millisecond))
			if n := value[int](t, ctx, inkOf("zones")); n < 200 {
				t.Errorf("zones cover %d pixels", n)
			}
			if pressed := value[string](t, ctx, "document.querySelector('#list li:nth-child(2) button').getAttribute('aria-pressed')"); pressed != "true" {
				t.Errorf("pressed: %s", pressed)
			}
			if table := value[string](t, ctx, "document.querySelector('#list table').textContent"); !strings.Contains(table, "crown") {
				t.Errorf("table %q", table)
			}
			keep(t, ctx, "chosen "+c.name)
		})
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, r := range b.requests {
		if !strings.HasPrefix(r, s.web.URL+"/") && !strings.HasPrefix(r, "data:") {
			t.Errorf("a request leaves: %s", r)
		}
	}
	if len(b.requests) < 20 {
		t.Errorf("only %d requests were seen", len(b.requests))
	}
	for _, line := range b.trouble {
		t.Errorf("the page says: %s", line)
	}
}

// TestMapClick picks a tree on the map and finds it chosen in the list.
func TestMapClick(t *testing.T) {
	s := serve(t, nil)
	// One tree alone, so that its mark is in the middle.
	s.exec(t, `DELETE FROM trees WHERE tree_id <> 66`)
	ctx, _ := open(t)
	do(t, ctx,
		chromedp.EmulateViewport(1000, 700),
		chromedp.Navigate(s.web.URL+"/map"),
		shown("#list li"),
		chromedp.Sleep(300*time.Millisecond))
	middle := value[[]float64](t, ctx, "(() => { const b = document.getElementById('map').getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2] })()")
	// The tip of the mark is on the tree; its body stands above.
	do(t, ctx, chromedp.MouseClickXY(middle[0], middle[1]-18), shown("#list table"))
	if value[string](t, ctx, "document.querySelector('#list button').getAttribute('aria-pressed')") != "true" {
		t.Error("the list does not follow the map")
	}
}

func TestLandingPage(t *testing.T) {
	s := serve(t, nil)
	ctx, b := open(t)
	do(t, ctx, chromedp.EmulateViewport(800, 900), chromedp.Navigate(s.web.URL+"/?f=html"), shown("h1"))
	title := value[string](t, ctx, "document.querySelector('h1').textContent")
	keep(t, ctx, "landing")
	b.mu.Lock()
	defer b.mu.Unlock()
	if title != "Underbough" || len(b.trouble) > 0 {
		t.Error(title, b.trouble)
	}
}

// inkOf counts the pixels that a pane's canvas has drawn on.
func inkOf(pane string) string {
	return fmt.Sprintf(`(() => { let n = 0
		for (const c of document.querySelectorAll('.leaflet-%s-pane canvas')) {
			if (!c.width || !c.height) continue
			const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data
			for (let i = 3; i < d.length; i += 4) if (d[i]) n++
		}
		return n })()`, pane)
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
