//go:build clients

package api_test

import (
	"context"
	"encoding/json"
	"fmt"
	"image"
	"math"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"github.com/underbough/underbough/api"
)

// apart counts the points of two pictures that differ plainly.
func apart(a, b image.Image) (n int) {
	r := a.Bounds().Intersect(b.Bounds())
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			r1, g1, b1, _ := a.At(x, y).RGBA()
			r2, g2, b2, _ := b.At(x, y).RGBA()
			if d := math.Abs(float64(r1)-float64(r2)) + math.Abs(float64(g1)-float64(g2)) + math.Abs(float64(b1)-float64(b2)); d > 60*257 {
				n++
			}
		}
	}
	return n
}

// tabTo presses Tab until the focus is on what is looked for.
func tabTo(t *testing.T, ctx context.Context, to string) {
	t.Helper()
	for range 80 {
		do(t, ctx, chromedp.KeyEvent(kb.Tab))
		if value[bool](t, ctx, fmt.Sprintf("document.activeElement.matches(%q)", to)) {
			return
		}
	}
	t.Fatalf("Tab does not come to %s, it is at %s", to, value[string](t, ctx, "document.activeElement.outerHTML.slice(0, 200)"))
}

// TestMapHours moves through the week and holds what is told, listed and shaded to
// what the service says of each tree by itself.
func TestMapHours(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	ctx, b := open(t)
	do(t, ctx, window(1280, 900, "light"), chromedp.Navigate(s.web.URL+"/map?hour=8"), shown(".hours.open"), drawn("trees", 100), drawn("hours", 250), drawn("busy", 6), until("document.querySelector('.hours output').textContent.includes('people under')"))
	sum, most, busiest := 0.0, 0.0, ""
	for _, f := range s.features(t, "/collections/trees/items?limit=1000&filter="+url.QueryEscape("status IN ('alive','dead')")).Features {
		tag := fmt.Sprint(f.Properties["tag"])
		if f.Properties["people"].(float64) == 0 {
			continue
		}
		w := s.week(t, "tag="+tag)
		sum += w.persons(8)
		if w.persons(8) > most {
			most, busiest = w.persons(8), tag
		}
	}
	said := value[string](t, ctx, "document.querySelector('.hours output').textContent")
	if want := fmt.Sprintf("%.1f people", sum); !strings.Contains(said, want) || !strings.HasPrefix(said, "Mon 08:00") {
		t.Errorf("%q, expected %s", said, want)
	}
	if h := value[string](t, ctx, "document.querySelector('#question h2').textContent"); h != "All trees by expected harm" {
		t.Errorf("the question is headed %q", h)
	}
	// The mark of what nobody judged is never cut off.
	if !value[bool](t, ctx, "(() => { const all = [...document.querySelectorAll('#list .inferred')]; return all.length > 0 && all.every((e) => e.getBoundingClientRect().right <= e.parentElement.getBoundingClientRect().right) })()") {
		t.Error("the list cuts a mark of inference off, or has none")
	}
	do(t, ctx, chromedp.Click(".hours summary"), shown(".hours li"))
	if first := value[string](t, ctx, "document.querySelector('.hours li').textContent"); !strings.HasPrefix(first, busiest+" ") {
		t.Errorf("the first then is %q, expected %s with %v", first, busiest, most)
	}
	keep(t, ctx, "hour")
	light := seenNow(t, ctx)

	// By the keys: an hour, a day, and the address keeps it.
	do(t, ctx, chromedp.Focus(".hours input"), chromedp.KeyEvent(kb.ArrowRight), until("location.search.includes('hour=9')"),
		chromedp.KeyEvent(kb.PageUp), until("location.search.includes('hour=33')"), until("document.querySelector('.hours output').textContent.startsWith('Tue 09:00')"),
		chromedp.KeyEvent(kb.PageDown), chromedp.KeyEvent(kb.PageDown), until("location.search.includes('hour=153')"), until("document.querySelector('.hours input').ariaValueText === 'Sunday 09:00'"))
	// At night other shades.
	do(t, ctx, chromedp.Navigate(s.web.URL+"/map?hour=3"), shown(".hours.open"), drawn("hours", 250), drawn("trees", 100), until("Number(document.getElementById('map').dataset.idle) > 1"))
	if n := apart(light, seenNow(t, ctx)); n < 2000 {
		t.Errorf("the night differs from the morning by %d pixels", n)
	}
	// Close to one tree, those about it are not told.
	do(t, ctx, chromedp.Navigate(s.web.URL+"/map?hour=8&tree=66"), shown(".hours.open"), drawn("zones", 1), until("/under \\d{1,2} trees? on the screen/.test(document.querySelector('.hours output').textContent)"))
	// It runs, and stops.
	do(t, ctx, chromedp.Click(".hours .usual"), until("new URLSearchParams(location.search).get('hour') > 4"), chromedp.Click(".hours .usual"), until("document.querySelector('.hours .usual').ariaPressed === 'false'"))
	// A question about few trees: theirs alone are told.
	do(t, ctx, chromedp.Navigate(s.web.URL+"/map?hour=8&filter="+url.QueryEscape("tag = 'T66'")), shown(".hours.open"), until("document.querySelector('.hours output').textContent.includes('under 1 tree')"), drawn("hours", 1))
	// Who wants nothing to move steps by hand.
	do(t, ctx, reduced("reduce"), chromedp.Navigate(s.web.URL+"/map?hour=8"), shown(".hours.open"), until("document.querySelector('.hours .usual').ariaLabel === 'Next hour'"),
		chromedp.Click(".hours .usual"), until("location.search.includes('hour=9')"))
	do(t, ctx, chromedp.KeyEvent(kb.Escape), until("!document.querySelector('.hours.open') && !location.search.includes('hour')"))
	noTrouble(t, b)
}

// reduced is what the system says of movement.
func reduced(how string) chromedp.Action[chromedp.Void] {
	return call(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-reduced-motion", Value: how}}})
}

// TestMapArea draws an area by clicks and with keys, asks inside it and finds the
// same by the link in another browser.
func TestMapArea(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	ctx, b := open(t)
	press := func(label string) chromedp.Action[chromedp.Void] {
		return chromedp.Evaluate[chromedp.Void](fmt.Sprintf("[...document.querySelectorAll('button')].find((b) => b.textContent === %q).click()", label))
	}
	do(t, ctx, window(1280, 900, "light"), chromedp.Navigate(s.web.URL+"/map"), shown("#list li"), drawn("trees", 100), chromedp.Click("#question .main"), shown("#parts"), press("an area I draw"), shown(".corners"))
	mid := value[[]float64](t, ctx, "(() => { const b = document.getElementById('map').getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2] })()")
	for i, d := range [][2]float64{{-200, -110}, {60, -110}, {60, 90}, {-200, 90}} {
		do(t, ctx, chromedp.MouseClickXY(mid[0]+d[0], mid[1]+d[1]), until(fmt.Sprintf("document.querySelector('.corners p').textContent.startsWith('%d corner')", i+1)))
	}
	do(t, ctx, press("Take one back"), until("document.querySelector('.corners p').textContent === '3 corners'"), chromedp.MouseClickXY(mid[0]-200, mid[1]+90), until("document.querySelector('.corners p').textContent === '4 corners'"))
	keep(t, ctx, "area being drawn")
	do(t, ctx, press("Ask inside"), until("location.search.includes('area=')"), until("!document.getElementById('status').textContent.includes('254') && /[0-9] tree/.test(document.getElementById('status').textContent)"))
	s.inside(t, ctx)
	keep(t, ctx, "area")
	link, says := value[string](t, ctx, "location.href"), value[string](t, ctx, "document.getElementById('status').textContent")
	other, ob := open(t)
	do(t, other, window(1280, 900, "light"), chromedp.Navigate(link), shown("#list li"), drawn("trees", 1), until(fmt.Sprintf("document.getElementById('status').textContent === %q", says)))
	if now := value[string](t, other, "location.href"); now != link {
		t.Errorf("the link %s became %s", link, now)
	}
	noTrouble(t, ob)

	// With keys alone: the map is moved and a corner set at its middle.
	do(t, ctx, chromedp.Navigate(s.web.URL+"/map"), shown("#list li"), drawn("trees", 100))
	tabTo(t, ctx, "#question .main")
	do(t, ctx, chromedp.KeyEvent("\r"), shown("#parts"))
	do(t, ctx, chromedp.Evaluate[chromedp.Void]("[...document.querySelectorAll('#parts .choices button')].at(-1).focus()"))
	do(t, ctx, chromedp.KeyEvent("\r"), shown(".corners"), until("document.activeElement.matches('.maplibregl-canvas')"))
	for i, key := range []string{"", kb.ArrowRight, kb.ArrowDown, kb.ArrowLeft} {
		if key != "" {
			do(t, ctx, chromedp.Focus(".maplibregl-canvas"))
			before := value[string](t, ctx, "location.search")
			do(t, ctx, chromedp.KeyEvent(key), until(fmt.Sprintf("location.search !== %q", before)))
		}
		tabTo(t, ctx, ".corners button")
		do(t, ctx, chromedp.KeyEvent("\r"), until(fmt.Sprintf("document.querySelector('.corners p').textContent.startsWith('%d corner')", i+1)))
	}
	tabTo(t, ctx, ".corners .main")
	do(t, ctx, chromedp.KeyEvent("\r"), until("location.search.includes('area=')"), until("!document.getElementById('status').textContent.includes('254') && /[0-9] tree|No tree/.test(document.getElementById('answer').textContent)"))
	s.inside(t, ctx)
	noTrouble(t, b)
}

// inside counts the trees in the area of the page's address by hand: a point is
// inside where a ray from it crosses the ring an odd number of times.
func (s *service) inside(t *testing.T, ctx context.Context) {
	t.Helper()
	area := value[string](t, ctx, "new URLSearchParams(location.search).get('area')")
	var ring [][2]float64
	for _, p := range strings.Split(area, ";") {
		var c [2]float64
		if _, err := fmt.Sscanf(p, "%f,%f", &c[0], &c[1]); err != nil {
			t.Fatal(area, err)
		}
		ring = append(ring, c)
	}
	n := 0
	for _, f := range s.walk(t, "/collections/trees/items?limit=1000", nil) {
		if st := f.Properties["status"]; st != "alive" && st != "dead" {
			continue
		}
		var at [2]float64
		if err := json.Unmarshal(f.Geometry.Coordinates, &at); err != nil {
			t.Fatal(err)
		}
		x, y, odd := at[0], at[1], false
		for i, a := range ring {
			b := ring[(i+1)%len(ring)]
			if (a[1] > y) != (b[1] > y) && x < a[0]+(b[0]-a[0])*(y-a[1])/(b[1]-a[1]) {
				odd = !odd
			}
		}
		if odd {
			n++
		}
	}
	said := value[string](t, ctx, "document.getElementById('status').textContent")
	if n == 0 || n > 200 || !strings.HasPrefix(said, fmt.Sprintf("%d tree", n)) {
		t.Errorf("the answer says %q, %d trees stand inside", said, n)
	}
}

// TestMapPast opens a tree and a place by links as of an instant before they were
// edited.
func TestMapPast(t *testing.T) {
	s := serve(t, func(c *api.Config) { c.Now = time.Now })
	s.run(t)
	at := s.instant(t)
	s.exec(t, `UPDATE trees SET species = 'Fagus sylvatica' WHERE tree_id = 66; UPDATE cuts SET gone_on = '2026-01-05' WHERE tree_id = 66;
		INSERT INTO cuts (client_id, site_id, tree_id, kind, made_on) VALUES (1, 1, 66, 'removal', '2026-01-05'); UPDATE targets SET people_per_hour = 800 WHERE name = 'Path'`)
	ctx, b := open(t)
	panel := func(asOf string) (timeline, spec, drawing, species string) {
		t.Helper()
		link := s.web.URL + "/map?tree=66"
		path := "/specification?tag=T66"
		if asOf != "" {
			link, path = link+"&as_of="+asOf, path+"&as_of="+asOf
		}
		do(t, ctx, window(1280, 900, "light"), chromedp.Navigate("about:blank"), chromedp.Navigate(link), shown("#tree table"), shown(".spec .drawing"), shown(".timeline li"), until("document.querySelector('#tree .strip')"))
		want := s.json(t, path)["specification"].(object)
		if said := value[string](t, ctx, "document.querySelector('.spec').textContent"); !strings.Contains(said, want["objective"].(string)) {
			t.Errorf("as of %q the panel does not say %q", asOf, want["objective"])
		}
		if said := value[string](t, ctx, "document.getElementById('tree').textContent"); strings.Contains(said, "as of "+at) != (asOf != "") {
			t.Errorf("as of %q the panel says when wrongly", asOf)
		}
		return value[string](t, ctx, "document.querySelector('.timeline').textContent"), want["work"].(string), value[string](t, ctx, "document.querySelector('.drawing').src"), value[string](t, ctx, "document.querySelector('.tree-head i').textContent")
	}
	timeline, before, drawing, species := panel(at)
	if strings.Contains(timeline, "removal") || !strings.Contains(timeline, "topping") || strings.Contains(timeline, "taken off") || !strings.Contains(drawing, "as_of=") || species == "Fagus sylvatica" {
		t.Errorf("before the edits: %q, drawn from %s, %s", timeline, drawing, species)
	}
	keep(t, ctx, "tree as of")
	timeline, after, drawing, species := panel("")
	if !strings.Contains(timeline, "removal") || !strings.Contains(timeline, "its wood was taken off on 2026-01-05") || strings.Contains(drawing, "as_of=") || species != "Fagus sylvatica" || before == after {
		t.Errorf("after the edits: %q, drawn from %s, %s, %s and %s", timeline, drawing, species, before, after)
	}
	for _, asOf := range []string{at, ""} {
		p := s.json(t, "/places/2"+strings.TrimSuffix("?as_of="+asOf, "?as_of="))
		do(t, ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(s.web.URL+"/map?v=places&places.at=2&as_of="+asOf), shown("#place table"))
		want := figureOf(p["peak"].(object)["people"].(float64)) + " people"
		if said := value[string](t, ctx, "document.getElementById('worst-hours').textContent"); !strings.Contains(said, want) {
			t.Errorf("as of %q: %q, expected %s", asOf, said, want)
		}
	}
	noTrouble(t, b)
}

// figureOf writes a figure as the page does.
func figureOf(v float64) string {
	switch {
	case v >= 100:
		return fmt.Sprintf("%.0f", v)
	case v >= 1:
		return fmt.Sprintf("%.1f", v)
	}
	return strconv.FormatFloat(v, 'g', 2, 64)
}

// TestMapPanels opens trees of all sorts: the panel has each of its parts, and
// says who or what said how likely failure is.
func TestMapPanels(t *testing.T) {
	s := serve(t, nil)
	s.exec(t, `INSERT INTO trees (client_id, site_id, tree_id, tag, dbh_m, geometry) VALUES (1, 1, 970, 'LONELY', 0.3, ST_SetSRID(ST_MakePoint(25.4, 54.7), 4326));
		INSERT INTO visits (client_id, site_id, tree_id, visited_on, visited_by, limb, crown, note) VALUES (1, 1, 66, '2026-03-01', 'R. Moss', 'probable', 'possible', 'crack')`)
	s.run(t)
	ctx, b := open(t)
	for _, c := range []struct {
		tree int
		says []string
	}{
		{66, []string{"topping", "seen by R. Moss", "judged probable by R. Moss on 2026-03-01", "crack"}},
		{65, []string{"No cut and no visit is recorded", "inferred"}}, // no cuts
		{100, []string{"dead", "inferred"}},                           // dead
		{970, []string{"No recorded place in reach", "Nobody is recorded or assumed there"}},
	} {
		do(t, ctx, window(1280, 900, "light"), chromedp.Navigate("about:blank"), chromedp.Navigate(fmt.Sprintf("%s/map?tree=%d", s.web.URL, c.tree)), shown("#tree .part"), shown(".spec .drawing"), until("document.querySelector('#tree .strip')"),
			until("document.querySelector('.timeline') && !document.getElementById('tree').textContent.includes('Working it out')"), until("document.querySelector('.timeline li') || document.getElementById('tree').textContent.includes('No cut and no visit')"))
		said := value[string](t, ctx, "document.getElementById('tree').textContent")
		for _, want := range c.says {
			if !strings.Contains(said, want) {
				t.Errorf("tree %d: the panel does not say %q", c.tree, want)
			}
		}
		// Each part names the rule that the service names.
		x := s.json(t, "/explain?tag="+value[string](t, ctx, "document.querySelector('#tree h2').textContent"))
		parts := value[[]string](t, ctx, "[...document.querySelectorAll('#tree .part')].map((p) => p.textContent)")
		worked, sum := value[[]string](t, ctx, "[...document.querySelectorAll('#tree .worked')].map((p) => p.textContent)"), 0.0
		for i, p := range objects(x["parts"]) {
			if rule, ok := p["rule"].(string); ok && p["inferred"] == true && !strings.Contains(parts[i], rule) {
				t.Errorf("tree %d, %s: the panel does not name the rule %q", c.tree, p["part"], rule)
			}
			sum += multiplied(t, worked[i])
			if got, want := multiplied(t, worked[i]), p["harm_people_index"].(float64)+x["weight_property"].(float64)*p["harm_property_index"].(float64); math.Abs(got-want) > 2e-3*want {
				t.Errorf("tree %d, %s: %q comes to %v, expected %v", c.tree, p["part"], worked[i], got, want)
			}
			if !strings.Contains(parts[i], fmt.Sprintf("Rated %s for people (%s by the busiest hour), %s for property", p["rating_people"], p["rating_busiest_hour"], p["rating_property"])) || p["vehicles_meeting"].(float64) > 0 && !strings.Contains(parts[i], "Drivers who could meet what has fallen: "+figureOf(p["vehicles_meeting"].(float64))) {
				t.Errorf("tree %d, %s: no ratings or no drivers in %q", c.tree, p["part"], parts[i])
			}
			if !strings.Contains(parts[i], p["likelihood"].(string)) {
				t.Errorf("tree %d, %s: the panel does not say %s", c.tree, p["part"], p["likelihood"])
			}
		}
		if harm := x["harm_index"].(float64); math.Abs(sum-harm) > 2e-3*harm || !strings.HasPrefix(value[string](t, ctx, "document.getElementById('total').textContent"), "Harm index of the tree, its parts together: ") {
			t.Errorf("tree %d: the parts shown come to %v, expected %v", c.tree, sum, harm)
		}
		do(t, ctx, chromedp.Evaluate[chromedp.Void]("[...document.querySelectorAll('#tree button')].find((b) => b.textContent.startsWith('Draw')).click()"), until("document.querySelector('.interval')"))
	}
	noTrouble(t, b)
}

// written are the figures of a part's harm as the page writes them out.
var written = regexp.MustCompile(`chance (\S+) a year × share struck (\S+) × \((\S+) people in the open \+ (\S+) in vehicles × (\S+) \+ (\S+) under a roof × (\S+)\) = (\S+) for people\..* × (\S+) vehicles = (\S+) for property, × (\S+)\. Harm index together: (\S+)\.$`)

// multiplied does a part's sum as a reader with a calculator would, and holds its
// steps to what is written.
func multiplied(t *testing.T, text string) float64 {
	t.Helper()
	m := written.FindStringSubmatch(text)
	if m == nil {
		t.Fatalf("no sum in %q", text)
	}
	var f [13]float64
	for i := range m[1:] {
		v, err := strconv.ParseFloat(strings.ReplaceAll(m[i+1], ",", ""), 64)
		if err != nil {
			t.Fatal(text, err)
		}
		f[i+1] = v
	}
	people := 1000 * f[1] * f[2] * (f[3] + f[4]*f[5] + f[6]*f[7])
	property := 1000 * f[1] * f[2] * f[9]
	for _, p := range [][2]float64{{people, f[8]}, {property, f[10]}, {people + property*f[11], f[12]}} {
		if math.Abs(p[0]-p[1]) > 1e-3*p[1] {
			t.Errorf("%q: %v, written %v", text, p[0], p[1])
		}
	}
	return people + property*f[11]
}
