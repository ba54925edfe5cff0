//go:build clients

package api_test

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// choose sets a select as a person does.
func choose(selector, v string) chromedp.Action[chromedp.Void] {
	return chromedp.Evaluate[chromedp.Void](fmt.Sprintf("(() => { const s = document.querySelector(%q); s.focus(); s.value = %q; s.dispatchEvent(new Event('change', { bubbles: true })) })()", selector, v))
}

// press clicks the button with these words within an element.
func press(within, words string) chromedp.Action[chromedp.Void] {
	return chromedp.Evaluate[chromedp.Void](fmt.Sprintf("[...document.querySelectorAll(%q + ' button')].find((b) => b.textContent.trim() === %q).click()", within, words))
}

// harmLeft is the row of the page that says what is left of harm, by year.
func harmLeft(t *testing.T, ctx context.Context) []float64 {
	t.Helper()
	return value[[]float64](t, ctx, "[...document.querySelectorAll('#years [data-row=harm] td')].map((d) => Number(d.title))")
}

func row(t *testing.T, ctx context.Context, name string) []string {
	t.Helper()
	return value[[]string](t, ctx, fmt.Sprintf("[...[...document.querySelectorAll('#years tr')].find((r) => r.cells[0].textContent === %q).cells].slice(1).map((d) => d.textContent)", name))
}

// TestMapProgramme reads a programme on the page, moves a tree into another year,
// by its select and by a drag, and back.
func TestMapProgramme(t *testing.T) {
	s := serve(t, editing)
	made, _ := s.planned(t)
	years := objects(made["years"])
	ctx, b := open(t)
	do(t, ctx, window(1280, 900, "light"), chromedp.Navigate(s.web.URL+"/map?v=work"), shown("#packages .card"))
	// The page's figures are the service's.
	before := harmLeft(t, ctx)
	if len(before) != len(years) {
		t.Fatalf("%d years are shown, expected %d", len(before), len(years))
	}
	trees, packages := row(t, ctx, "trees begun"), row(t, ctx, "packages")
	for k, y := range years {
		if before[k] != y["harm_index_left"].(float64) || trees[k] != fmt.Sprint(y["trees"]) || packages[k] != fmt.Sprint(y["packages"]) {
			t.Errorf("%v: the page says %v, %s trees, %s packages; the service %v, %v, %v", y["year"], before[k], trees[k], packages[k], y["harm_index_left"], y["trees"], y["packages"])
		}
	}
	if value[bool](t, ctx, "!!document.querySelector('#work [role=alert]')") {
		t.Error("the page warns: ", value[string](t, ctx, "document.querySelector('#work [role=alert]').textContent"))
	}

	// A tree of the first year, of several visits, goes into the second: what is taken
	// off waits.
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`document.querySelectorAll('[data-year="2027"] .card-head').forEach((b) => b.click())`), shown(`[data-year="2027"] li[draggable=true]`))
	tree := ""
	for _, i := range objects(s.json(t, fmt.Sprintf("/programmes/%v/items?year=2027", made["programme_id"]))["items"]) {
		if visits := objects(i["visits"]); tree == "" && i["first_year"] == 2027.0 && len(visits) > 1 && visits[0]["takes_off"].(float64) > 0 {
			tree = fmt.Sprint(i["tree_id"])
		}
	}
	move := "#move-" + tree
	do(t, ctx, chromedp.Focus(move), choose(move, "2028"), shown(`[data-year="2028"] `+move), until(fmt.Sprintf("document.activeElement.id === 'move-%s'", tree)))
	after, begun := harmLeft(t, ctx), row(t, ctx, "trees begun")
	if begun[0] == trees[0] || begun[1] == trees[1] || begun[2] != trees[2] {
		t.Errorf("begun %v became %v", trees, begun)
	}
	// Against the service: the same trees, each put where it is by now, within what
	// the page says that they use.
	used := value[[]float64](t, ctx, "[...document.querySelectorAll('#years [data-row=used] td')].map((d) => Number(d.title))")
	want := s.pinned(t, made, tree, 2028, used)
	for k, y := range want {
		left, spent := y["harm_index_left"].(float64), y["used"].(float64)
		if math.Abs(after[k]-left) > 1e-9*before[k] || math.Abs(used[k]-spent) > 1e-9*spent {
			t.Errorf("%v: the page says a harm index of %v is left and %v used, the service %v and %v", y["year"], after[k], used[k], left, spent)
		}
	}
	more := 0.0 // used in the year where that grew most
	for k, y := range years {
		more = max(more, used[k]-y["used"].(float64))
	}
	if less := years[0]["used"].(float64) - used[0]; less < 0.1 || more < 0.1 || after[0] <= before[0] || after[1] <= before[1] {
		t.Errorf("the first year uses %v less and another %v more; %v is left, before the move %v", less, more, after, before)
	}
	keep(t, ctx, "programme moved")
	do(t, ctx, press("#work", "Undo"), until("document.querySelector('#undo').disabled"))
	if again := harmLeft(t, ctx); fmt.Sprint(again) != fmt.Sprint(before) || fmt.Sprint(row(t, ctx, "trees begun")) != fmt.Sprint(trees) {
		t.Errorf("undone: %v, expected %v", again, before)
	}

	// The same by a drag.
	do(t, ctx, shown(`[data-year="2027"] `+move), chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`(() => {
		const data = new DataTransfer(), fire = (e, kind) => e.dispatchEvent(new DragEvent(kind, { bubbles: true, cancelable: true, dataTransfer: data }))
		const to = document.querySelector('[data-year="2028"]')
		fire(document.querySelector('[data-year="2027"] li[data-tree="%s"]'), 'dragstart'); fire(to, 'dragover'); fire(to, 'drop')
	})()`, tree)), shown(`[data-year="2028"] `+move))
	if again := harmLeft(t, ctx); fmt.Sprint(again) != fmt.Sprint(after) {
		t.Errorf("dragged: %v, expected %v", again, after)
	}

	// What is moved stays while one looks at the jobs, and is told of.
	do(t, ctx, chromedp.Evaluate[chromedp.Void]("document.querySelector('#tab-jobs').click()"), shown("#jobs"), chromedp.Evaluate[chromedp.Void]("document.querySelector('#tab-programme').click()"), shown("#packages .card"),
		until("document.querySelector('.toasts').textContent.includes('1 tree moved; nothing is kept yet')"))
	if again := harmLeft(t, ctx); fmt.Sprint(again) != fmt.Sprint(after) {
		t.Errorf("back from the jobs: %v, expected %v", again, after)
	}

	// Worked out again, it is a programme of its own.
	do(t, ctx, shown(".by input"), choose(".by input", "Planner"), press("#work", "Work out again with these moves"), until("location.search.includes('work.programme=2')"), shown("#packages .card"))
	kept := s.json(t, "/programmes/2")
	pins := objects(kept["question"].(object)["pins"])
	if len(pins) != 1 || pins[0]["year"] != 2028.0 || kept["made_by"] != "Planner" {
		t.Errorf("pins %v by %v", pins, kept["made_by"])
	}
	quiet(t, b)
}

// pinned is a programme's years as the service works them out with every tree put in
// its year, but one in another, and no room for more.
func (s *service) pinned(t *testing.T, made object, tree string, year int, budget []float64) []object {
	t.Helper()
	var pins []object
	for _, i := range objects(s.json(t, fmt.Sprintf("/programmes/%v/items?limit=10000", made["programme_id"]))["items"]) {
		to, planned := i["first_year"].(float64)
		if !planned {
			continue
		}
		if fmt.Sprint(i["tree_id"]) == tree {
			to = float64(year)
		}
		pins = append(pins, object{"tag": i["tag"], "year": to})
	}
	body, err := json.Marshal(object{"by": "Planner", "keep": false, "from": "2027-01-01", "years": len(budget), "measure": "hours", "budget": budget, "pins": pins})
	if err != nil {
		t.Fatal(err)
	}
	planned := s.post(t, "/programmes", string(body), 200)
	if planned["planned"] != made["planned"] {
		t.Fatalf("%v trees are planned, expected %v", planned["planned"], made["planned"])
	}
	return objects(planned["years"])
}

// quiet fails for what the page said went wrong.
func quiet(t *testing.T, b *browser) {
	t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, line := range b.trouble {
		t.Errorf("the page says: %s", line)
	}
}

// TestMapJob takes a job from the proposal to what the crew did, and one step that
// somebody else has taken before.
func TestMapJob(t *testing.T) {
	s := serve(t, editing)
	_, jobs := s.planned(t)
	j := first(t, jobs, "restoration")
	id := fmt.Sprint(j["job_id"])
	ctx, b := open(t)
	do(t, ctx, window(1280, 900, "light"), chromedp.Navigate(s.web.URL+"/map?v=work&work.screen=jobs&work.jobs_year="+fmt.Sprint(j["year"])), shown("#job-"+id))
	if n, want := value[string](t, ctx, "document.querySelector('[data-state=proposed] h3 .soft').textContent"), len(objects(s.json(t, fmt.Sprintf("/jobs?state=proposed&limit=1000&year=%v", j["year"]))["jobs"])); n != strconv.Itoa(want) {
		t.Errorf("%s jobs are proposed, expected %d", n, want)
	}
	do(t, ctx, chromedp.Focus("#job-"+id), chromedp.KeyEvent("\r"), shown("#job [data-to=approved]"))
	if said := value[string](t, ctx, "document.querySelector('#job').textContent"); !strings.Contains(said, "visit 1 of") || !strings.Contains(said, fmt.Sprint(j["open_days"])) {
		t.Errorf("the job says %q", said)
	}
	do(t, ctx, choose("#job .by input", "Owner"))
	// Somebody settles a gate meanwhile: the page says so, and the next try goes.
	gates := objects(j["gates"])
	settle, _ := json.Marshal(object{"name": gates[0]["name"], "reference": "P-1", "by": "Office"})
	s.post(t, at(j)+"/gates", string(settle), 200)
	do(t, ctx, press("#job", "Approve"), until("document.querySelector('#job')?.textContent.includes('has changed since you opened it')"),
		until(fmt.Sprintf("document.querySelector('#job').textContent.includes(%q)", gates[0]["name"].(string)+" is settled")))
	do(t, ctx, press("#job", "Approve"), shown("#job[data-state=approved]"))
	for _, g := range gates[1:] {
		within := fmt.Sprintf("#job [data-gate=%q]", g["name"])
		do(t, ctx, chromedp.Evaluate[chromedp.Void](fmt.Sprintf("document.querySelector(%q + ' input').value = 'P-77'", within)), press(within, "Settle"),
			until(fmt.Sprintf("document.querySelector(%q).textContent.includes('P-77')", within)))
	}
	do(t, ctx, press("#job", "Take in hand"), shown("#completion"))
	keep(t, ctx, "job in hand")
	type_ := func(selector, text string) chromedp.Action[chromedp.Void] {
		return chromedp.Evaluate[chromedp.Void](fmt.Sprintf("(() => { const e = document.querySelector(%q); e.value = %q; e.dispatchEvent(new Event('input', { bubbles: true })) })()", selector, text))
	}
	do(t, ctx, type_("#completion [name=on]", today.Format(time.DateOnly)), type_("#completion [name=hours]", "2.5"), type_("#completion [name=dose]", "2"),
		press("#completion", "Add a cut"), shown("#completion [name=diameter_cm]"), type_("#completion [name=diameter_cm]", "9"), type_("#completion [name=stub_length_cm]", "12"), type_("#completion [name=note]", "dry"),
		// A picture, as a file that was chosen.
		chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`(() => {
			const d = new DataTransfer(), e = document.querySelector('#completion [type=file]')
			d.items.add(new File([Uint8Array.from(atob(%q), (c) => c.charCodeAt(0))], 'before.png', { type: 'image/png' }))
			e.files = d.files; e.dispatchEvent(new Event('change', { bubbles: true }))
		})()`, base64.StdEncoding.EncodeToString([]byte(pngPhoto)))),
		press("#completion", "Something otherwise than specified"), shown("#completion .cut:nth-of-type(2)"),
		chromedp.Evaluate[chromedp.Void]("[...document.querySelectorAll('#completion .cut:nth-of-type(2) input')].forEach((e, k) => { e.value = ['in a closed window', 'agreed with the city'][k]; e.dispatchEvent(new Event('input', { bubbles: true })) })"),
		press("#completion", "Record as done"), shown("#job[data-state=done]"), shown("#completed .trouble"), shown(".photos img"))
	// The stub is a defect, and is shown at once.
	if said := value[string](t, ctx, "document.querySelector('#completed .trouble').textContent"); !strings.Contains(said, "12.0 cm") {
		t.Errorf("the defects: %q", said)
	}
	keep(t, ctx, "job done")
	done := s.json(t, at(j))
	c := done["completion"].(object)
	if done["state"] != "done" || c["by"] != "Owner" || c["hours"] != 2.5 || c["dose"] != 0.02 || c["note"] != "dry" || len(objects(done["photos"])) != 1 || objects(c["cuts"])[0]["stub_length_m"] != 0.12 {
		t.Errorf("%v: %v, %v", done["state"], c, done["photos"])
	}
	// Whoever did it cannot check it; somebody else sends it back with a reason.
	do(t, ctx, press("#job", "Send back"), until("document.querySelector('#job [role=alert]')?.textContent.includes('reason')"),
		choose("#job .by input", "Inspector"), type_("#next ~ .field input", "cut the stub back"), press("#job", "Send back"), shown("#job[data-state='in hand']"))
	do(t, ctx, chromedp.KeyEvent(kb.Escape), until("!document.querySelector('dialog[open]')"), until("document.activeElement.id === 'job-"+id+"'"))
	// The browser's log names each answer that refuses a step; nothing else went wrong.
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, line := range b.trouble {
		if !strings.Contains(line, "the server responded with a status of 4") {
			t.Errorf("the page says: %s", line)
		}
	}
}

// TestMapWorkReadOnly tells whoever cannot plan here why.
func TestMapWorkReadOnly(t *testing.T) {
	s := serve(t, editing)
	_, jobs := s.planned(t)
	late := serveOn(t, s, nil)
	ctx, _ := open(t)
	do(t, ctx, window(1280, 900, "light"), chromedp.Navigate(late.web.URL+fmt.Sprintf("/map?v=work&work.screen=jobs&work.jobs_year=all&as_of=2026-01-01&work.job=%v", jobs[0]["job_id"])), shown("#job"),
		until("document.querySelector('#work').textContent.includes('for reading only')"), shown("#jobs .card"))
	if n := value[int](t, ctx, "[...document.querySelectorAll('#job button, #job summary, #work > .row button')].filter((b) => /Settle|Approve|Withdraw|cannot wait|Add a job/.test(b.textContent)).length"); n != 0 {
		t.Errorf("%d ways to change are offered where nothing can be changed", n)
	}
	// What is past is not shown here, and that is said.
	if said := value[string](t, ctx, "document.querySelector('#work').textContent"); !strings.Contains(said, "as they are now, not as of 2026-01-01") || !strings.Contains(said, "not settled yet: ") {
		t.Errorf("the jobs say %.400q", said)
	}
	keep(t, ctx, "reading only")
}

// TestMapWorkAccess lets axe look at the programme, the jobs and a job.
func TestMapWorkAccess(t *testing.T) {
	checker := axe(t)
	s := serve(t, editing)
	_, jobs := s.planned(t)
	j := first(t, jobs, "restoration")
	s.inHand(t, j)
	ctx, _ := open(t)
	for _, c := range screens {
		t.Run(c.name, func(t *testing.T) {
			do(t, ctx, window(c.width, c.height, c.scheme), chromedp.Navigate(s.web.URL+"/map?v=work"), shown("#packages .chosen .card"),
				chromedp.Evaluate[chromedp.Void]("document.querySelector('#packages .chosen .card-head').click()"), shown("#packages li select"), chromedp.Sleep(200*time.Millisecond))
			if value[bool](t, ctx, "document.documentElement.scrollWidth > innerWidth") {
				t.Error("the page is wider than the window")
			}
			keep(t, ctx, "programme "+c.name)
			accessible(t, ctx, checker, "programme")
			do(t, ctx, chromedp.Navigate(s.web.URL+"/map?v=work&work.screen=jobs&work.state=proposed"), shown("#jobs .chosen .card"), chromedp.Sleep(200*time.Millisecond))
			if value[bool](t, ctx, "document.documentElement.scrollWidth > innerWidth") {
				t.Error("the page is wider than the window")
			}
			keep(t, ctx, "jobs "+c.name)
			accessible(t, ctx, checker, "jobs")
			do(t, ctx, chromedp.Navigate(s.web.URL+fmt.Sprintf("/map?v=work&work.screen=jobs&work.job=%v", j["job_id"])), shown("#completion"), chromedp.Sleep(200*time.Millisecond))
			keep(t, ctx, "job "+c.name)
			accessible(t, ctx, checker, "job")
		})
	}
}
