package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net/url"
	"os/exec"
	"path/filepath"
	"slices"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/input"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/performance"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"github.com/underbough/underbough/api/viewer"
)

// What is wanted of the map page on a million trees.
const (
	wantedFirstMap = 2 * time.Second
	wantedAnswer   = time.Second
	wantedFrame    = 1000.0 / 60 // ms
	panSeconds     = 5
)

// view measures the map page in Chromium, which draws in software here: from the
// opening to the first map drawn with its trees and its list, from a choice to the
// answer drawn, and the frames of a pan, beside a pan of the same page without
// trees and places, and a request that does nothing.
func (b *bench) view() error {
	path, err := exec.LookPath("chromium")
	if err != nil {
		fmt.Println("\nmap page: not measured, there is no chromium")
		return nil
	}
	if _, built := viewer.Page(); !built {
		fmt.Println("\nmap page: not measured, it is not built: make viewer")
		return nil
	}
	if err := b.addRecords(); err != nil {
		return err
	}
	ours, err := b.start(serviceRole)
	if err != nil {
		return err
	}
	defer ours.stop()
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.UserDataDir(filepath.Join(b.dir, "chromium")), chromedp.NoSandbox,
		chromedp.WindowSize(1280, 800),
		chromedp.Flag("use-angle", "swiftshader"), chromedp.Flag("enable-unsafe-swiftshader", true), chromedp.Flag("ignore-gpu-blocklist", true), chromedp.Flag("disable-dev-shm-usage", true))
	ctx, cancel := chromedp.NewExecAllocator(b.ctx, options...)
	defer cancel()
	ctx, cancel = chromedp.NewContext(ctx)
	defer cancel()
	v := &viewing{ctx: ctx, at: "http://" + ours.at[0], trees: b.trees, side: townSide(b.targets)}
	if err := chromedp.Do(ctx, command(cdppage.AddScriptToEvaluateOnNewDocument, cdppage.AddScriptToEvaluateOnNewDocumentParams{Source: watching}), command(performance.Enable, performance.EnableParams{TimeDomain: performance.EnableTimeDomainThreadTicks})); err != nil {
		return err
	}
	fmt.Printf("\nmap page in Chromium at 1280 x 800, WebGL drawn in software; %d rounds, medians\n", b.runs)
	if err := v.requests(b.runs); err != nil {
		return err
	}
	if err := v.openings(b.runs); err != nil {
		return err
	}
	if err := v.answers(b.runs); err != nil {
		return err
	}
	if err := v.pans(); err != nil {
		return err
	}
	return v.list()
}

// viewing is the page in its browser.
type viewing struct {
	ctx   context.Context
	at    string
	trees int
	side  float64 // of the town, metres
}

// watching notes when the page has drawn what; it runs before the page does. The
// map says what it shows all of, the list what it is the answer to.
const watching = `window.seen = { frames: [], long: [] };
addEventListener('click', () => { seen.click = performance.now() }, true);
addEventListener('change', () => { seen.click = performance.now() }, true);
new PerformanceObserver((l) => { for (const e of l.getEntries()) seen.long.push(e.duration) }).observe({ type: 'longtask', buffered: true });
new MutationObserver(() => {
	const map = document.getElementById('map')?.dataset, answer = document.getElementById('answer')?.dataset, now = performance.now();
	if (answer?.answered && answer.answered !== seen.answered) { seen.answered = answer.answered; seen.listAt = now }
	if (map?.idle && !seen.idleAt) seen.idleAt = now;
	if (map?.drawn && map.drawn !== seen.drawn) { seen.drawn = map.drawn; seen.mapAt = now }
}).observe(document, { subtree: true, childList: true, attributes: true, attributeFilter: ['data-drawn', 'data-answered', 'data-idle'] });
window.recordFrames = (ms) => new Promise((done) => {
	const times = [], end = performance.now() + ms;
	const frame = () => { times.push(performance.now()); times.at(-1) < end ? requestAnimationFrame(frame) : done(times) };
	requestAnimationFrame(frame);
});`

func command[P, R any](c cdp.Command[P, R], params P) chromedp.Action[chromedp.Void] {
	return func(ctx context.Context, t *chromedp.Target) (none chromedp.Void, err error) {
		_, err = cdp.Call(ctx, t, c, params)
		return none, err
	}
}

// requests times what the page asks for, by itself and with nothing kept of it.
func (v *viewing) requests(rounds int) error {
	const standing = "status IN ('alive', 'dead')"
	list := func(more string) string {
		q := url.Values{"filter": {"site = 'bench' AND " + standing + more}, "sortby": {"-harm_index,tag"}, "limit": {"200"}, "properties": {"tag,species,harm_index,person_hours_year,likelihood,over,cut_kinds"}}
		return "/collections/trees/items?" + q.Encode()
	}
	host := v.at[len("http://"):]
	floor := time.Duration(0)
	for _, c := range []struct{ name, path string }{
		{"a request that does nothing", "/healthz"},
		{"the list, all trees", list("")},
		{"the list, over plazas", list(" AND A_OVERLAPS(over, ('plaza'))")},
		{"the list, topped since 2015", list(" AND A_OVERLAPS(cut_kinds, ('topping')) AND last_topped >= 2015")},
		{"the list, by a filter of one's own", list(" AND (dbh_cm > 60 AND species LIKE 'T%')")},
		{"the list, of nothing", list(" AND A_OVERLAPS(over, ('parking'))")},
	} {
		var first time.Duration
		var times []time.Duration
		for i := range rounds + 1 {
			start := time.Now()
			if _, err := once(host, c.path); err != nil {
				return err
			}
			if took := time.Since(start); i == 0 {
				first = took
			} else {
				times = append(times, took)
			}
		}
		again := middle(times)
		if floor == 0 {
			floor = again
		}
		fmt.Printf("  %-36s %7.1f ms the first time, %6.1f ms again (%.0f times the request that does nothing)\n", c.name, ms(first), ms(again), float64(again)/float64(floor))
	}
	return nil
}

func (v *viewing) open(query string) error {
	return chromedp.Do(v.ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(v.at+"/map"+query))
}

// wait waits for an expression to be true.
func (v *viewing) wait(expression string) error {
	return chromedp.Do(v.ctx, chromedp.Poll[chromedp.Void](expression, chromedp.WithPollingTimeout(5*time.Minute), chromedp.WithPollingInterval(20*time.Millisecond)))
}

func evaluate[T any](v *viewing, expression string) (T, error) {
	return chromedp.Run(v.ctx, chromedp.Evaluate[T](expression))
}

// openings times the page from the navigation on, beside the page of a site that is
// not there, in the view that has a map even so: the same programs and an empty map.
func (v *viewing) openings(rounds int) error {
	var empty, list, all []float64
	for range rounds {
		if err := v.open("?v=edit&site=none&at=8,47,11"); err != nil {
			return err
		}
		if err := v.wait("seen.idleAt > 0"); err != nil {
			return err
		}
		at, err := evaluate[[]float64](v, "[seen.idleAt]")
		if err != nil {
			return err
		}
		empty = append(empty, at[0])
		if err := v.open(""); err != nil {
			return err
		}
		if err := v.wait("seen.listAt > 0 && seen.mapAt > 0"); err != nil {
			return err
		}
		at, err = evaluate[[]float64](v, "[seen.listAt, seen.mapAt]")
		if err != nil {
			return err
		}
		list, all = append(list, at[0]), append(all, max(at[0], at[1]))
	}
	first, floor := middle(all), middle(empty)
	fmt.Printf("  opened: an empty map after %.0f ms; the list after %.0f ms, the first map drawn with it after %.0f ms (%.0f wanted: %s), %.1f times the empty one\n",
		floor, middle(list), first, ms(wantedFirstMap), word(first <= ms(wantedFirstMap)), first/floor)
	return nil
}

// answers times choices, each of which changes the question.
func (v *viewing) answers(rounds int) error {
	choose := func(label string) string {
		return fmt.Sprintf("[...document.querySelectorAll('#parts label, #parts button')].find((e) => e.textContent.trim() === %q).click()", label)
	}
	since := func(year int) string {
		return fmt.Sprintf("(() => { const i = document.querySelector('#parts input[inputmode=numeric]'); i.value = '%d'; i.dispatchEvent(new Event('change', { bubbles: true })) })()", year)
	}
	typed := func(i int) string {
		return fmt.Sprintf("(() => { document.querySelector('#parts .written').open = true; const i = document.querySelector('#parts textarea'); i.value = 'dbh_cm > %d'; i.dispatchEvent(new Event('change', { bubbles: true })) })()", 30+i)
	}
	times := map[string][]float64{}
	order := []string{"over plazas", "carrying a topping", "topped since a year", "a filter of one's own", "inside what is on the screen"}
	for round := range rounds {
		if err := v.open(""); err != nil {
			return err
		}
		if err := v.wait("seen.listAt > 0 && seen.mapAt > 0"); err != nil {
			return err
		}
		if err := chromedp.Do(v.ctx, chromedp.Click("#question button.main")); err != nil {
			return err
		}
		if err := v.wait("document.querySelector('#parts')"); err != nil {
			return err
		}
		for i, step := range []string{choose("plaza"), choose("topping"), since(2010 + round), typed(round), choose("what is on the screen")} {
			if _, err := evaluate[bool](v, "seen.listAt = seen.mapAt = 0, true"); err != nil {
				return err
			}
			if _, err := evaluate[bool](v, "seen.click = performance.now(), "+step+", true"); err != nil {
				return fmt.Errorf("%s: %w", order[i], err)
			}
			if err := v.wait("seen.listAt > 0 && seen.mapAt > 0"); err != nil {
				return fmt.Errorf("%s: %w", order[i], err)
			}
			took, err := evaluate[float64](v, "Math.max(seen.listAt, seen.mapAt) - seen.click")
			if err != nil {
				return err
			}
			times[order[i]] = append(times[order[i]], took)
		}
	}
	for _, name := range order {
		took := middle(times[name])
		fmt.Printf("  chosen, %-28s the answer drawn after %5.0f ms (%.0f wanted: %s)\n", name+":", took, ms(wantedAnswer), word(took <= ms(wantedAnswer)))
	}
	return nil
}

// list goes to the end of the longest list there is.
func (v *viewing) list() error {
	if err := v.open(""); err != nil {
		return err
	}
	if err := v.wait("document.querySelector('#list li')"); err != nil {
		return err
	}
	start := time.Now()
	// The page lists no more than that.
	least := min(100_000, v.trees)
	if err := v.wait(fmt.Sprintf("Number(document.querySelector('#list li').getAttribute('aria-setsize')) >= %d", least)); err != nil {
		return err
	}
	loaded := time.Since(start)
	if err := chromedp.Do(v.ctx, chromedp.Focus("#list li button"), chromedp.KeyEvent(kb.End)); err != nil {
		return err
	}
	const last = "document.activeElement.closest('li')?.getAttribute('aria-posinset') === document.activeElement.closest('li')?.getAttribute('aria-setsize')"
	if err := v.wait(last); err != nil {
		return err
	}
	n, err := evaluate[[]float64](v, "[document.querySelectorAll('#list li').length, Number(document.querySelector('#list li').getAttribute('aria-setsize'))]")
	if err != nil {
		return err
	}
	frames, err := v.frames(func() error {
		_, err := evaluate[bool](v, "(() => { const f = document.querySelector('[data-scroll]'); let y = f.scrollHeight; const step = () => { f.scrollTop = y -= 400; if (y > f.scrollHeight - 60000) requestAnimationFrame(step) }; step(); return true })()")
		return err
	}, 2)
	if err != nil {
		return err
	}
	fmt.Printf("  list: %.0f rows all there after %.1f s, %.0f of them in the page; End comes to the last; scrolled: %v\n", n[1], loaded.Seconds(), n[0], frames)
	return nil
}

// frames is how a while was drawn.
type frames struct {
	times  []float64 // between frames, ms
	script float64   // share of the time that the page's own thread computes its scripts
	task   float64   // and all it does, of its processor time
	long   []float64 // tasks of 50 ms or more
}

func (f frames) String() string {
	s := slices.Sorted(slices.Values(f.times))
	if len(s) == 0 {
		return "no frames"
	}
	over := func(limit float64) float64 {
		n := 0
		for _, t := range s {
			if t > limit+0.5 { // the clock's own steps
				n++
			}
		}
		return 100 * float64(n) / float64(len(s))
	}
	return fmt.Sprintf("%d frames, median %.1f ms, 95th percentile %.1f ms, %.0f %% over 16.7 ms, %.0f %% over 33 ms; the page's thread computed %.0f %% of the time, its scripts %.0f %%; %d tasks over 50 ms",
		len(s), s[len(s)/2], s[len(s)*95/100], over(wantedFrame), over(33.3), 100*f.task, 100*f.script, len(f.long))
}

// frames records how it is drawn while do goes on.
func (v *viewing) frames(do func() error, seconds int) (f frames, err error) {
	before, err := v.metrics()
	if err != nil {
		return f, err
	}
	if _, err := evaluate[bool](v, fmt.Sprintf("seen.long.length = 0, seen.recorded = null, recordFrames(%d).then((t) => { seen.recorded = t }), true", seconds*1000)); err != nil {
		return f, err
	}
	if err := do(); err != nil {
		return f, err
	}
	if err := v.wait("seen.recorded"); err != nil {
		return f, err
	}
	after, err := v.metrics()
	if err != nil {
		return f, err
	}
	var got struct{ Times, Long []float64 }
	text, err := evaluate[string](v, "JSON.stringify({ Times: seen.recorded, Long: seen.long })")
	if err != nil {
		return f, err
	}
	if err := json.Unmarshal([]byte(text), &got); err != nil {
		return f, err
	}
	for i := 1; i < len(got.Times); i++ {
		f.times = append(f.times, got.Times[i]-got.Times[i-1])
	}
	long := (got.Times[len(got.Times)-1] - got.Times[0]) / 1000
	f.script, f.task, f.long = (after["ScriptDuration"]-before["ScriptDuration"])/long, (after["TaskDuration"]-before["TaskDuration"])/long, got.Long
	return f, nil
}

func (v *viewing) metrics() (map[string]float64, error) {
	out := make(map[string]float64)
	return out, chromedp.Do(v.ctx, func(ctx context.Context, t *chromedp.Target) (none chromedp.Void, err error) {
		r, err := cdp.Call(ctx, t, performance.GetMetrics, cdp.Empty{})
		if err != nil {
			return none, err
		}
		for _, m := range r.Metrics {
			out[m.Name] = m.Value
		}
		return none, nil
	})
}

// pans drags the map to and fro, at the levels where marks stand for many trees
// and where each tree has its own, and without any of them.
func (v *viewing) pans() error {
	lonMid, latMid := lon(v.side/2), lat(v.side/2)
	for _, c := range []struct{ name, query string }{
		{"an empty style", "?v=edit&site=none&at=%f,%f,15"},
		{"all trees of the town", "?at=%f,%f,11"},
		{"each tree by itself", "?at=%f,%f,15"},
		{"trees, zones and places closely", "?at=%f,%f,17"},
	} {
		if err := v.open(fmt.Sprintf(c.query, lonMid, latMid)); err != nil {
			return err
		}
		ready := "Number(document.getElementById('map')?.dataset.idle) >= 1"
		if c.name != "an empty style" {
			ready = "seen.mapAt > 0 && seen.listAt > 0"
		}
		if err := v.wait(ready); err != nil {
			return fmt.Errorf("%s: %w", c.name, err)
		}
		time.Sleep(time.Second)
		f, err := v.frames(v.drag, panSeconds)
		if err != nil {
			return err
		}
		fmt.Printf("  pan of %d s over %-32s %v\n", panSeconds, c.name+":", f)
	}
	return nil
}

// Drawing is the software's in every one of these: what the page itself leaves of a
// frame shows in how long its thread computed.

// drag moves the map with the pointer, as a hand does.
func (v *viewing) drag() error {
	mouse := func(kind input.DispatchMouseEventType, x, y float64) error {
		return chromedp.Do(v.ctx, command(input.DispatchMouseEvent, input.DispatchMouseEventParams{Type: kind, X: x, Y: y, Button: input.MouseButtonLeft, Buttons: 1, ClickCount: 1}))
	}
	x, y := 400.0, 450.0
	if err := mouse("mousePressed", x, y); err != nil {
		return err
	}
	start := time.Now()
	for time.Since(start) < panSeconds*time.Second {
		t := time.Since(start).Seconds()
		// 300 pixels a second, and back.
		there := 300 * t
		if phase := int(there) / 300; phase%2 == 0 {
			x = 400 + float64(int(there)%300)
		} else {
			x = 700 - float64(int(there)%300)
		}
		if err := mouse("mouseMoved", x, y-float64(int(there)%200)/2); err != nil {
			return err
		}
		time.Sleep(8 * time.Millisecond)
	}
	return mouse("mouseReleased", x, y)
}

func middle[T int | float64 | time.Duration](list []T) T {
	if len(list) == 0 {
		return 0
	}
	s := slices.Sorted(slices.Values(list))
	return s[len(s)/2]
}

func ms(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

func word(ok bool) string {
	if ok {
		return "reached"
	}
	return "MISSED"
}
