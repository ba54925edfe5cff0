//go:build clients

package api_test

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	control "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/cdp"
	tab "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/api/viewer"
)

// TestMapFieldConflict records work on jobs that the office changes meanwhile: what
// both have stands side by side, and nothing is dropped.
func TestMapFieldConflict(t *testing.T) {
	checker := axe(t)
	f := inField(t)
	j, other := f.jobInHand(t, "T30"), f.jobInHand(t, "T33")
	ctx, b := open(t)
	folder := t.TempDir()
	page := "http://" + f.address + "/map?v=field"
	form := func(j object, note string) {
		t.Helper()
		do(t, ctx, chromedp.Navigate(page+fmt.Sprintf("&field.job=%v", j["job_id"])), shown("#completion"), fill("#job .by input", "Crew A"), press("#completion", "Add a cut"), shown("#completion [name=diameter_cm]"), fill("#completion [name=diameter_cm]", "7"),
			fill("#completion [name=note]", note), addPhoto("#completion [type=file]", "after.png", pngPhoto), until("document.querySelector('#completion').textContent.includes('after.png')"))
	}
	do(t, ctx, window(390, 844, "light"))
	form(j, "as the crew saw it")
	// The office takes the job back and gives it out again.
	f.post(t, at(j)+"/state", `{"to":"approved","by":"Office","reason":"the road was not closed"}`, 200)
	f.post(t, at(j)+"/state", `{"to":"in hand","by":"Office"}`, 200)
	do(t, ctx, press("#completion", "Record as done"), shown(".entry-card[data-state=refused] table"))
	if said := value[string](t, ctx, "document.querySelector('.entry-card').innerText"); !strings.Contains(said, "The office has") || !strings.Contains(said, "Office") || !strings.Contains(said, "as the crew saw it") || !strings.Contains(said, "removal 7 cm") {
		t.Errorf("the card says %q", said)
	}
	for _, c := range screens {
		do(t, ctx, window(c.width, c.height, c.scheme), chromedp.Evaluate[chromedp.Void]("document.querySelector('main').dataset.sheet === 'full' || document.querySelector('.handle').click(); document.querySelector('.entry-card').scrollIntoView()"), chromedp.Sleep(200*time.Millisecond))
		keep(t, ctx, "conflict "+c.name)
		accessible(t, ctx, checker, "conflict "+c.name)
	}
	do(t, ctx, window(390, 844, "light"), press(".entry-card", "Record it on top of what the office has"), shown("#job[data-state=done]"), shown(".photos img"))
	if c := f.json(t, at(j))["completion"].(object); c["note"] != "as the crew saw it" || c["by"] != "Crew A" {
		t.Errorf("recorded %v", c)
	}
	// Whoever checks it says how likely each part is to fail.
	accessible(t, ctx, checker, "check")
	do(t, ctx, fill("#job .by input", "Inspector"), choose("#check select", "possible"), fill("#check [name=condition]", "fair"), fill("#next ~ .field input", "seen"), press("#job", "Accept"), shown("#job[data-state=checked]"))
	visits := f.features(t, fmt.Sprintf("/collections/visits/items?job_id=%v&visited_by=Inspector", j["job_id"])).Features
	if len(visits) != 1 || visits[0].Properties["whole_tree"] != "possible" || visits[0].Properties["condition"] != "fair" || visits[0].Properties["crown"] != nil {
		t.Errorf("visits of the check: %v", visits)
	}

	// A day that cannot be is refused; it is gone through again and sent.
	form(other, "second")
	do(t, ctx, fill("#completion [name=on]", "2001-02-03"), press("#completion", "Record as done"), shown(".entry-card[data-state=refused]"), until("document.querySelector('.entry-card .error')?.textContent.includes('2001-02-03')"))
	// That is between the crew and the calendar: there is nothing to compare with.
	if said := value[string](t, ctx, "document.querySelector('.entry-card').innerText"); strings.Contains(said, "The office has") || strings.Contains(said, "on top of") || !value[bool](t, ctx, "document.querySelector('.entry-card .main').textContent === 'Edit and send'") {
		t.Errorf("the card of a day that cannot be says %q", said)
	}
	// Meanwhile the office withdraws it: there is nothing to record on, and it is kept aside.
	do(t, ctx, call(control.SetDownloadBehavior, control.SetDownloadBehaviorParams{Behavior: control.SetDownloadBehaviorBehaviorAllow, DownloadPath: folder}),
		press(".entry-card", "Edit and send"), shown("#completion"), until("document.querySelector('#completion [name=note]').value === 'second'"), fill("#completion [name=on]", time.Now().UTC().Format(time.DateOnly)))
	f.post(t, at(other)+"/state", `{"to":"withdrawn","by":"Office","reason":"the tree is protected"}`, 200)
	do(t, ctx, press("#completion", "Record as done"), shown(".entry-card[data-state=refused] table"), until("document.querySelector('.entry-card').textContent.includes('The job is withdrawn')"),
		press(".entry-card", "Keep it aside"), shown(".entry-card[data-state=aside]"))
	file := filepath.Join(folder, fmt.Sprintf("job-%v-%s.json", other["job_id"], time.Now().UTC().Format(time.DateOnly)))
	var kept []byte
	for range 100 {
		if kept, _ = os.ReadFile(file); len(kept) > 0 {
			break
		}
		time.Sleep(50 * time.Millisecond)
	}
	aside := parse[object](t, kept)
	pictures := objects(aside["pictures"])
	if aside["body"].(object)["note"] != "second" || len(pictures) != 1 || pictures[0]["data"] != "data:image/png;base64,"+base64.StdEncoding.EncodeToString([]byte(pngPhoto)) {
		t.Errorf("kept aside: %.300s", kept)
	}
	// It goes from the device only when somebody says so twice.
	do(t, ctx, chromedp.Navigate(page), shown(".entry-card[data-state=aside]"), press(".entry-card", "Delete it"), press(".entry-card", "Yes, delete it from this device"), until("!document.querySelector('.entry-card[data-state=aside]')"))
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, line := range b.trouble {
		if !strings.Contains(line, "the server responded with a status of 4") {
			t.Errorf("the page says: %s", line)
		}
	}
}

// TestMapFieldTabs sends from two tabs at once, where a key is asked for: once.
func TestMapFieldTabs(t *testing.T) {
	f := inField(t)
	j := f.jobInHand(t, "T30")
	keyed := serveOn(t, f.service, func(c *api.Config) {
		clocked(c)
		c.EditKeys = []api.EditKey{{Name: "Crew B", Key: "a key of 32 letters, as is needed"}}
	})
	var posts atomic.Int32 // with the key
	front := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodPost && strings.HasSuffix(r.URL.Path, "/completion") && strings.HasPrefix(r.Header.Get("Authorization"), "Bearer a key") {
			posts.Add(1)
		}
		keyed.server.Handler().ServeHTTP(w, r)
	}))
	t.Cleanup(front.Close)
	ctx, _ := open(t)
	// The screen of work has no map: two of them are light.
	page := fmt.Sprintf("%s/map?v=work&work.screen=jobs&work.job=%v", front.URL, j["job_id"])
	do(t, ctx, window(390, 844, "light"), chromedp.Navigate(page), shown("#completion"), fill("#job .by input", "Crew A"), press("#completion", "Add a cut"), shown("#completion [name=diameter_cm]"), fill("#completion [name=diameter_cm]", "7"),
		press("#completion", "Record as done"), shown(".entry-card[data-state=waiting]"))
	do(t, ctx, until("document.querySelector('.entry-card').textContent.includes('It waits for the key')"))
	second, end := chromedp.NewContext(ctx)
	// A tab behind others does not draw, which steps wait for.
	ahead := call(tab.BringToFront, cdp.Empty{})
	defer end()
	// The first step of a tab is not one with a time limit: the tab would end with it.
	if err := chromedp.Do(second, window(390, 844, "light")); err != nil {
		t.Fatal(err)
	}
	do(t, second, chromedp.Navigate(page), shown(".entry-card[data-state=waiting]"), shown(".by [name=key]"))
	do(t, ctx, ahead, chromedp.Navigate(page), shown(".entry-card[data-state=waiting]"), shown(".by [name=key]"))
	key := fill(".by [name=key]", "a key of 32 letters, as is needed")
	// A key that is none is not kept, and asked for again.
	do(t, second, ahead, fill(".by [name=key]", "no such key"), press(".by", "Use it"), until("document.querySelector('.toasts').textContent.includes('does not know this key')"), shown(".by [name=key]"))
	if kept := value[string](t, second, "JSON.stringify({ ...sessionStorage })"); strings.Contains(kept, "no such key") {
		t.Errorf("kept: %s", kept)
	}
	do(t, second, ahead, key)
	do(t, ctx, ahead, key, press(".by", "Use it"))
	do(t, second, ahead, press(".by", "Use it"), shown("#job[data-state=done]"))
	do(t, ctx, ahead, shown("#job[data-state=done]"))
	if n := posts.Load(); n != 1 {
		t.Errorf("sent %d times, expected once", n)
	}
	if c := f.json(t, at(j))["completion"].(object); c["by"] != "Crew B" {
		t.Errorf("recorded by %v, expected whose key it is", c["by"])
	}
}

// TestMapFieldUpdate serves newer builds of the page: one that nobody has touched
// takes the newer at once, one that is in use once its user says so.
func TestMapFieldUpdate(t *testing.T) {
	s := serve(t, nil)
	made, _ := viewer.File("index.html")
	_, rest, _ := bytes.Cut(made, []byte(`data-build="`))
	build := rest[:16]
	var served atomic.Value // what stands for the build
	served.Store(string(build))
	front := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		later := served.Load().(string)
		if later == string(build) || r.URL.Path != "/map" && r.URL.Path != "/map/sw.js" {
			s.server.Handler().ServeHTTP(w, r)
			return
		}
		r.Header.Del("If-None-Match")
		r.Header.Del("Accept-Encoding")
		answer := httptest.NewRecorder()
		s.server.Handler().ServeHTTP(answer, r)
		for _, name := range []string{"Content-Type", "Content-Security-Policy", "Service-Worker-Allowed", "Cache-Control"} {
			w.Header().Set(name, answer.Header().Get(name))
		}
		io.Copy(w, bytes.NewReader(bytes.ReplaceAll(answer.Body.Bytes(), build, []byte(later))))
	}))
	t.Cleanup(front.Close)
	ctx, b := open(t)
	is := func(build string) string { return fmt.Sprintf("document.documentElement.dataset.build === %q", build) }
	do(t, ctx, window(390, 844, "light"), chromedp.Navigate(front.URL+"/map?v=field"), until(controlled), until(is(string(build))))
	served.Store("0123456789abcdef")
	// Polling counts as a touch of the page for the browser; evaluating does not.
	untouched := func(expression string) {
		t.Helper()
		for range 500 {
			if is, err := chromedp.Run(ctx, chromedp.Evaluate[bool](expression)); err == nil && is {
				return
			}
			time.Sleep(100 * time.Millisecond)
		}
		t.Fatalf("waited for %s on a page that nobody touched", expression)
	}
	do(t, ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(front.URL+"/map?v=field"))
	untouched(is("0123456789abcdef"))
	do(t, ctx, shown(".field-view .signal"), until("!document.querySelector('.field-view').textContent.includes('newer version')"))
	// By then somebody uses the page.
	const last = "fedcba9876543210"
	served.Store(last)
	do(t, ctx, chromedp.Click(".field-view h2"), chromedp.Evaluate[chromedp.Void]("navigator.serviceWorker.getRegistration().then((r) => r.update()); undefined"),
		until("document.querySelector('.field-view').textContent.includes('newer version')"), until(is("0123456789abcdef")))
	keep(t, ctx, "newer version")
	do(t, ctx, press(".toasts", "Use it now"), until(is(last)), shown(".field-view .signal"))
	do(t, ctx, chromedp.Evaluate[chromedp.Void]("caches.keys().then((k) => { window.names = k.join() }); undefined"), until("window.names"))
	if names := value[string](t, ctx, "window.names"); strings.Contains(names, string(build)) || strings.Contains(names, "0123456789abcdef") || !strings.Contains(names, last) {
		t.Errorf("kept builds: %s", names)
	}
	quiet(t, b)
}

// What is kept is the page's and nobody else's: the worker may answer below the page's
// path only, and has a policy of its own.
func TestMapWorkerHeaders(t *testing.T) {
	s := serve(t, func(c *api.Config) { c.TrustProxy = true })
	r := s.get(t, "/map/sw.js", "X-Forwarded-Prefix", "/our/trees", "X-Forwarded-Host", "x.org", "X-Forwarded-Proto", "https")
	if h := r.header; r.status != 200 || h.Get("Service-Worker-Allowed") != "/our/trees/map" || h.Get("Cache-Control") != "no-cache" || !strings.Contains(h.Get("Content-Security-Policy"), "default-src 'none'") || !strings.Contains(h.Get("Content-Type"), "javascript") {
		t.Errorf("%d %v", r.status, h)
	}
	r = s.get(t, "/map/app.webmanifest")
	m := parse[object](t, r.body)
	if r.header.Get("Content-Type") != "application/manifest+json" || m["start_url"] != "../map?v=field" || m["scope"] != "../map" {
		t.Errorf("%v %v", r.header, m)
	}
	if h := s.get(t, "/map").header.Get("Content-Security-Policy"); !strings.Contains(h, "script-src 'self';") || !strings.Contains(h, "manifest-src 'self'") {
		t.Error(h)
	}
}
