//go:build clients

package api_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// TestMapPlan plans a programme from nothing on the page, proposes it, puts a tree
// in that was left out, adds a job by hand and says that it cannot wait.
func TestMapPlan(t *testing.T) {
	checker := axe(t)
	s := serve(t, editing)
	ctx, b := open(t)
	do(t, ctx, window(1280, 900, "light"), chromedp.Navigate(s.web.URL+"/map?v=work"), until("document.querySelector('#work').textContent.includes('No programme has been kept')"),
		press("#work", "Plan one…"), shown("#plan"))
	accessible(t, ctx, checker, "plan")
	keep(t, ctx, "plan")
	// A budget that is none is told of before anything is sent.
	do(t, ctx, choose("#plan .by input", "Planner"), choose("#plan [name=from]", "2027-01-01"), choose("#plan [name=years]", "3"), choose("#plan [name=budget]", "10 20"), press("#plan", "Work it out and keep it"),
		until("document.querySelector('#plan [role=alert]')?.textContent.includes('3 figures')"))
	do(t, ctx, choose("#plan [name=budget]", "30 20 20"), choose("#plan [name=name]", "Small"), press("#plan", "Work it out and keep it"), shown("#packages .card"), until("!document.querySelector('dialog[open]')"))
	made := s.json(t, "/programmes/1")
	if q := made["question"].(object); made["name"] != "Small" || made["made_by"] != "Planner" || fmt.Sprint(q["budget"]) != "[30 20 20]" || q["measure"] != "hours" || made["proposed_at"] != nil {
		t.Fatalf("kept: %v", made)
	}

	// A tree that was left out is put into the second year.
	out := s.json(t, "/programmes/1/items?planned=false&limit=100")
	items := objects(out["items"])
	if all, in := s.json(t, "/programmes/1/items?limit=1"), s.json(t, "/programmes/1/items?planned=true&limit=1"); len(items) == 0 || out["numberMatched"].(float64)+in["numberMatched"].(float64) != all["numberMatched"] {
		t.Fatalf("%v are left out, %v planned, of %v", out["numberMatched"], in["numberMatched"], all["numberMatched"])
	}
	for _, i := range items {
		if i["first_year"] != nil {
			t.Errorf("%v is not left out", i["tag"])
		}
	}
	tag := items[0]["tag"].(string)
	put := fmt.Sprintf("#put-%v", items[0]["tree_id"])
	do(t, ctx, chromedp.Evaluate[chromedp.Void]("document.querySelector('#left-out summary').click()"), shown(put), choose(put, "2028"), shown(".by input"))
	if said := value[string](t, ctx, "document.querySelector('.moves [role=status]').textContent"); !strings.HasPrefix(said, "1 tree that was left out") {
		t.Errorf("the page says %q", said)
	}
	accessible(t, ctx, checker, "left out")
	keep(t, ctx, "left out")
	do(t, ctx, press("#work", "Work out again with these moves"), until("location.search.includes('work.programme=2')"), shown("#packages .card"))
	again := s.json(t, "/programmes/2")
	if pins := objects(again["question"].(object)["pins"]); len(pins) != 1 || pins[0]["tag"] != tag || pins[0]["year"] != 2028.0 {
		t.Errorf("pins %v, expected %s in 2028", pins, tag)
	}

	// Its jobs are proposed once.
	do(t, ctx, chromedp.Click("#propose"), press("#work", "Propose"), until("!document.querySelector('#propose') && !document.querySelector('[aria-label=\"Propose its jobs\"]')"))
	jobs := s.json(t, "/jobs?programme=2&limit=1000")
	if n := len(objects(jobs["jobs"])); n == 0 || s.json(t, "/programmes/2")["proposed_at"] == nil {
		t.Fatalf("%v jobs of programme 2", n)
	}

	// A job by hand, of a tree that has none: what the service refuses is said.
	do(t, ctx, chromedp.Evaluate[chromedp.Void]("document.querySelector('#tab-jobs').click()"), shown("#jobs .card"), press("#work", "Add a job…"), shown("#add-job"),
		choose("#add-job [name=tag]", "no such tree"), press("#add-job", "Add it"), until("document.querySelector('#add-job [role=alert]')?.textContent.includes('no such tree')"))
	accessible(t, ctx, checker, "add a job")
	free := ""
	for _, i := range objects(s.json(t, "/programmes/2/items?planned=false&limit=100")["items"]) {
		free = i["tag"].(string)
	}
	do(t, ctx, choose("#add-job [name=tag]", free), choose("#add-job [name=year]", "2029"), press("#add-job", "Add it"), until("document.querySelector('#job')?.textContent.includes('What to do')"))
	// It cannot wait.
	do(t, ctx, chromedp.Evaluate[chromedp.Void]("[...document.querySelectorAll('#job summary')].find((s) => s.textContent === 'It cannot wait').click()"), shown("#urgent input"),
		chromedp.Evaluate[chromedp.Void]("(() => { const e = document.querySelector('#urgent input'); e.value = 'a split over the path'; e.dispatchEvent(new Event('input', { bubbles: true })) })()"),
		press("#urgent", "Mark it urgent"), until("!document.querySelector('#urgent')"))
	hand := objects(s.json(t, "/jobs?tag="+free)["jobs"])
	if len(hand) != 1 || hand[0]["urgent"] != true || hand[0]["year"] != 2029.0 || hand[0]["state"] != "proposed" {
		t.Errorf("by hand: %v", hand)
	}
	// What was told lies above the dialog: both are on top of all else, it came later.
	do(t, ctx, until("document.querySelector('.toasts').matches(':popover-open') && document.querySelector('.toasts').textContent.includes('is urgent')"))
	keep(t, ctx, "urgent")
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, line := range b.trouble {
		if !strings.Contains(line, "the server responded with a status of 4") {
			t.Errorf("the page says: %s", line)
		}
	}
}
