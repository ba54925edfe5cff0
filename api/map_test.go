//go:build clients

package api_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"github.com/underbough/underbough/api"
)

// screens are the windows and colours that the page is looked at in.
var screens = []struct {
	name          string
	width, height int64
	scheme        string
}{
	{"desktop, light", 1280, 800, "light"},
	{"desktop, dark", 1280, 800, "dark"},
	{"phone, light", 390, 844, "light"},
	{"phone, dark", 390, 844, "dark"},
}

// twoScreens have each size and each scheme once.
var twoScreens = slices.Concat(screens[:1], screens[3:])

// window sets the size and the colours that the system asks for.
func window(width, height int64, scheme string) chromedp.Action[chromedp.Void] {
	size := chromedp.EmulateViewport(width, height)
	colours := call(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
	return func(ctx context.Context, t *chromedp.Target) (none chromedp.Void, err error) {
		if _, err = size(ctx, t); err != nil {
			return none, err
		}
		return colours(ctx, t)
	}
}

// drawn waits for the map to have drawn at least so many of a thing.
func drawn(of string, least int) chromedp.Action[chromedp.Void] {
	return until(fmt.Sprintf("Number(document.getElementById('map')?.dataset.%s) >= %d", of, least))
}

// fill writes into an input or chooses of a select, as a person does.
func fill(selector, v string) chromedp.Action[chromedp.Void] {
	return chromedp.Evaluate[chromedp.Void](fmt.Sprintf("(() => { const e = document.querySelector(%q); e.focus(); e.value = %q; for (const kind of ['input', 'change']) e.dispatchEvent(new Event(kind, { bubbles: true })) })()", selector, v))
}

func TestMap(t *testing.T) {
	s := serve(t, nil)
	ctx, b := open(t)
	for _, c := range screens {
		t.Run(c.name, func(t *testing.T) {
			do(t, ctx,
				window(c.width, c.height, c.scheme),
				chromedp.Navigate(s.web.URL+"/map?over=parking,walkway&cut=topping"),
				shown("#list li"), drawn("targets", 1), drawn("trees", 20), drawn("busy", 6),
				chromedp.Sleep(500*time.Millisecond))
			var page struct{ NumberMatched int }
			read(t, s, "/collections/trees/items?resultType=hits&filter="+url.QueryEscape("status IN ('alive','dead') AND A_OVERLAPS(over, ('parking','walkway')) AND A_CONTAINS(cut_kinds, ('topping'))"), &page)
			want := fmt.Sprint(page.NumberMatched)
			if n := value[string](t, ctx, "document.querySelector('#list li').getAttribute('aria-setsize')"); n != want {
				t.Errorf("the list has %s rows, expected %s", n, want)
			}
			if said := value[string](t, ctx, "document.getElementById('status').textContent"); !strings.Contains(said, want+" trees") {
				t.Errorf("the answer says %q, expected %s trees", said, want)
			}
			if value[bool](t, ctx, "document.documentElement.scrollWidth > innerWidth") {
				t.Error("the page is wider than the window")
			}
			// The shade of the first ten.
			first := map[string]color.RGBA{"light": {0x14, 0x30, 0x5f, 255}, "dark": {0xf4, 0xf0, 0xc6, 255}}[c.scheme]
			if n := shaded(t, ctx, "map", first); n < 500 {
				t.Errorf("the marks cover %d pixels", n)
			}
			if n := value[string](t, ctx, "document.getElementById('map').dataset.zones"); n != "0" {
				t.Errorf("%s zones are drawn before any tree is chosen", n)
			}
			// What to mind before any work is seen without a scroll.
			if !value[bool](t, ctx, `(() => { const e = document.querySelector('#cautions summary'), b = e.getBoundingClientRect(); return e.textContent.includes('arborist') && b.top >= 0 && b.height > 0 && b.bottom <= innerHeight })()`) {
				t.Error("the cautions are out of sight")
			}
			keep(t, ctx, "map "+c.name)

			name := value[string](t, ctx, "document.querySelector('#list li:nth-child(2) .name').firstChild.data.trim()")
			do(t, ctx,
				chromedp.Focus("#list li:nth-child(2) button"),
				chromedp.KeyEvent("\r"),
				shown("#tree table"), drawn("zones", 3),
				chromedp.Sleep(700*time.Millisecond))
			zone := map[string]color.RGBA{"light": {0x8a, 0x3a, 0x10, 255}, "dark": {0xf0, 0xa3, 0x6b, 255}}[c.scheme]
			if n := shaded(t, ctx, "map", zone); n < 200 {
				t.Errorf("edges of zones cover %d pixels", n)
			}
			if h := value[string](t, ctx, "document.querySelector('#tree h2').textContent"); h != name {
				t.Errorf("tree %q is open, expected %q", h, name)
			}
			if tables := value[string](t, ctx, "[...document.querySelectorAll('#tree caption')].map((c) => c.textContent).join()"); !strings.Contains(tables, "crown") {
				t.Errorf("tables %q", tables)
			}
			keep(t, ctx, "chosen "+c.name)
			// Back by the keys, to where one was.
			do(t, ctx, chromedp.KeyEvent(kb.Escape), shown("#list li"),
				until("document.activeElement.matches('#list li[aria-posinset=\"2\"] button')"))
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

// TestMapClick picks a tree on the map and finds it opened beside it.
func TestMapClick(t *testing.T) {
	s := serve(t, nil)
	// One tree alone, so that its mark is in the middle.
	s.exec(t, `DELETE FROM trees WHERE tree_id <> 66`)
	ctx, _ := open(t)
	do(t, ctx,
		chromedp.EmulateViewport(1000, 700),
		chromedp.Navigate(s.web.URL+"/map"),
		shown("#list li"), drawn("trees", 1),
		chromedp.Sleep(500*time.Millisecond))
	middle := value[[]float64](t, ctx, "(() => { const b = document.getElementById('map').getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2] })()")
	// The map keeps a little more room below than above.
	do(t, ctx, chromedp.MouseClickXY(middle[0], middle[1]-12), shown("#tree table"))
	if name := value[string](t, ctx, "document.querySelector('#tree h2').textContent"); name != "T66" {
		t.Errorf("%s is open", name)
	}
}

// TestMapLink opens what a link says, and finds the same link in the address when
// the same is done by hand.
func TestMapLink(t *testing.T) {
	s := serve(t, nil)
	ctx, _ := open(t)
	do(t, ctx, chromedp.EmulateViewport(1280, 800), chromedp.Navigate(s.web.URL+"/map"), shown("#list li"), drawn("trees", 20),
		chromedp.Click("#question .main"), shown("#parts"),
		chromedp.Evaluate[chromedp.Void](`document.querySelector('#parts .choice input').click()`), // parking
		until("location.search.includes('over=parking')"),
		until("!document.getElementById('status').textContent.includes('260')"), drawn("trees", 1), chromedp.Sleep(300*time.Millisecond))
	link := value[string](t, ctx, "location.href")
	says := value[string](t, ctx, "document.getElementById('status').textContent")
	do(t, ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(link), shown("#list li"), drawn("trees", 1), chromedp.Sleep(500*time.Millisecond))
	if again := value[string](t, ctx, "document.getElementById('status').textContent"); again != says {
		t.Errorf("the link says %q, expected %q", again, says)
	}
	if now := value[string](t, ctx, "location.href"); now != link {
		t.Errorf("the link %s became %s", link, now)
	}
	// What is wrong with a filter is said of what was typed.
	do(t, ctx, chromedp.Navigate(s.web.URL+"/map?filter=height_m+%3E"), until("document.querySelector('#answer .trouble')?.textContent.startsWith('Your filter, at its end: ')"),
		chromedp.Navigate(s.web.URL+"/map?filter=colour+%3D+3"), until("document.querySelector('#answer .trouble')?.textContent.startsWith('Your filter, character 1: ')"),
		// A year has four digits.
		chromedp.Navigate(s.web.URL+"/map"), shown("#list li"), chromedp.Click("#question .main"), shown("#parts"),
		fill("#parts .fields input", "15"), until("document.querySelector('#parts .fields .error').textContent.includes('four digits') && !location.search.includes('since')"),
		fill("#parts .fields input", "2015"), until("location.search.includes('since=2015') && !document.querySelector('#parts .fields .error')"))
	// A step back undoes the part.
	do(t, ctx, chromedp.Navigate(s.web.URL+"/map?v=ask"), shown("#list li"), drawn("trees", 1), chromedp.Click("#question .main"), shown("#parts"),
		chromedp.Evaluate[chromedp.Void](`document.querySelector('#parts .choice input').click()`), until("location.search.includes('over=parking')"),
		chromedp.Evaluate[chromedp.Void]("history.back()"), until("!document.querySelector('#parts .choice input').checked && !location.search.includes('over')"))
}

// TestMapNoSite says so where there is no site, or none of the name, and what to do.
func TestMapNoSite(t *testing.T) {
	checker := axe(t)
	takes := takesFiles(t)
	s := serve(t, takes)
	ctx, b := open(t)
	do(t, ctx, chromedp.EmulateViewport(1280, 800))
	for _, view := range []string{"ask", "work", "places", "numbers"} {
		do(t, ctx, chromedp.Navigate(s.web.URL+"/map?site=Nowhere&v="+view), until("document.querySelector('#no-site h2').textContent === 'There is no site called Nowhere'"))
	}
	accessible(t, ctx, checker, "no such site")
	// One there is is offered, and asked.
	do(t, ctx, chromedp.Navigate(s.web.URL+"/map?site=Nowhere"), shown("#no-site li button"), chromedp.Click("#no-site li button"), shown("#list li"), drawn("trees", 20))
	s.exec(t, `INSERT INTO clients (client_id, name) VALUES (2, 'new')`)
	s = serveOn(t, s, func(c *api.Config) { takes(c); c.Client = 2 })
	for _, view := range []string{"ask", "work", "places", "numbers"} {
		do(t, ctx, chromedp.Navigate(s.web.URL+"/map?v="+view), until("document.querySelector('#no-site h2').textContent === 'No site yet'"))
	}
	keep(t, ctx, "no site")
	accessible(t, ctx, checker, "no site")
	if value[bool](t, ctx, "!!document.getElementById('map')") {
		t.Error("there is a map of nothing")
	}
	do(t, ctx, chromedp.Click("#no-site button"), shown(".drop"))
	noTrouble(t, b)
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

// read reads a JSON answer into a value.
func read(t *testing.T, s *service, path string, into any) {
	t.Helper()
	if err := json.Unmarshal(s.got(t, path), into); err != nil {
		t.Fatal(err)
	}
}

// seenNow is the page as it is seen.
func seenNow(t *testing.T, ctx context.Context) image.Image {
	t.Helper()
	shot, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	if err != nil {
		t.Fatal(err)
	}
	p, err := png.Decode(bytes.NewReader(shot))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// shaded counts the pixels of an element that have a colour, or nearly.
func shaded(t *testing.T, ctx context.Context, id string, c color.RGBA) (n int) {
	t.Helper()
	p := seenNow(t, ctx)
	box := value[[]int](t, ctx, fmt.Sprintf("(() => { const b = document.getElementById(%q).getBoundingClientRect(); return [b.left, b.top, b.right, b.bottom].map(Math.round) })()", id))
	apart := func(a uint32, b uint8) bool { d := int(a>>8) - int(b); return d < -20 || d > 20 }
	r := image.Rect(box[0], box[1], box[2], box[3]).Intersect(p.Bounds())
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			red, green, blue, _ := p.At(x, y).RGBA()
			if !apart(red, c.R) && !apart(green, c.G) && !apart(blue, c.B) {
				n++
			}
		}
	}
	return n
}

// TestMapLate opens a link to a tree on a machine so busy that the tree's answer
// is there before the map is.
func TestMapLate(t *testing.T) {
	s := serve(t, nil)
	ctx, _ := open(t)
	late := `{ const raf = requestAnimationFrame, soon = setTimeout, start = Date.now(), wait = () => Math.max(0, 1500 - (Date.now() - start))
		window.requestAnimationFrame = (f) => wait() ? soon(() => raf(f), wait()) : raf(f)
		window.setTimeout = (f, ms, ...rest) => soon(f, Math.max(ms ?? 0, wait()), ...rest) }`
	do(t, ctx, call(page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: late}), window(1280, 800, "light"),
		chromedp.Navigate(s.web.URL+"/map?tree=66"), shown("#tree table"), drawn("zones", 3))
}
