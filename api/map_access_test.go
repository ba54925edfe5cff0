//go:build clients

package api_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"github.com/underbough/underbough/api"
)

// axe is the checker of accessibility (axe-core, Deque Systems) with its rules for
// WCAG 2.0 to 2.2, A and AA, and its own best practices.
func axe(t *testing.T) string {
	t.Helper()
	source, err := os.ReadFile("viewer/node_modules/axe-core/axe.min.js")
	if err != nil {
		t.Fatal("axe-core is not there: run `make viewer`: ", err)
	}
	return string(source)
}

// accessible lets axe look at the page as it stands. The checker comes by the
// browser's own protocol: the page loads nothing of it.
func accessible(t *testing.T, ctx context.Context, checker, screen string) {
	t.Helper()
	do(t, ctx, chromedp.Evaluate[chromedp.Void](checker+"\n;undefined"))
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`window.found = null; axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }).then((r) => { window.found = r }); undefined`),
		until("window.found"))
	if rules := value[int](t, ctx, "window.found.passes.length"); rules < 15 {
		t.Errorf("%s: only %d rules had anything to look at", screen, rules)
	}
	for _, v := range value[[]string](t, ctx, `window.found.violations.flatMap((v) => v.nodes.map((n) => v.id + ': ' + v.help + ' | ' + n.html.slice(0, 160) + ' | ' + n.failureSummary.replaceAll('\n', ' ')))`) {
		t.Errorf("%s: %s", screen, v)
	}
}

// TestMapAccess lets axe look at the question and at a tree that is opened, wide
// and narrow, in light and in dark.
func TestMapAccess(t *testing.T) {
	checker := axe(t)
	s := serve(t, nil)
	ctx, _ := open(t)
	for _, c := range screens {
		t.Run(c.name, func(t *testing.T) {
			do(t, ctx, window(c.width, c.height, c.scheme), chromedp.Navigate(s.web.URL+"/map?over=parking,walkway"), shown("#list li"), drawn("trees", 1))
			accessible(t, ctx, checker, "answer")
			do(t, ctx, chromedp.Click("#question .main"), shown("#parts"), chromedp.Evaluate[chromedp.Void]("document.querySelector('.written').open = true; document.querySelector('#legend').open = true; document.querySelector('#cautions details').open = true"), chromedp.Sleep(200*time.Millisecond))
			keep(t, ctx, "parts "+c.name)
			accessible(t, ctx, checker, "question")
			do(t, ctx, chromedp.Evaluate[chromedp.Void]("[...document.querySelectorAll('#question .usual')].find((b) => b.textContent === 'Saved questions').click()"), shown("dialog form"), chromedp.Sleep(300*time.Millisecond))
			keep(t, ctx, "saved "+c.name)
			accessible(t, ctx, checker, "saved questions")
			do(t, ctx, chromedp.Navigate(s.web.URL+"/map?tree=66&hour=35"), shown("#tree table"), until("document.querySelector('#tree .strip')"), drawn("zones", 3), chromedp.Sleep(300*time.Millisecond))
			keep(t, ctx, "tree "+c.name)
			accessible(t, ctx, checker, "tree")
		})
	}
}

// TestMapKeys asks, opens a tree, looks at an hour and comes back with keys alone.
func TestMapKeys(t *testing.T) {
	s := serve(t, nil)
	ctx, _ := open(t)
	do(t, ctx, window(1280, 800, "light"), chromedp.Navigate(s.web.URL+"/map"), shown("#list li"), drawn("trees", 20))
	// Tab goes on until the focus is on what is looked for.
	tab := func(to string) {
		t.Helper()
		for range 60 {
			do(t, ctx, chromedp.KeyEvent(kb.Tab))
			if value[bool](t, ctx, fmt.Sprintf("document.activeElement.matches(%q)", to)) {
				return
			}
		}
		t.Fatalf("Tab does not come to %s, it is at %s", to, value[string](t, ctx, "document.activeElement.outerHTML.slice(0, 200)"))
	}
	tab("[role=tab]")
	tab("#question .main")
	if w := value[string](t, ctx, "getComputedStyle(document.activeElement).outlineWidth"); w != "2px" {
		t.Errorf("the focus is outlined by %s", w)
	}
	do(t, ctx, chromedp.KeyEvent("\r"), shown("#parts"))
	tab(".choice input")
	do(t, ctx, chromedp.KeyEvent(" "), until("location.search.includes('over=parking')"), until("((t) => /[0-9] tree/.test(t) && !t.includes('250'))(document.getElementById('status').textContent)"))
	tab("#list button")
	do(t, ctx, chromedp.KeyEvent(kb.ArrowDown), chromedp.KeyEvent(kb.ArrowDown), until("document.activeElement.closest('li')?.ariaPosInSet === '3'"),
		chromedp.KeyEvent(kb.End), until("document.activeElement.closest('li')?.ariaPosInSet === document.activeElement.closest('li')?.ariaSetSize"),
		chromedp.KeyEvent(kb.Home), until("document.activeElement.closest('li')?.ariaPosInSet === '1'"),
		chromedp.KeyEvent("\r"), shown("#tree table"), until("document.activeElement.textContent.includes('Back')"))
	if !strings.Contains(value[string](t, ctx, "location.search"), "tree=") {
		t.Error("the address does not name the tree")
	}
	do(t, ctx, chromedp.KeyEvent("\r"), until("document.activeElement.closest('li')?.ariaPosInSet === '1'"))
	tab(".maplibregl-canvas")
	before := value[string](t, ctx, "location.search")
	do(t, ctx, chromedp.KeyEvent("+"), until(fmt.Sprintf("location.search !== %q", before)))
}

// TestMapSize holds the page's files, zipped, to what a phone takes in at once.
func TestMapSize(t *testing.T) {
	list, err := os.ReadDir("viewer/dist")
	if err != nil {
		t.Fatal("the map page is not built: run `make viewer`: ", err)
	}
	var sum bytes.Buffer
	for _, f := range list {
		if f.Name() == "licences.txt" {
			continue // which the page only links
		}
		body, err := os.ReadFile("viewer/dist/" + f.Name())
		if err != nil {
			t.Fatal(err)
		}
		w, err := gzip.NewWriterLevel(&sum, gzip.BestCompression)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(body); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("%d bytes", sum.Len())
	if sum.Len() > 400_000 || sum.Len() < 50_000 {
		t.Errorf("the page takes %d bytes, expected up to 400,000", sum.Len())
	}
}

// TestMapPrefix opens the page below a path that a proxy takes away.
func TestMapPrefix(t *testing.T) {
	s := serve(t, func(c *api.Config) { c.TrustProxy = true })
	to, err := url.Parse(s.web.URL)
	if err != nil {
		t.Fatal(err)
	}
	proxy := &httputil.ReverseProxy{Rewrite: func(r *httputil.ProxyRequest) {
		r.SetURL(to)
		r.Out.URL.Path = strings.TrimPrefix(r.In.URL.Path, "/our/trees")
		r.Out.Header.Set("X-Forwarded-Host", r.In.Host)
		r.Out.Header.Set("X-Forwarded-Proto", "http")
		r.Out.Header.Set("X-Forwarded-Prefix", "/our/trees")
	}}
	front := httptest.NewServer(proxy)
	t.Cleanup(front.Close)
	ctx, b := open(t)
	do(t, ctx, window(1280, 800, "light"), chromedp.Navigate(front.URL+"/our/trees/map"), shown("#list li"), drawn("trees", 20))
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, r := range b.requests {
		if !strings.HasPrefix(r, front.URL+"/our/trees/") && !strings.HasPrefix(r, "data:") {
			t.Errorf("a request goes beside the path: %s", r)
		}
	}
	for _, line := range b.trouble {
		t.Errorf("the page says: %s", line)
	}
}
