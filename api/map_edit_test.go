//go:build clients

package api_test

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"github.com/underbough/underbough/api"
)

// The map opens at a zoom level and a centre that are known: where a pixel is on
// earth then follows from the formulas of EPSG method 1024 (IOGP 373-07-2), with
// 512 · 2^zoom pixels about the earth.
const (
	editLon, editLat, editZoom = 25.28144, 54.68055, 19
	editAt                     = "at=25.28144,54.68055,19"
)

// onEarth is the place of a pixel of the page.
func onEarth(t *testing.T, ctx context.Context, x, y float64) (lon, lat float64) {
	t.Helper()
	b := value[[]float64](t, ctx, "(() => { const b = document.getElementById('map').getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2] })()")
	pixels := 512 * math.Exp2(editZoom) / (2 * math.Pi) // a radian of longitude
	north := math.Log(math.Tan(math.Pi/4+editLat*math.Pi/360)) - (y-b[1])/pixels
	return editLon + (x-b[0])/pixels*180/math.Pi, (2*math.Atan(math.Exp(north)) - math.Pi/2) * 180 / math.Pi
}

// wantAt checks what PostGIS measures between a stored point and a place, metres.
func (s *service) wantAt(t *testing.T, point string, lon, lat, within float64) {
	t.Helper()
	text := s.text(t, fmt.Sprintf(`SELECT ST_Distance((%s)::geography, ST_SetSRID(ST_MakePoint(%.9f, %.9f), 4326)::geography)`, point, lon, lat))
	if d, err := strconv.ParseFloat(text, 64); err != nil || d > within {
		t.Errorf("%s is %s m from %.7f %.7f, expected at most %v (%v)", point, text, lon, lat, within, err)
	}
}

// tap clicks the button with these words within an element, once it can be clicked.
func tap(within, words string) chromedp.Action[chromedp.Void] {
	return until(fmt.Sprintf("(() => { const b = [...document.querySelectorAll(%q + ' button')].find((b) => b.textContent.trim() === %q && !b.disabled); b?.click(); return !!b })()", within, words))
}

func mouse(kind input.DispatchMouseEventType, x, y float64) chromedp.Action[chromedp.Void] {
	p := input.DispatchMouseEventParams{Type: kind, X: x, Y: y, Button: input.MouseButtonLeft, Buttons: 1, ClickCount: 1}
	return call(input.DispatchMouseEvent, p)
}

// drag takes what is at one pixel to another.
func drag(x, y, toX, toY float64) []chromedp.Action[chromedp.Void] {
	return []chromedp.Action[chromedp.Void]{mouse(input.DispatchMouseEventTypeMousePressed, x, y), mouse(input.DispatchMouseEventTypeMouseMoved, (x+toX)/2, (y+toY)/2),
		mouse(input.DispatchMouseEventTypeMouseMoved, toX, toY), mouse(input.DispatchMouseEventTypeMouseReleased, toX, toY)}
}

func version(n int) chromedp.Action[chromedp.Void] {
	return until(fmt.Sprintf("document.querySelector('#edit')?.dataset.version === '%d' && document.querySelector('#edit').getAttribute('aria-busy') === 'false'", n))
}

func says(selector, words string) chromedp.Action[chromedp.Void] {
	return until(fmt.Sprintf("document.querySelector(%q)?.textContent.includes(%q)", selector, words))
}

// openEdit opens the view where the formulas hold.
func (s *service) openEdit(t *testing.T, ctx context.Context, more string) {
	t.Helper()
	do(t, ctx, chromedp.Navigate(s.web.URL+"/map?v=edit&"+editAt+more), shown("#edit h2"), drawn("trees", 3), until("!/at=,/.test(location.search)"))
}

// TestMapEditTree adds a tree by a click, with a bad value first, moves it by a drag
// and by keys, corrects it, and undoes it all.
func TestMapEditTree(t *testing.T) {
	s := serve(t, editing)
	ctx, b := open(t)
	do(t, ctx, window(1280, 900, "light"))
	s.openEdit(t, ctx, "")
	do(t, ctx, tap("#edit", "Add a tree"), shown("#form"), fill(".by input", "Ona Žvirblė"),
		fill("[name=height_m]", "1310"), says("#form", "Height (m) is 1310: expected above 0 and below 130"),
		fill("[name=tag]", "NEW1"), tap("#form", "Add it"), until("document.activeElement.id === 'fault-geometry' || document.activeElement.name === 'height_m'"))
	if n := s.text(t, `SELECT count(*) FROM trees`); n != "260" {
		t.Fatalf("%s trees: a bad value was sent", n)
	}
	if !value[bool](t, ctx, "document.querySelector('[name=height_m]').getAttribute('aria-invalid') === 'true' && document.querySelector('#form').textContent.includes('place it on the map')") {
		t.Error("the fields at fault are not marked")
	}
	keep(t, ctx, "edit bad value")
	do(t, ctx, chromedp.MouseClickXY(900, 400), says("#form .place", "Now:"), fill("[name=height_m]", "13,25"), fill("[name=species]", "Tilia cordata"),
		until("!document.querySelector('#form [aria-invalid=true]')"), tap("#form", "Add it"), version(1))
	id := s.text(t, `SELECT max(tree_id)::text FROM trees`)
	if got := s.text(t, `SELECT tag, species, height_m, status, changed_by FROM trees WHERE tree_id = `+id); got != "NEW1|Tilia cordata|13.25|alive|Ona Žvirblė" {
		t.Error(got)
	}
	point := `SELECT geometry FROM trees WHERE tree_id = ` + id
	lon, lat := onEarth(t, ctx, 900, 400)
	s.wantAt(t, point, lon, lat, 0.1) // a pixel is 0.09 m
	do(t, ctx, until("location.search.includes('edit.at=trees%2F"+id+"')"))
	keep(t, ctx, "edit tree")

	// By a drag.
	do(t, ctx, drag(900, 400, 960, 340)...)
	do(t, ctx, tap("#form", "Save"), version(2))
	lon, lat = onEarth(t, ctx, 960, 340)
	s.wantAt(t, point, lon, lat, 0.1)
	// By keys: north twice and east once, by half a metre each.
	before := s.text(t, `SELECT ST_AsText(geometry, 9) FROM trees WHERE tree_id = `+id)
	do(t, ctx, chromedp.Focus("[aria-label='Move to the north']"), chromedp.KeyEvent(kb.ArrowUp), chromedp.KeyEvent(kb.ArrowUp), chromedp.KeyEvent(kb.ArrowRight), tap("#form", "Save"), version(3))
	moved := s.text(t, fmt.Sprintf(`SELECT round(ST_Distance(g::geography, geometry::geography)::numeric, 2) || ' ' || round(degrees(ST_Azimuth(g::geography, geometry::geography))) FROM trees, (SELECT ST_GeomFromText('%s', 4326) AS g) b WHERE tree_id = %s`, before, id))
	if moved != "1.12 27" && moved != "1.12 26" { // √(1² + 0.5²), atan ½ = 26.6°, within the service's digits
		t.Errorf("moved by keys: %s", moved)
	}
	// Typed degrees, one of them wrong first.
	do(t, ctx, fill(".corner .fields .field:nth-child(1) input", "225"), says(".corner", "expected a number from -180 to 180"), fill(".corner .fields .field:nth-child(1) input", "25.2812"), tap("#form", "Save"), version(4))
	if lon := s.text(t, `SELECT ST_X(geometry) FROM trees WHERE tree_id = `+id); lon != "25.2812" {
		t.Error(lon)
	}
	// A value.
	do(t, ctx, fill("[name=dbh_cm]", "45.3"), fill("[name=status]", "dead"), tap("#form", "Save"), version(5))
	if got := s.text(t, `SELECT dbh_m, status FROM trees WHERE tree_id = `+id); got != "0.453|dead" {
		t.Error(got)
	}
	do(t, ctx, until("document.querySelector('#log-of li[data-version]')?.dataset.version === '5'"))
	says := value[[]string](t, ctx, "[...document.querySelectorAll('#log-of li[data-version]')].map((e) => e.dataset.version + e.dataset.change)")
	if fmt.Sprint(says) != "[5changed 4changed 3changed 2changed 1added]" {
		t.Error(says)
	}
	// The list knows it.
	do(t, ctx, chromedp.Click("#tab-ask"), shown("#list li"))
	want := s.features(t, "/collections/trees/items?limit=1&filter=status%20IN%20('alive','dead')").NumberMatched
	do(t, ctx, until(fmt.Sprintf("document.querySelector('#status').textContent.includes('%d trees')", *want)))
	do(t, ctx, chromedp.Click("#tab-edit"), shown("#form"))
	// Undone, step by step: by the button and by keys.
	do(t, ctx, tap("#edit .head", value[string](t, ctx, "document.querySelector('#undo').textContent.trim()")), version(6))
	if got := s.text(t, `SELECT coalesce(dbh_m::text, 'none'), status FROM trees WHERE tree_id = `+id); got != "none|alive" {
		t.Error(got)
	}
	for v := 7; v <= 9; v++ {
		do(t, ctx, chromedp.Focus("#undo"), chromedp.KeyEvent("z", chromedp.KeyModifiers(chromedp.ModifierCtrl)), version(v))
	}
	lon, lat = onEarth(t, ctx, 900, 400)
	s.wantAt(t, point, lon, lat, 0.1)
	do(t, ctx, chromedp.Click("#undo"), until("document.querySelector('#undo').disabled && !document.querySelector('#form')"))
	if n := s.text(t, `SELECT count(*) FROM trees`); n != "260" {
		t.Errorf("%s trees after all is undone", n)
	}
	quiet(t, b)
}

// TestMapEditKeys adds a tree and a place with keys alone.
func TestMapEditKeys(t *testing.T) {
	s := serve(t, editing)
	ctx, b := open(t)
	do(t, ctx, window(1280, 900, "light"))
	s.openEdit(t, ctx, "")
	enter := func(button string) chromedp.Action[chromedp.Void] {
		return chromedp.Evaluate[chromedp.Void](fmt.Sprintf("[...document.querySelectorAll('#edit button')].find((b) => b.textContent === %q).focus()", button))
	}
	do(t, ctx, enter("Add a tree"), chromedp.KeyEvent("\r"), shown("#form"),
		until("document.activeElement.matches('canvas')"), chromedp.KeyEvent("\r"), says("#form .place", "Now:"),
		chromedp.Focus("[name=tag]"), chromedp.KeyEvent("BYKEYS"), chromedp.KeyEvent("\r"), version(1))
	s.wantAt(t, `SELECT geometry FROM trees WHERE tag = 'BYKEYS'`, editLon, editLat, 0.6) // the address has five digits
	do(t, ctx, enter("Close"), chromedp.KeyEvent("\r"), until("!document.querySelector('#form')"),
		enter("Add a place"), chromedp.KeyEvent("\r"), shown("#form"), enter("Draw a line"), chromedp.KeyEvent("\r"), until("document.activeElement.matches('canvas')"),
		chromedp.KeyEvent("\r"), says("#form .place", "1 corner"))
	at := value[string](t, ctx, "location.search")
	do(t, ctx, chromedp.KeyEvent(kb.ArrowRight), until(fmt.Sprintf("location.search !== %q", at)), chromedp.KeyEvent("\r"), says("#form .place", "2 corners"),
		enter("Done drawing"), chromedp.KeyEvent("\r"), says("#form .place", "line of 2 corners"), fill("[name=kind]", "walkway"), fill("[name=name]", "Shortcut"), enter("Add it"), chromedp.KeyEvent("\r"), version(1))
	if got := s.text(t, `SELECT kind, GeometryType(geometry), ST_NPoints(geometry), round(ST_Y(ST_StartPoint(geometry))::numeric, 4) FROM targets WHERE name = 'Shortcut'`); got != "walkway|LINESTRING|2|54.6806" && got != "walkway|LINESTRING|2|54.6805" {
		t.Error(got)
	}
	quiet(t, b)
}

// TestMapEditRecords records a cut and a visit of a tree, meets a refusal of the
// service, and brings back the tree that was deleted with both.
func TestMapEditRecords(t *testing.T) {
	s := serve(t, editing)
	ctx, _ := open(t)
	do(t, ctx, window(1280, 900, "light"))
	s.openEdit(t, ctx, "")
	do(t, ctx, fill("#edit [name=name]", "t21"), tap("#edit .find", "Open"), says("#edit h2", "Tree T21"),
		// It is gone to, near enough to be moved by decimetres.
		until("Number(/at=[^&]*,([\\d.]+)/.exec(location.search)[1]) >= 18.5"),
		tap("#edit", "Add a cut"), says("#edit h2", "A new cut"), until("document.querySelector('[name=tree_id]').value === '21'"),
		fill("[name=kind]", "stub"), fill("[name=made_on]", "2024-03-05"), fill("[name=stub_length_m]", "0.3"), fill("[name=closure]", "1.5"), says("#form", "Closure is 1.5: expected at least 0 and at most 1"),
		fill("[name=closure]", "0.5"), tap("#form", "Add it"), version(1))
	if got := s.text(t, `SELECT kind, made_on, stub_length_m, closure FROM cuts WHERE tree_id = 21 ORDER BY cut_id DESC LIMIT 1`); got != "stub|2024-03-05|0.3|0.5" {
		t.Error(got)
	}
	do(t, ctx, tap("#edit", "Close"), says("#edit h2", "Tree T21"), says(".records", "stub, 2024-03-05"),
		tap("#edit", "Add a visit"), says("#edit h2", "A new visit"),
		fill("[name=visited_on]", ""), says("#form", "Visited on is empty: expected a day"),
		fill("[name=visited_on]", "9998-01-01"), fill("[name=note]", "seen from below"), fill("[name=crown]", "possible"), tap("#form", "Add it"),
		// The service knows what the schema does not say, and the field shows it.
		until("document.querySelector('[name=visited_on]').getAttribute('aria-invalid') === 'true'"), says("#form", "yet to come"))
	if value[string](t, ctx, "document.querySelector('[name=note]').value") != "seen from below" {
		t.Error("what was typed is gone")
	}
	do(t, ctx, fill("[name=visited_on]", "2026-02-03"), tap("#form", "Add it"), version(1))
	if got := s.text(t, `SELECT visited_on, crown, note FROM visits WHERE tree_id = 21`); got != "2026-02-03|possible|seen from below" {
		t.Error(got)
	}
	of := `SELECT (SELECT count(*) FROM cuts WHERE tree_id = 21), (SELECT count(*) FROM visits WHERE tree_id = 21), (SELECT count(*) FROM trees WHERE tree_id = 21)`
	had := s.text(t, of)
	s.send(t, "POST", "/jobs", plainJSON, `{"tag":"T21","year":2027,"by":"Owner"}`).want(t, 201)
	do(t, ctx, tap("#edit", "Close"), says("#edit h2", "Tree T21"), tap("#form", "Delete"))
	// Nothing goes before it is said what goes along.
	do(t, ctx, says("dialog[open]", "Its 2 cuts and 1 visit go along"), says("dialog[open]", "1 job is not finished"), says("dialog[open]", "proposed"))
	keep(t, ctx, "edit delete")
	do(t, ctx, tap("dialog", "Keep it"), says("#edit h2", "Tree T21"))
	if got := s.text(t, of); got != had {
		t.Error(got)
	}
	do(t, ctx, tap("#form", "Delete"), tap("dialog", "Delete it"), until("!document.querySelector('#form')"))
	if got := s.text(t, of); got != "0|0|0" {
		t.Error(got)
	}
	do(t, ctx, tap(".toasts", "Undo"), version(2), says("#edit h2", "Tree T21"))
	if got := s.text(t, of); got != had || had != "2|1|1" {
		t.Errorf("%s, before %s", got, had)
	}
	// A link to what is deleted says so, and brings it back.
	s.send(t, "DELETE", "/collections/trees/items/22", "", "").want(t, 204)
	do(t, ctx, chromedp.Navigate(s.web.URL+"/map?tree=22"), says("#tree", "This tree was deleted on "), shown("#tree a[href*=history]"), drawn("trees", 20),
		tap("#tree", "Bring it back"), says("#edit", "It is not there any more"), tap("#edit", "Close"), says("#edit .records", "tree T22, "))
	keep(t, ctx, "edit deleted lately")
	s.openEdit(t, ctx, "&edit.at=trees/22")
	do(t, ctx, says("#edit", "It is not there any more"), shown("#log-of button"), tap("#log-of", "Bring back version 1"), version(2), says("#edit h2", "Tree T22"))
	// At 200 % the form goes by under nothing.
	do(t, ctx, window(640, 400, "light"), chromedp.Evaluate[chromedp.Void]("document.querySelector('[name=condition]').scrollIntoView({ block: 'center' })"),
		until("(() => { const e = document.querySelector('[name=condition]'), b = e.getBoundingClientRect(); return document.elementFromPoint(b.x + 9, b.y + b.height / 2) === e })()"))
	keep(t, ctx, "edit at 200 %")
	do(t, ctx, window(1280, 900, "light"))
	// What is typed waits while one looks elsewhere.
	do(t, ctx, fill("[name=condition]", "fair"), chromedp.Click("#tab-ask"), shown("#list li"), says(".toasts", "not saved yet"), chromedp.Click("#tab-edit"), until("document.querySelector('[name=condition]')?.value === 'fair'"))
	if value[bool](t, ctx, "dispatchEvent(new Event('beforeunload', { cancelable: true }))") {
		t.Error("the page may be left without a question")
	}
	// From a tree that is opened to its form, past a question about what is in hand.
	do(t, ctx, chromedp.Click("#tab-ask"), shown("#list li"), chromedp.Click("#list li button"), shown("#tree h2"), tap("#tree", "Correct it"), says("dialog[open]", "is not saved"),
		tap("dialog", "Stay here"), until("!document.querySelector('dialog[open]') && document.querySelector('[name=condition]').value === 'fair' && location.search.includes('trees%2F22')"),
		tap("#form", "Drop the changes"), version(2), until("document.querySelector('[name=condition]').value === ''"))
	if !value[bool](t, ctx, "dispatchEvent(new Event('beforeunload', { cancelable: true }))") {
		t.Error("the page asks where there is nothing to lose")
	}
}

// TestMapEditPlace draws a parking lot, corrects its shape, and picks it by a click.
func TestMapEditPlace(t *testing.T) {
	s := serve(t, editing)
	ctx, b := open(t)
	do(t, ctx, window(1280, 900, "light"))
	s.openEdit(t, ctx, "")
	do(t, ctx, tap("#edit", "Add a place"), shown("#form"), tap("#form", "Draw an area"))
	ring := [][2]float64{{700, 300}, {700, 500}, {1000, 500}, {1000, 300}} // as GeoJSON has outer rings, so that it stays
	for i, p := range ring {
		do(t, ctx, chromedp.MouseClickXY(p[0], p[1]), says("#form .place", fmt.Sprintf("%d corner", i+1)))
	}
	do(t, ctx, tap("#form", "Done drawing"), says("#form .place", "area of 4 corners"), fill("[name=kind]", "parking"), fill("[name=name]", "New lot"), fill("[name=stalls]", "12"), tap("#form", "Add it"), version(1))
	keep(t, ctx, "edit place")
	corner := func(n int) string {
		return fmt.Sprintf(`SELECT ST_PointN(ST_ExteriorRing(geometry), %d) FROM targets WHERE name = 'New lot'`, n)
	}
	for i, p := range ring {
		lon, lat := onEarth(t, ctx, p[0], p[1])
		s.wantAt(t, corner(i+1), lon, lat, 0.1)
	}
	if got := s.text(t, `SELECT kind, stalls, ST_NPoints(geometry), ST_IsValid(geometry) FROM targets WHERE name = 'New lot'`); got != "parking|12|5|t" {
		t.Error(got)
	}
	// The first corner is dragged, which closes the ring too; a new one is pulled out
	// of an edge.
	do(t, ctx, drag(700, 300, 650, 260)...)
	do(t, ctx, drag(1000, 400, 1060, 400)...)
	do(t, ctx, says("#form .place", "area of 5 corners"), tap("#form", "Save"), version(2))
	for n, p := range map[int][2]float64{1: {650, 260}, 3: {1000, 500}, 4: {1060, 400}, 5: {1000, 300}, 6: {650, 260}} {
		lon, lat := onEarth(t, ctx, p[0], p[1])
		s.wantAt(t, corner(n), lon, lat, 0.1)
	}
	// By buttons: the corner is taken out again.
	do(t, ctx, tap("#form", "Take it out"), says("#form .place", "area of 4 corners"), tap("#form", "Save"), version(3), tap("#form", "Close"), until("!document.querySelector('#form')"))
	if n := s.text(t, `SELECT ST_NPoints(geometry) FROM targets WHERE name = 'New lot'`); n != "5" {
		t.Error(n)
	}
	// The map shows it and picks it.
	do(t, ctx, until("Number(document.getElementById('map').dataset.targets) > 0"))
	for range 40 {
		do(t, ctx, chromedp.MouseClickXY(660, 280))
		if value[bool](t, ctx, "!!document.querySelector('#form') || document.querySelector('#edit').getAttribute('aria-busy') === 'true'") {
			break
		}
	}
	do(t, ctx, says("#edit h2", "New lot"))
	// Back to the first shape, to the digit.
	first := s.text(t, `SELECT before ->> 'geometry' FROM history WHERE collection = 'targets' AND version = 1`)
	do(t, ctx, tap("#log-of", "Put back to version 1"), version(4))
	if got := s.text(t, `SELECT geometry::text FROM targets WHERE name = 'New lot'`); got != first {
		t.Error(got, first)
	}
	do(t, ctx, chromedp.Click("#undo"), version(5))
	if got := s.text(t, `SELECT (SELECT geometry::text FROM targets WHERE name = 'New lot') = (SELECT before ->> 'geometry' FROM history WHERE collection = 'targets' AND version = 3)`); got != "t" {
		t.Error(got)
	}
	quiet(t, b)
}

// TestMapEditConflict meets a second writer, field by field, and one who deletes.
func TestMapEditConflict(t *testing.T) {
	s := serve(t, editing)
	ctx, _ := open(t)
	do(t, ctx, window(1280, 900, "light"))
	at := "/collections/trees/items/30"
	s.openEdit(t, ctx, "&edit.at=trees/30")
	do(t, ctx, version(1), fill("[name=height_m]", "9.5"), fill("[name=condition]", "poor"))
	s.send(t, "PATCH", at, mergePatch, `{"properties":{"height_m":11,"common_name":"oak"}}`).want(t, 200)
	do(t, ctx, tap("#form", "Save"), shown("dialog .both"))
	table := value[[]string](t, ctx, "[...document.querySelectorAll('dialog .both tbody tr')].map((r) => [...r.cells].map((c) => c.textContent.replace(/yours: |theirs: /, '').trim()).join('|'))")
	for _, want := range []string{"Height (m)|", "|9.5|11", "Common name|–|–|oak", "Condition|–|poor|–"} {
		if !strings.Contains(strings.Join(table, "\n"), want) {
			t.Errorf("no %s in %v", want, table)
		}
	}
	if got := s.text(t, `SELECT version, height_m FROM trees WHERE tree_id = 30`); got != "2|11" {
		t.Error(got)
	}
	keep(t, ctx, "edit conflict")
	// Theirs of the height, mine of the condition.
	do(t, ctx, chromedp.Evaluate[chromedp.Void]("document.querySelectorAll('[data-field=height_m] input')[1].click()"), tap("dialog", "Go on with these"),
		until("!document.querySelector('dialog[open]') && document.querySelector('[name=height_m]').value === '11'"), tap("#form", "Save"), version(3))
	if got := s.text(t, `SELECT height_m, condition, common_name FROM trees WHERE tree_id = 30`); got != "11|poor|oak" {
		t.Error(got)
	}
	// Somebody else has changed it again: what they did is not undone.
	s.send(t, "PATCH", at, mergePatch, `{"properties":{"condition":"good"}}`).want(t, 200)
	do(t, ctx, chromedp.Click("#undo"), says("#edit .trouble", "somebody has changed it since"))
	if got := s.text(t, `SELECT condition FROM trees WHERE tree_id = 30`); got != "good" {
		t.Error(got)
	}
	// And deleted.
	do(t, ctx, fill("[name=condition]", "fair"))
	s.send(t, "DELETE", at, "", "").want(t, 204)
	do(t, ctx, tap("#form", "Save"), says("dialog[open]", "was deleted"), tap("dialog", "Bring it back and go on"), until("!document.querySelector('dialog[open]') && document.querySelector('#edit').dataset.version === '5'"),
		tap("#form", "Save"), version(6))
	if got := s.text(t, `SELECT condition, height_m FROM trees WHERE tree_id = 30`); got != "fair|11" {
		t.Error(got)
	}
}

// TestMapEditKey asks for the key where the service does, and goes on with it.
func TestMapEditKey(t *testing.T) {
	s := serve(t, func(c *api.Config) {
		c.Edit, c.EditKeys = true, []api.EditKey{{Name: "Ana", Key: "a key of ana's own"}}
	})
	ctx, _ := open(t)
	do(t, ctx, window(1280, 900, "light"))
	s.openEdit(t, ctx, "&edit.at=trees/30")
	do(t, ctx, version(1), fill("[name=condition]", "poor"), tap("#form", "Save"), until("document.querySelector('dialog[open] [name=key]') || document.querySelector('#edit .trouble')"), shown("dialog [name=key]"), fill("dialog [name=key]", "no key at all, that"), tap("dialog", "Use it"),
		says("dialog[open]", "does not know this key"), fill("dialog [name=key]", "a key of ana's own"), tap("dialog", "Use it"), version(2), says("#log-of", "Ana changed it"))
	if got := s.text(t, `SELECT condition, changed_by FROM trees WHERE tree_id = 30`); got != "poor|Ana" {
		t.Error(got)
	}
	closed := serveOn(t, s, nil)
	do(t, ctx, chromedp.Navigate(closed.web.URL+"/map?v=edit"), says("#panel", "for reading only"))
}

// TestMapEditAccess lets axe look at each screen, and edits on a phone.
func TestMapEditAccess(t *testing.T) {
	checker := axe(t)
	s := serve(t, editing)
	ctx, _ := open(t)
	for _, c := range twoScreens {
		t.Run(c.name, func(t *testing.T) {
			screen := func(name string) {
				t.Helper()
				if value[bool](t, ctx, "document.documentElement.scrollWidth > innerWidth") {
					t.Errorf("%s: the page is wider than the window", name)
				}
				keep(t, ctx, name+" "+c.name)
				accessible(t, ctx, checker, name)
			}
			do(t, ctx, window(c.width, c.height, c.scheme), chromedp.Navigate("about:blank"))
			s.openEdit(t, ctx, "")
			screen("edit start")
			do(t, ctx, tap("#edit", "Add a place"), shown("#form"), tap("#form", "Draw an area"), tap("#form", "Corner at the middle"), says("#form .place", "1 corner"))
			screen("edit drawing")
			do(t, ctx, chromedp.Navigate("about:blank"))
			s.openEdit(t, ctx, "&edit.at=targets/1")
			do(t, ctx, shown("#log-of li"), fill("[name=stalls]", "many"), says("#form", "Stalls is many: expected a number, at least 0 and below 1,000,000,000"))
			screen("edit place with a fault")
			do(t, ctx, chromedp.Evaluate[chromedp.Void]("document.querySelector('#log-of summary').click(); document.querySelector('#log-of').scrollIntoView()"), shown("#log-of .changes"))
			screen("edit log")
			do(t, ctx, tap("#form", "Drop the changes"), says("#form .ends", "Close"), chromedp.Navigate("about:blank"))
			s.openEdit(t, ctx, "&edit.at=trees/40")
			do(t, ctx, shown("#log-of li"), fill("[name=condition]", "mine "+c.name))
			s.send(t, "PATCH", "/collections/trees/items/40", mergePatch, fmt.Sprintf(`{"properties":{"condition":%q}}`, "theirs "+c.name)).want(t, 200)
			do(t, ctx, tap("#form", "Save"), shown("dialog .both"))
			screen("edit conflict")
			do(t, ctx, tap("dialog", "Go on with these"), tap("#form", "Save"), until("document.querySelector('.toasts')?.textContent.includes('is saved')"))
			if got := s.text(t, `SELECT condition FROM trees WHERE tree_id = 40`); got != "mine "+c.name {
				t.Error(got)
			}
		})
	}
}
