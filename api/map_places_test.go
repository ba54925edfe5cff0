//go:build clients

package api_test

import (
	"context"
	"encoding/csv"
	"fmt"
	"image/color"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

type placeRow struct {
	Target    int64    `json:"target_id"`
	Kind      string   `json:"kind"`
	Name      string   `json:"name"`
	People    float64  `json:"people"`
	Sheltered float64  `json:"people_sheltered"`
	Harm      float64  `json:"harm_index"`
	Covered   bool     `json:"covered"`
	TreesOver int      `json:"trees_over"`
	Tags      []string `json:"tree_tags"`
	IDs       []int64  `json:"tree_ids"`
}

func (s *service) placeRows(t *testing.T, query string) []placeRow {
	t.Helper()
	var page struct {
		Rows []placeRow `json:"rows"`
	}
	read(t, s, "/places"+query, &page)
	if len(page.Rows) == 0 {
		t.Fatal("no places")
	}
	return page.Rows
}

// TestMapPlaces lists places as the service ranks them, narrows them down, opens
// one, follows a link to it and opens a tree from it.
func TestMapPlaces(t *testing.T) {
	s := serve(t, nil)
	all := s.placeRows(t, "")
	ctx, b := open(t)
	do(t, ctx, window(1280, 900, "light"), chromedp.Navigate(s.web.URL+"/map?v=places"), shown("#place-list li"), drawn("targets", 1), drawn("numbers", min(len(all), 20)))
	keep(t, ctx, "places")
	names := value[[]string](t, ctx, "[...document.querySelectorAll('#place-list li')].sort((a, b) => a.ariaPosInSet - b.ariaPosInSet).map((e) => e.querySelector('button').dataset.place + ' ' + e.querySelector('.name').firstChild.data.trim())")
	var want []string
	for _, p := range all {
		want = append(want, fmt.Sprint(p.Target, " ", p.Name))
	}
	if strings.Join(names, "\n") != strings.Join(want, "\n") {
		t.Errorf("the list has %q, expected %q", names, want)
	}
	// By kind, and without trees.
	choose := func(label, word string) chromedp.Action[chromedp.Void] {
		return chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`(() => { const e = [...document.querySelectorAll('#places label')].find((l) => l.textContent === %q).parentElement.querySelector('select'); e.value = %q; e.dispatchEvent(new Event('change', { bubbles: true })) })()`, label, word))
	}
	do(t, ctx, choose("Kind", "walkway"), until(fmt.Sprintf("document.querySelectorAll('#place-list li').length === %d && location.search.includes('places.kind=walkway')", len(s.placeRows(t, "?kind=walkway")))), choose("Kind", ""))
	s.exec(t, `INSERT INTO targets (client_id, site_id, name, kind, people_per_hour, geometry) VALUES (1, 1, 'Far path', 'walkway', 900, ST_GeomFromText('LINESTRING(25.27 54.67,25.2701 54.67)', 4326))`)
	open := s.placeRows(t, "?uncovered=true")
	do(t, ctx, choose("Trees", "true"), until("location.search.includes('places.reach=true')"), until(fmt.Sprintf("document.querySelectorAll('#place-list li').length === %d && document.querySelector('#place-list').textContent.includes('Far path')", len(open))),
		choose("Trees", ""), until(fmt.Sprintf("document.querySelectorAll('#place-list li').length === %d", len(all)+1)))

	// The worst is picked, by its line, and outlined.
	worst := all[0]
	do(t, ctx, chromedp.Click(fmt.Sprintf("[data-place=\"%d\"]", worst.Target)), shown("#place table"), chromedp.Sleep(1500*time.Millisecond))
	if h := value[string](t, ctx, "document.querySelector('#place h2').textContent"); h != worst.Name {
		t.Errorf("%s is open, expected %s", h, worst.Name)
	}
	// All of its trees, with metres and people beneath the part over the most.
	opened := s.json(t, fmt.Sprint("/places/", worst.Target))
	lines := value[[]string](t, ctx, "[...document.querySelectorAll('#place tbody tr')].map((r) => [...r.cells].map((c) => c.textContent).join(' | '))")
	trees := objects(opened["trees"])
	if len(lines) != len(trees) || len(trees) <= 5 || len(trees) != int(opened["trees_in_reach"].(float64)) {
		t.Fatalf("%d trees, expected %d", len(lines), len(trees))
	}
	for i, tree := range trees {
		over := object{"people": -1.0}
		for _, part := range objects(tree["parts"]) {
			if (part["part"] != "whole tree") == tree["over"].(bool) && (part["people"].(float64) > over["people"].(float64) || part["people"] == over["people"] && part["harm_index"].(float64) > over["harm_index"].(float64)) {
				over = part
			}
		}
		for _, want := range []string{fmt.Sprint(tree["tag"]), figureOf(over["length_m"].(float64)) + " m", figureOf(over["people"].(float64)), fmt.Sprint(over["likelihood"])} {
			if over["length_m"].(float64) > 0 && !strings.Contains(lines[i], want) {
				t.Errorf("line %q, expected %q", lines[i], want)
			}
		}
	}
	said := value[string](t, ctx, "document.getElementById('worst-hours').textContent")
	for _, hours := range opened["worst_hours"].([]any) {
		if !strings.Contains(said, hours.(string)) {
			t.Errorf("%q, expected %s", said, hours)
		}
	}
	week := value[[]string](t, ctx, "[...document.querySelectorAll('#place .strip title')].map((e) => e.textContent)")
	for hour, line := range week {
		if n := opened["people_in_the_open"].([]any)[hour].(float64) + opened["people_in_vehicles"].([]any)[hour].(float64); n >= 0.001 && !strings.HasSuffix(line, ": "+figureOf(n)+" people") {
			t.Fatalf("hour %d of the strip says %q, expected %v", hour, line, n)
		}
	}
	if len(week) != 168 {
		t.Errorf("%d hours in the strip", len(week))
	}
	if said := value[string](t, ctx, "document.querySelector('#place .sums').textContent"); !strings.Contains(said, strconv.Itoa(worst.TreesOver)+"trees over it") && !strings.Contains(said, "trees over it"+strconv.Itoa(worst.TreesOver)) {
		t.Errorf("the place says %q, expected %d trees over it", said, worst.TreesOver)
	}
	edge := fmt.Sprintf("Number(document.getElementById('map').dataset.idle) > 0 && location.search.includes('places.at=%d')", worst.Target)
	do(t, ctx, until(edge), chromedp.Sleep(1500*time.Millisecond))
	link := value[string](t, ctx, "location.href")
	if n := shaded(t, ctx, "map", color.RGBA{0xb4, 0x48, 0x0f, 255}); n < 800 {
		t.Errorf("the outline covers %d pixels", n)
	}
	keep(t, ctx, "place")
	do(t, ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(link), shown("#place table"), drawn("targets", 1))
	if h := value[string](t, ctx, "document.querySelector('#place h2').textContent"); h != worst.Name {
		t.Errorf("by the link %s is open", h)
	}
	// A tree opens from it, and gives it back.
	do(t, ctx, chromedp.Click("#place th button"), shown("#tree table"), until(fmt.Sprintf("document.querySelector('#tree h2').textContent === %q", worst.Tags[0])),
		chromedp.Click("#tree .usual"), shown("#place table"), chromedp.Click("#place .usual"), shown("#place-list li"))
	// The map is where the link was: there, south of the path, lies the lot.
	do(t, ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(link), shown("#place table"), drawn("targets", 1), chromedp.Sleep(1500*time.Millisecond),
		chromedp.MouseClickXY(778, 640), until("document.querySelector('#place h2')?.textContent === 'Lot'"))
	noTrouble(t, b)
}

func noTrouble(t *testing.T, b *browser) {
	t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, line := range b.trouble {
		t.Errorf("the page says: %s", line)
	}
}

// savedTable presses a plot's button and reads the CSV it would save.
func savedTable(t *testing.T, ctx context.Context, id string) [][]string {
	t.Helper()
	do(t, ctx, chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`window.saved = null; if (!window.made) { window.made = URL.createObjectURL; URL.createObjectURL = (b) => { b.text().then((t) => { window.saved = t }); return window.made.call(URL, b) } } [...document.querySelectorAll('#%s button')].find((b) => b.textContent === 'CSV').click()`, id)), until("window.saved"))
	rows, err := csv.NewReader(strings.NewReader(value[string](t, ctx, "window.saved"))).ReadAll()
	if err != nil {
		t.Fatal(id, err)
	}
	for _, r := range rows[1:] {
		if r[len(r)-1] == "" {
			t.Errorf("%s: a row says no source", id)
		}
	}
	return rows
}

func figureIs(t *testing.T, what, got string, want float64) {
	t.Helper()
	if v, err := strconv.ParseFloat(got, 64); err != nil || math.Abs(v-want) > 1e-6*math.Max(1, math.Abs(want)) {
		t.Errorf("%s: %s, expected %v", what, got, want)
	}
}

// closely is figureIs for sums of figures of five digits.
func closely(t *testing.T, what, got string, want float64) {
	t.Helper()
	if v, err := strconv.ParseFloat(got, 64); err != nil || math.Abs(v-want) > 2e-4*math.Abs(want)+1e-9 {
		t.Errorf("%s: %s, expected %v", what, got, want)
	}
}

// TestMapNumbers holds what plots save to what the service says, and looks for
// their axes.
func TestMapNumbers(t *testing.T) {
	s := serve(t, editing)
	s.exec(t, `INSERT INTO cuts (client_id, site_id, tree_id, kind) VALUES (1, 1, 9, 'flush'); UPDATE trees SET planted_year = 1900 + 3 * tree_id WHERE tree_id BETWEEN 1 AND 40`)
	programme, _ := s.planned(t)
	ctx, b := open(t)
	do(t, ctx, window(1280, 900, "light"), chromedp.Navigate(s.web.URL+"/map?v=numbers"), shown("#visits"), shown("#cut-ages"), shown("#exposure-by-hour"), shown("#harm-against-spend"))
	plots := value[[]string](t, ctx, "[...document.querySelectorAll('.graph')].map((p) => p.id)")
	if len(plots) != 13 {
		t.Errorf("plots %q", plots)
	}
	for _, id := range plots {
		if n := value[int](t, ctx, fmt.Sprintf("document.querySelectorAll('#%s svg line').length", id)); n < 4 {
			t.Errorf("%s has %d lines of axes", id, n)
		}
		if unit := value[string](t, ctx, fmt.Sprintf("document.querySelector('#%s svg .axis').textContent", id)); unit == "" {
			t.Errorf("%s has no unit", id)
		}
	}
	// What is saved as SVG stands alone.
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`window.saved = null; const make = URL.createObjectURL; URL.createObjectURL = (b) => { b.text().then((t) => { window.saved = t }); return make.call(URL, b) }; [...document.querySelectorAll('#diameters button')].find((b) => b.textContent === 'SVG').click()`), until("window.saved"))
	if root := value[string](t, ctx, "new DOMParser().parseFromString(window.saved, 'image/svg+xml').documentElement.nodeName"); root != "svg" {
		t.Errorf("what is saved is %s", root)
	}

	harm, hours, sheltered := map[string]float64{}, map[string]float64{}, map[string]float64{}
	for _, p := range s.placeRows(t, "") {
		harm[p.Kind] += p.Harm
		hours[p.Kind] += p.People * 8760 // those in vehicles are among them
		sheltered[p.Kind] += p.Sheltered * 8760
	}
	words := func(kind string) string { return strings.ReplaceAll(kind, " ", "_") }
	kinds := savedTable(t, ctx, "exposure-by-kind")
	for _, r := range kinds[1:] {
		figureIs(t, "hours on "+r[0], r[2], hours[words(r[0])])
		figureIs(t, "hours under roofs of "+r[0], r[3], sheltered[words(r[0])])
	}
	if len(kinds) != len(hours)+1 {
		t.Errorf("%d kinds, expected %d", len(kinds)-1, len(hours))
	}
	for _, r := range savedTable(t, ctx, "harm-by-kind")[1:] {
		figureIs(t, "harm on "+r[0], r[1], harm[words(r[0])])
	}

	week := make([]float64, 168)
	for _, f := range s.features(t, "/collections/trees/items?limit=1000&filter=status%20IN%20('alive','dead')").Features {
		w := s.json(t, "/hours?tag="+fmt.Sprint(f.Properties["tag"]))
		for i := range week {
			week[i] += w["people_in_the_open"].([]any)[i].(float64) + w["people_in_vehicles"].([]any)[i].(float64)
		}
	}
	saved := savedTable(t, ctx, "exposure-by-hour")
	if len(saved) != 169 {
		t.Fatalf("%d rows of hours", len(saved)-1)
	}
	for i, r := range saved[1:] {
		closely(t, r[1], r[2], week[i])
	}
	// By kind: the weeks of places asked for one by one.
	byKind := map[string][]float64{}
	for _, p := range s.placeRows(t, "") {
		w := s.json(t, fmt.Sprint("/places/", p.Target))
		if byKind[p.Kind] == nil {
			byKind[p.Kind] = make([]float64, 168)
		}
		for i := range 168 {
			byKind[p.Kind][i] += w["people_in_the_open"].([]any)[i].(float64) + w["people_in_vehicles"].([]any)[i].(float64)
		}
	}
	table := savedTable(t, ctx, "exposure-by-kind-and-hour")
	for k, kind := range table[0][2 : len(table[0])-1] {
		for i, r := range table[1:] {
			closely(t, kind+" "+r[1], r[2+k], byKind[words(kind)][i])
		}
	}
	if len(table) != 169 || len(table[0]) < 6 {
		t.Errorf("%d hours of %d kinds", len(table)-1, len(table[0])-3)
	}

	years := objects(programme["years"])
	spend, budget := savedTable(t, ctx, "harm-against-spend"), 0.0
	if len(spend) != len(years)+1 {
		t.Fatalf("%d years, expected %d", len(spend)-1, len(years))
	}
	for i, y := range years {
		of := func(name string) float64 { return y[name].(float64) }
		budget += of("budget")
		r := spend[i+1]
		figureIs(t, "year", r[0], of("year"))
		figureIs(t, "budget", r[1], budget)
		figureIs(t, "used", r[2], of("used"))
		for k, name := range []string{"harm_index_left", "harm_index_left_worst_first", "harm_index_left_flat_cycle"} {
			figureIs(t, name, r[3+k], of("harm_index_before")-of(name))
		}
	}

	// Cuts and trees are counted here one by one.
	ages := map[string][]int{}
	for _, f := range s.walk(t, "/collections/cuts/items?limit=1000", nil) {
		kind := f.Properties["kind"].(string)
		if ages[kind] == nil {
			ages[kind] = make([]int, 5)
		}
		year, known := f.Properties["made_year"].(float64)
		if on, ok := f.Properties["made_on"].(string); !known && ok {
			year, known = float64(number4(t, on)), true
		}
		class := 4
		if age := today.Year() - int(year); known {
			for k, from := range []int{0, 5, 10, 20} {
				if age >= from {
					class = k
				}
			}
		}
		ages[kind][class]++
	}
	cuts := savedTable(t, ctx, "cut-ages")
	if len(cuts) != len(ages)+1 || ages["flush"][4] != 1 {
		t.Errorf("kinds of cut: %d, expected %d", len(cuts)-1, len(ages))
	}
	for _, r := range cuts[1:] {
		for k, n := range ages[r[0]] {
			figureIs(t, r[0]+" "+cuts[0][1+k], r[1+k], float64(n))
		}
	}
	from, never, standing := map[string]int{}, 0, 0
	old := make([]int, 7)
	for _, f := range s.walk(t, "/collections/trees/items?limit=1000", nil) {
		if st := f.Properties["status"]; st != "alive" && st != "dead" {
			continue
		}
		standing++
		class := 6
		if year, ok := f.Properties["planted_year"].(float64); ok {
			class = 0
			for k, years := range []int{0, 10, 20, 40, 60, 80} {
				if today.Year()-int(year) >= years {
					class = k
				}
			}
		}
		old[class]++
		from[fmt.Sprint(f.Properties["height_from"])]++
		if f.Properties["last_visit"] == nil {
			never++
		}
	}
	for _, r := range savedTable(t, ctx, "heights-from")[1:] {
		figureIs(t, r[0], r[1], float64(from[strings.TrimPrefix(r[0], "estimated, ")]))
	}
	for k, r := range savedTable(t, ctx, "ages")[1:] {
		figureIs(t, "trees planted "+r[0], r[1], float64(old[k]))
	}
	visits := savedTable(t, ctx, "visits")
	figureIs(t, "visited", visits[1][1], float64(standing-never))
	figureIs(t, "never visited", visits[2][1], float64(never))
	sum := 0
	for _, r := range savedTable(t, ctx, "diameters")[1:] {
		n, _ := strconv.Atoi(r[1])
		sum += n
	}
	if sum != standing {
		t.Errorf("%d trees in classes of diameter, expected %d", sum, standing)
	}
	noTrouble(t, b)
}

func number4(t *testing.T, day string) int {
	t.Helper()
	n, err := strconv.Atoi(day[:4])
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// TestMapWork finds what is to be cut in the panel of a tree, drawn and in words,
// and how sure its place is.
func TestMapWork(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	spec := s.json(t, "/specification?tag=T66")
	items := objects(objects(spec["specification"].(object)["visits"])[0]["items"])
	ctx, b := open(t)
	do(t, ctx, window(1280, 900, "light"), chromedp.Navigate(s.web.URL+"/map?tree=66"), shown("#tree .spec .drawing"), until("(() => { const e = document.querySelector('.drawing'); e.scrollIntoView(); return e.complete && e.naturalWidth > 100 })()"))
	said := value[string](t, ctx, "document.querySelector('.spec').textContent")
	for _, want := range []string{spec["specification"].(object)["objective"].(string), items[0]["text"].(string), spec["open_days"].(string), spec["quietest"].(string)} {
		if !strings.Contains(said, want) {
			t.Errorf("the panel does not say %q", want)
		}
	}
	if alt := value[string](t, ctx, "document.querySelector('.drawing').alt"); !strings.Contains(alt, "T66") {
		t.Errorf("the drawing is called %q", alt)
	}
	if missing := value[string](t, ctx, "document.getElementById('missing').textContent"); !strings.Contains(missing, "condition") || !strings.Contains(missing, "any visit") {
		t.Errorf("not recorded: %q", missing)
	}
	keep(t, ctx, "specification")
	var low, high int
	for _, f := range s.features(t, "/ranking?draws=200&limit=1000").Features {
		if f.Properties["tag"] == "T66" {
			low, high = int(f.Properties["rank_low"].(float64)), int(f.Properties["rank_high"].(float64))
		}
	}
	do(t, ctx, chromedp.Evaluate[chromedp.Void]("[...document.querySelectorAll('#tree button')].find((b) => b.textContent.startsWith('Draw')).click()"), until("document.querySelector('.interval')"))
	if says := value[string](t, ctx, "document.querySelector('.interval').ariaLabel ?? document.querySelector('.interval').getAttribute('aria-label')"); !strings.Contains(says, fmt.Sprintf("between %d and %d", low, high)) {
		t.Errorf("%q, expected between %d and %d", says, low, high)
	}
	noTrouble(t, b)
}

// TestMapPlacesKeys goes to a place, a tree of it and back, and to a plot's figures,
// with keys alone.
func TestMapPlacesKeys(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	ctx, b := open(t)
	do(t, ctx, window(1280, 800, "light"), chromedp.Navigate(s.web.URL+"/map"), shown("#list li"))
	tabTo(t, ctx, "[role=tab]")
	for range 5 {
		if value[string](t, ctx, "document.activeElement.textContent") != "Places" {
			do(t, ctx, chromedp.KeyEvent(kb.ArrowRight))
		}
	}
	do(t, ctx, shown("#place-list li"))
	tabTo(t, ctx, "#places select")
	tabTo(t, ctx, "#place-list button")
	do(t, ctx, chromedp.KeyEvent(kb.ArrowDown), until("document.activeElement.closest('li')?.ariaPosInSet === '2'"), chromedp.KeyEvent("\r"), shown("#place table"), until("document.activeElement.textContent.includes('Back')"))
	name := value[string](t, ctx, "document.querySelector('#place h2').textContent")
	tabTo(t, ctx, "#place th button")
	do(t, ctx, chromedp.KeyEvent("\r"), shown("#tree table"), until("document.activeElement.textContent.includes('Back')"), chromedp.KeyEvent("\r"), shown("#place table"))
	if again := value[string](t, ctx, "document.querySelector('#place h2').textContent"); again != name {
		t.Errorf("%s is open, expected %s", again, name)
	}
	do(t, ctx, chromedp.KeyEvent(kb.Escape), until("document.activeElement.closest('li')?.ariaPosInSet === '2'"))
	do(t, ctx, chromedp.Evaluate[chromedp.Void]("document.body.focus()"), chromedp.Navigate(s.web.URL+"/map?v=numbers"), shown("#visits"))
	tabTo(t, ctx, "#exposure-by-kind button[aria-label^='Save as CSV']")
	do(t, ctx, chromedp.Evaluate[chromedp.Void]("window.saved = ''; const make = URL.createObjectURL; URL.createObjectURL = (b) => { b.text().then((t) => { window.saved = t }); return make.call(URL, b) }"), chromedp.KeyEvent("\r"), until("window.saved.startsWith('kind of place,')"))
	tabTo(t, ctx, "#exposure-by-kind summary")
	do(t, ctx, chromedp.KeyEvent("\r"), shown("#exposure-by-kind table"))
	tabTo(t, ctx, "#exposure-by-kind .wide-table")
	noTrouble(t, b)
}

// TestMapPlacesAccess lets axe look at places, a place, numbers and the panel of a
// tree with its work, wide and narrow, in light and in dark.
func TestMapPlacesAccess(t *testing.T) {
	checker := axe(t)
	s := serve(t, nil)
	s.keepProgramme(t)
	worst := s.placeRows(t, "")[0]
	ctx, _ := open(t)
	for _, c := range twoScreens {
		t.Run(c.name, func(t *testing.T) {
			look := func(screen, query string, ready ...chromedp.Action[chromedp.Void]) {
				t.Helper()
				do(t, ctx, append([]chromedp.Action[chromedp.Void]{window(c.width, c.height, c.scheme), chromedp.Navigate(s.web.URL + "/map?" + query)}, ready...)...)
				do(t, ctx, chromedp.Evaluate[chromedp.Void]("document.querySelectorAll('.scroll details').forEach((d) => { d.open = true })"), chromedp.Sleep(1500*time.Millisecond))
				if value[bool](t, ctx, "document.documentElement.scrollWidth > innerWidth") {
					t.Errorf("%s is wider than the window", screen)
				}
				keep(t, ctx, screen+" "+c.name)
				accessible(t, ctx, checker, screen)
			}
			look("places", "v=places", shown("#place-list li"), drawn("targets", 1))
			look("one place", fmt.Sprint("v=places&places.at=", worst.Target), shown("#place table"), drawn("targets", 1))
			look("hour of the week", "hour=8", shown(".hours summary"), drawn("trees", 1), drawn("hours", 100), chromedp.Evaluate[chromedp.Void]("document.querySelectorAll('.hours details').forEach((d) => { d.open = true })"))
			look("numbers", "v=numbers", shown("#visits"), shown("#cut-ages"), shown("#exposure-by-hour"), shown("#harm-against-spend"))
			look("work", "tree=66", shown(".spec .drawing"))
		})
	}
}
