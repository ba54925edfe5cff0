//go:build clients

package api_test

import (
	"context"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"github.com/underbough/underbough/api"
)

// drop lets a file fall onto the view, as a hand does.
func drop(name, text string) chromedp.Action[chromedp.Void] {
	return chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`(() => {
		const d = new DataTransfer()
		d.items.add(new File([%q], %q))
		const at = document.querySelector('.load')
		for (const kind of ['dragover', 'drop']) at.dispatchEvent(new DragEvent(kind, { dataTransfer: d, bubbles: true, cancelable: true }))
	})()`, text, name))
}

// fillIn sets a field of the page by its label, as typing or choosing does.
func fillIn(label, v string) chromedp.Action[chromedp.Void] {
	return chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`(() => {
		const of = %q
		const l = [...document.querySelectorAll('#load label')].find((l) => l.textContent.trim() === of)
		const e = document.querySelector('#load [aria-label=' + JSON.stringify(of) + ']') ?? (l.htmlFor ? document.getElementById(l.htmlFor) : l.querySelector('input, select'))
		e.value = %q
		for (const kind of ['input', 'change']) e.dispatchEvent(new Event(kind, { bubbles: true }))
	})()`, label, v))
}

// pushed clicks a button by its words, or by how they begin.
func pushed(words string) chromedp.Action[chromedp.Void] {
	return func(ctx context.Context, target *chromedp.Target) (none chromedp.Void, err error) {
		find := fmt.Sprintf("[...document.querySelectorAll('#load button')].find((b) => (b.ariaLabel ?? b.textContent).startsWith(%q) && !b.disabled)", words)
		if none, err = until(find)(ctx, target); err != nil {
			return none, err
		}
		return chromedp.Evaluate[chromedp.Void](find+".click()")(ctx, target)
	}
}

const (
	summed = "document.querySelector('.run .sums')?.dataset.counts"
	// orchard is six records as of nursery, whose names do not tell the unit of the
	// diameter; one word of its status is none of ours.
	orchard = "Tree Id,Species,Diameter,State,Longitude,Latitude\n" +
		"o1,Malus domestica,12,alive,25.2801,54.6801\n" +
		"o2,Pyrus communis,900,alive,25.2802,54.6802\n" +
		"o3,Prunus avium,8.5,gone dry,25.2803,54.6803\n" +
		"o1,Prunus domestica,4,alive,25.2804,54.6804\n" +
		"o5,Malus sylvestris,7,alive,0,0\n" +
		"o6,Juglans regia,6,alive,25.2806,54.6806\n"
)

// TestMapImport drops a file with rows that are at fault, maps it, tries it, loads
// it, corrects what was held, and finds all of it on the map.
func TestMapImport(t *testing.T) {
	checker := axe(t)
	s := serve(t, takesFiles(t))
	s.run(t)
	ctx, b := open(t)
	do(t, ctx, window(1280, 800, "light"), chromedp.Navigate(s.web.URL+"/map?v=import"), shown(".drop"))
	// Nothing but a file is needed to begin, and what cannot be read says why.
	do(t, ctx, drop("picture.zip", "PK\x03\x04"), until("document.querySelector('.load .trouble')?.textContent.includes('unpack it first')"), shown(".drop"),
		drop("random.csv", "\x93\x01\x00\x02q\xfe,\x00"), until("/This is not a table|this is not a table/.test(document.querySelector('.load .trouble')?.textContent)"), shown(".drop"),
		drop("none.csv", ""), until("document.querySelector('.load .trouble')?.textContent.includes('the file is empty')"), shown(".drop"),
		drop("orchard.csv", orchard), shown(".columns-table"))
	if role := value[string](t, ctx, "document.querySelector('#load select').value"); role != "trees" {
		t.Errorf("%s are proposed", role)
	}
	for column, want := range map[string]string{"Tree Id": "source_id", "Species": "species", "Diameter": ""} {
		if got := value[string](t, ctx, fmt.Sprintf("document.querySelector('[data-column=\"%s\"] select').value", column)); got != want {
			t.Errorf("%s is proposed as %q, expected %q", column, got, want)
		}
	}
	if marks := value[int](t, ctx, "document.querySelectorAll('.proposed').length"); marks != 2 {
		t.Errorf("%d columns are marked as proposed", marks)
	}
	// The figure's unit is asked for, and nothing is read without it.
	do(t, ctx, pushed("Read it so"), until("document.querySelector('.lacks')?.textContent.includes('the unit of Diameter')"),
		until("[...document.querySelectorAll('.go button')].every((b) => b.disabled)"))
	keep(t, ctx, "import mapping desktop light")
	accessible(t, ctx, checker, "mapping")
	// A field that a column has is offered to the others, and goes to who takes it.
	do(t, ctx, until("[...document.querySelectorAll('[data-column=State] option')].some((o) => o.textContent === 'species (taken from Species)')"),
		fillIn("State is read as", "species"), until("document.querySelector('[data-column=Species] select').value === ''"), fillIn("Species is read as", "species"))
	do(t, ctx, fillIn("Unit of Diameter", "in"), fillIn("State is read as", "status"), until("!document.querySelector('.lacks')"))
	do(t, ctx, chromedp.Evaluate[chromedp.Void](`(() => { const e = document.querySelector('.word select'); e.value = 'dead'; e.dispatchEvent(new Event('change', { bubbles: true })) })()`),
		until("document.querySelector('[data-column=State]').textContent.includes('“gone dry” means dead')"))
	do(t, ctx, fillIn("Site", "\u0000"), shown("#zones + *, input[list=zones]"), fillIn("Name of the new site", "Orchard"), fillIn("Its time zone", "Europe/Vilnius"))

	before := s.count(t, `SELECT (SELECT count(*) FROM trees), (SELECT count(*) FROM sites)`)
	do(t, ctx, pushed("Try"), until(summed+" === '6,3,0,0,0,3'"), until("document.querySelectorAll('.problems tbody tr').length === 3"))
	if now := s.count(t, `SELECT (SELECT count(*) FROM trees), (SELECT count(*) FROM sites)`); now != before {
		t.Errorf("the try left %s, before it was %s", now, before)
	}
	for _, c := range screens {
		do(t, ctx, window(c.width, c.height, c.scheme), chromedp.Sleep(200*time.Millisecond))
		keep(t, ctx, "import tried "+c.name)
		accessible(t, ctx, checker, "tried, "+c.name)
		if value[bool](t, ctx, "document.documentElement.scrollWidth > innerWidth") {
			t.Errorf("%s: the page is wider than the window", c.name)
		}
	}
	do(t, ctx, window(1280, 800, "light"), pushed("Load"), until("document.querySelector('.run h3')?.textContent.startsWith('Loaded')"), until(summed+" === '6,3,0,0,0,3'"))
	if got := s.count(t, `SELECT string_agg(source_id || '=' || round(dbh_m::numeric, 4) || ' ' || status, ', ' ORDER BY source_id) FROM trees JOIN sites USING (client_id, site_id) WHERE name = 'Orchard' AND time_zone = 'Europe/Vilnius'`); got != "o1=0.3048 alive, o3=0.2159 dead, o6=0.1524 alive" {
		t.Error(got)
	}
	keep(t, ctx, "import loaded desktop light")

	// What was held is corrected where it stands.
	do(t, ctx, pushed("Correct the 3 held rows"), until("document.querySelectorAll('.held-rows tbody tr').length === 3"))
	for _, c := range screens {
		do(t, ctx, window(c.width, c.height, c.scheme), chromedp.Sleep(200*time.Millisecond))
		keep(t, ctx, "import held "+c.name)
		accessible(t, ctx, checker, "held rows, "+c.name)
		if value[bool](t, ctx, "document.documentElement.scrollWidth > innerWidth") {
			t.Errorf("%s: the page is wider than the window", c.name)
		}
	}
	do(t, ctx, window(1280, 800, "light"))
	fault := value[[]string](t, ctx, "[...document.querySelectorAll('.held-rows .fault')].map((l) => l.firstChild.textContent + l.querySelector('input').value)")
	if want := []string{"Diameter at fault900", "Tree Id at faulto1", "Longitude at fault0", "Latitude at fault0"}; strings.Join(fault, ";") != strings.Join(want, ";") {
		t.Errorf("at fault: %q", fault)
	}
	typed := func(row int, column, v string) chromedp.Action[chromedp.Void] {
		return chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`(() => { const e = [...document.querySelectorAll('.held-rows tbody tr:nth-child(%d) .fault')].find((l) => l.firstChild.textContent.startsWith(%q)).querySelector('input'); e.value = %q; e.dispatchEvent(new Event('input', { bubbles: true })) })()`, row, column, v))
	}
	do(t, ctx, typed(1, "Diameter", "9"), pushed("Read again: record 2"), until("document.querySelectorAll('.held-rows tbody tr').length === 2"), until("document.querySelector('.held > [role=status]').textContent.includes('1 added')"),
		typed(1, "Tree Id", "o4"), until("[...document.querySelectorAll('.held button')].some((b) => b.textContent === 'Read the 1 corrected row again')"), pushed("Read the 1 corrected row again"),
		until("document.querySelectorAll('.held-rows tbody tr').length === 1"), pushed("Dismiss: record 5"), until("document.querySelector('.held > [role=status]').textContent.includes('Nothing is held')"))
	if got := s.count(t, `SELECT string_agg(source_id, ' ' ORDER BY source_id) || ' ' || (SELECT string_agg(state, ' ' ORDER BY record) FROM quarantine) FROM trees JOIN sites USING (client_id, site_id) WHERE name = 'Orchard'`); got != "o1 o2 o3 o4 o6 readmitted readmitted dropped" {
		t.Error(got)
	}
	// From the file's end to the map.
	do(t, ctx, chromedp.Evaluate[chromedp.Void]("document.getElementById('tab-file').click()"), pushed("See them on the map"), shown("#list li"), until("location.search.includes('site=Orchard')"),
		until("document.getElementById('status').textContent.includes('5 trees')"), drawn("trees", 3))
	keep(t, ctx, "import seen on the map")
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, line := range b.trouble {
		if !strings.Contains(line, "400 (Bad Request)") && !strings.Contains(line, "404 (Not Found)") { // which were asked for
			t.Errorf("the page says: %s", line)
		}
	}
}

// TestMapImportChosen chooses a file by the keys, watches a load that waits, stops
// it, and is told when the service has gone meanwhile.
func TestMapImportChosen(t *testing.T) {
	const key = "0123456789abcdef"
	s := serve(t, func(c *api.Config) {
		takesFiles(t)(c)
		c.EditKeys = []api.EditKey{{Name: "Ruta", Key: key}}
	})
	s.run(t)
	path := filepath.Join(t.TempDir(), "nursery.csv")
	if err := os.WriteFile(path, []byte(nursery), 0o644); err != nil {
		t.Fatal(err)
	}
	ctx, _ := open(t)
	pick := chromedp.SetUploadFiles("#choose", []string{path})
	do(t, ctx, window(390, 844, "light"), chromedp.Navigate(s.web.URL+"/map?v=import"), shown(".drop"), pick,
		// The key is asked for, once.
		until("document.querySelector('.load input[type=password]')"),
		chromedp.Evaluate[chromedp.Void](`(() => { const e = document.querySelector('.load input[type=password]'); e.value = '`+key+`'; e.form.requestSubmit() })()`),
		shown(".drop"), pick, shown(".columns-table"))
	keep(t, ctx, "import chosen phone light")
	other := s.beginOther(t)
	do(t, ctx, pushed("Load"), until("document.querySelector('.run progress')"), until("document.querySelector('.run [role=status]')?.textContent.includes('so far')"))
	keep(t, ctx, "import waits phone light")
	do(t, ctx, pushed("Stop"), until("document.querySelector('.run h3')?.textContent.includes('nothing has changed')"))
	// The service ends and is there again, and knows nothing of the file.
	do(t, ctx, pushed("Load"), until("document.querySelector('.run progress')"))
	s.server.Close()
	do(t, ctx, until("document.querySelector('.load .trouble')?.textContent.includes('started again')"), shown(".drop"))
	other.Abort()
	if got := s.count(t, `SELECT count(*) FROM trees WHERE source_id LIKE 'n%'`); got != "0" {
		t.Errorf("%s trees are there", got)
	}
}

// TestMapImportReadOnly tells that a service takes no files.
func TestMapImportReadOnly(t *testing.T) {
	s := serve(t, nil)
	ctx, _ := open(t)
	do(t, ctx, window(1280, 800, "light"), chromedp.Navigate(s.web.URL+"/map?v=import"), until("document.querySelector('#load')?.textContent.includes('reading only') && !document.querySelector('.drop')"))
	if r := s.send(t, http.MethodPost, "/imports?name=a.csv", "text/csv", nursery); r.status != 404 {
		t.Error(r.status)
	}
}
