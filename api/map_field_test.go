//go:build clients

package api_test

import (
	"context"
	"encoding/base64"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	control "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// field is a service that is stopped and started again at one address, over one
// database.
type field struct {
	*service
	address string
	posts   atomic.Int32 // of completions
	lose    atomic.Bool  // the next answer to a completion gets lost
}

// clocked edits by the clock: a device says when it was where.
func clocked(c *api.Config) { editing(c); c.Now = time.Now }

func inField(t *testing.T) *field {
	t.Helper()
	f := &field{service: serve(t, clocked)}
	f.start(t)
	return f
}

// start starts the service; what it held open of the database before is gone.
func (f *field) start(t *testing.T) {
	t.Helper()
	db, err := postgres.Open(t.Context(), f.url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(db.Close)
	f.db = db
	f.service = serveOn(t, f.service, clocked)
	f.web.Close()
	address := "127.0.0.1:0"
	if f.address != "" {
		address = f.address
	}
	var l net.Listener
	for range 50 { // what is left of connections may hold it for a moment
		if l, err = net.Listen("tcp", address); err == nil {
			break
		}
		time.Sleep(100 * time.Millisecond)
	}
	if err != nil {
		t.Fatal(err)
	}
	f.address = l.Addr().String()
	inner := f.server.Handler()
	f.web = httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodPost && strings.HasSuffix(r.URL.Path, "/completion") {
			f.posts.Add(1)
			if f.lose.CompareAndSwap(true, false) {
				inner.ServeHTTP(httptest.NewRecorder(), r)
				panic(http.ErrAbortHandler)
			}
		}
		inner.ServeHTTP(w, r)
	}))
	f.web.Listener.Close()
	f.web.Listener = l
	f.web.Start()
	t.Cleanup(f.web.Close)
}

func (f *field) stop() {
	f.web.CloseClientConnections()
	f.web.Close()
	f.db.Close()
}

// jobInHand makes a job of a tree and takes it as far as the crew.
func (f *field) jobInHand(t *testing.T, tag string) object {
	t.Helper()
	j := f.post(t, "/jobs", fmt.Sprintf(`{"tag":%q,"year":%d,"by":"Owner"}`, tag, time.Now().Year()+1), 201)
	f.inHand(t, j)
	return j
}

// addPhoto chooses a picture as a file.
func addPhoto(selector, name, bytes string) chromedp.Action[chromedp.Void] {
	return chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`(() => {
		const d = new DataTransfer(), e = document.querySelector(%q)
		d.items.add(new File([Uint8Array.from(atob(%q), (c) => c.charCodeAt(0))], %q, { type: 'image/png' }))
		e.files = d.files; e.dispatchEvent(new Event('change', { bubbles: true }))
	})()`, selector, base64.StdEncoding.EncodeToString([]byte(bytes)), name))
}

// phone is a phone's window with a position; says is whether it has a signal.
func (f *field) phone(lon, lat, accuracy float64) chromedp.Action[chromedp.Void] {
	allow := call(control.SetPermission, control.SetPermissionParams{Permission: &control.PermissionDescriptor{Name: "geolocation"}, Setting: control.PermissionSettingGranted})
	place := call(emulation.SetGeolocationOverride, emulation.SetGeolocationOverrideParams{Longitude: &lon, Latitude: &lat, Accuracy: &accuracy})
	size := window(390, 844, "light")
	return func(ctx context.Context, t *chromedp.Target) (none chromedp.Void, err error) {
		for _, step := range []chromedp.Action[chromedp.Void]{size, allow, place} {
			if _, err = step(ctx, t); err != nil {
				return none, err
			}
		}
		return none, nil
	}
}

// onLine is what the browser says of its signal.
func onLine(is bool) chromedp.Action[chromedp.Void] {
	return call(network.OverrideNetworkState, network.OverrideNetworkStateParams{Offline: !is, DownloadThroughput: -1, UploadThroughput: -1})
}

// takePackage takes the first package along.
func takePackage() chromedp.Action[chromedp.Void] {
	return chromedp.Evaluate[chromedp.Void](`(() => { const s = document.querySelector('#take select'); s.value = s.options[1].value; s.dispatchEvent(new Event('change', { bubbles: true })); setTimeout(() => document.querySelector('#take .main').click(), 50) })()`)
}

const controlled = "!!navigator.serviceWorker.controller"

// TestMapField takes a job along, records it where there is no signal, through the
// end of the browser's process and of the service, and finds it sent once.
func TestMapField(t *testing.T) {
	checker := axe(t)
	f := inField(t)
	j := f.jobInHand(t, "T30")
	id := fmt.Sprint(j["job_id"])
	at := parse[[2]float64](t, parse[feature](t, f.get(t, fmt.Sprintf("/collections/trees/items/%v", j["tree_id"])).body).Geometry.Coordinates)
	page := "http://" + f.address + "/map?v=field"
	folder := t.TempDir()
	ctx, _, end := openIn(t, folder)
	do(t, ctx, f.phone(at[0]+0.00006, at[1], 6.5), chromedp.Navigate(page), until(controlled), shown("#take select"), until("document.querySelector('#take select').options.length > 1"),
		takePackage(), shown("#along [data-job='"+id+"']"), until("document.querySelector('#take .main').textContent.includes('along')"))
	for _, c := range screens[2:] {
		do(t, ctx, window(c.width, c.height, c.scheme))
		do(t, ctx, chromedp.Evaluate[chromedp.Void]("document.querySelector('.handle').click()"), chromedp.Sleep(300*time.Millisecond))
		keep(t, ctx, "taken along "+c.name)
		accessible(t, ctx, checker, "taken along "+c.name)
	}

	// The service is gone; the page stands, with its map, and says of when it is.
	f.stop()
	do(t, ctx, f.phone(at[0]+0.00006, at[1], 6.5), onLine(false), chromedp.Navigate("about:blank"), chromedp.Navigate(page), shown(".signal[data-lost=true]"), shown("#along [data-job='"+id+"']"),
		drawn("trees", 1), drawn("targets", 1))
	keep(t, ctx, "no signal")
	accessible(t, ctx, checker, "no signal")
	do(t, ctx, chromedp.Evaluate[chromedp.Void](fmt.Sprintf("document.querySelector('#along [data-job=\"%s\"]').click()", id)), shown("#completion"), shown("#job .kept"),
		until("document.querySelector('#job .drawing').complete && document.querySelector('#job .drawing').naturalWidth > 0"))
	if said := value[string](t, ctx, "document.querySelector('#job .kept').textContent"); !strings.Contains(said, "As of") || !strings.Contains(said, "kept on this device") {
		t.Errorf("the job says %q", said)
	}
	// No cut is there that nobody made, and what cannot be is not kept.
	if n := value[int](t, ctx, "document.querySelectorAll('#completion .cut').length"); n != 0 {
		t.Errorf("%d cuts are filled in before anyone made one", n)
	}
	wrong := func(name, v, says string) {
		t.Helper()
		do(t, ctx, fill("#completion "+name, v), until(fmt.Sprintf("document.querySelector('#completion').textContent.includes(%q)", says)))
	}
	do(t, ctx, press("#completion", "Add a cut"), shown("#completion [name=diameter_cm]"), fill("#job .by input", "Crew A"))
	wrong("[name=dose]", "abc", "Live crown taken: 0 to 100 %")
	wrong("[name=diameter_cm]", "-4", "Diameter: above 0 up to 1500 cm")
	wrong("[name=bearing_deg]", "400", "Bearing from the stem: 0 up to 360 °")
	do(t, ctx, press("#completion", "Record as done"), until("document.querySelector('#completion .trouble')?.textContent.includes('Cut 1, Diameter: above 0 up to 1500 cm')"), until("document.activeElement.name === 'dose'"))
	keep(t, ctx, "cannot be")
	accessible(t, ctx, checker, "cannot be")
	do(t, ctx, fill("#completion [name=diameter_cm]", "9"), fill("#completion [name=height_m]", "5.5"), fill("#completion [name=bearing_deg]", "90"),
		fill("#completion .cut [name=height_m]", "4"), fill("#completion .cut [name=reach_m]", "1.5"), fill("#completion [name=note]", "dry"), fill("#completion [name=dose]", "2"),
		addPhoto("#completion [type=file]", "after.png", pngPhoto), press("#where", "Take the position"), until("document.querySelector('#where').textContent.includes('± 6.5 m')"),
		until("document.querySelector('#completion').textContent.includes('after.png')"))
	if said := value[string](t, ctx, "document.querySelector('#where').textContent"); !strings.Contains(said, ", 4 m from the tree") {
		t.Errorf("the position says %q", said)
	}
	// A form that is half filled in is found again.
	do(t, ctx, press("#where", "That will do"), chromedp.Sleep(300*time.Millisecond), chromedp.Navigate("about:blank"), chromedp.Navigate(page+"&field.job="+id), shown("#completion"),
		until("document.querySelector('#completion [name=note]').value === 'dry'"), until("document.querySelector('#where').textContent.includes('± 6.5 m')"))
	for _, c := range screens[2:] {
		do(t, ctx, window(c.width, c.height, c.scheme), chromedp.Evaluate[chromedp.Void]("document.querySelector('main').dataset.sheet === 'full' || document.querySelector('.handle').click(); document.querySelector('#where').scrollIntoView()"), chromedp.Sleep(200*time.Millisecond))
		keep(t, ctx, "form "+c.name)
		accessible(t, ctx, checker, "form "+c.name)
	}
	do(t, ctx, press("#completion", "Record as done"), shown(".entry-card[data-state=waiting]"))
	keep(t, ctx, "waiting")

	// The browser's process ends without a word; the next one has it all.
	end()
	for _, lock := range []string{"SingletonLock", "SingletonCookie", "SingletonSocket"} {
		os.Remove(filepath.Join(folder, lock))
	}
	ctx, _, _ = openIn(t, folder)
	do(t, ctx, window(390, 844, "light"), chromedp.Navigate(page), shown(".entry-card[data-state=waiting]"), until("document.querySelector('#tab-field').textContent === 'Field (1)'"),
		chromedp.Evaluate[chromedp.Void]("document.querySelector('.handle').click()"), chromedp.Sleep(300*time.Millisecond))
	keep(t, ctx, "waiting after a restart")
	accessible(t, ctx, checker, "waiting")
	if n := pgtest.Query(t, f.url, `SELECT count(*) FROM photos`)[0]; n != "0" || f.posts.Load() != 0 {
		t.Errorf("%s pictures, %d completions reached the service without a signal", n, f.posts.Load())
	}

	// The service is back. Its first answer gets lost on the way.
	f.lose.Store(true)
	f.start(t)
	do(t, ctx, press("#waiting", "Send all now"), until("document.querySelector('#waiting h2').textContent.includes('Nothing waits')"))
	if n := f.posts.Load(); n < 2 {
		t.Errorf("the completion was sent %d times, expected again after its answer got lost", n)
	}
	done := f.json(t, "/jobs/"+id)
	c := done["completion"].(object)
	cut, p := objects(c["cuts"])[0], c["position"].(object)
	if done["state"] != "done" || c["by"] != "Crew A" || c["note"] != "dry" || c["dose"] != 0.02 || c["height_m"] != 5.5 || cut["diameter_m"] != 0.09 || cut["height_m"] != 4.0 || cut["bearing_deg"] != 90.0 || cut["reach_m"] != 1.5 {
		t.Errorf("%v: %v", done["state"], c)
	}
	// 0.00006° of longitude at 54.68° N are 3.87 m (GeodSolve of GeographicLib 2.1).
	if d := p["from_tree_m"].(float64); p["accuracy_m"] != 6.5 || d < 3.8 || d > 3.9 || p["latitude"] != at[1] {
		t.Errorf("position %v", p)
	}
	photos := objects(done["photos"])
	if len(photos) != 1 || photos[0]["name"] != "after.png" || photos[0]["by"] != "Crew A" || string(f.got(t, fmt.Sprintf("/jobs/%s/photos/%v", id, photos[0]["photo_id"]))) != pngPhoto {
		t.Errorf("pictures %v", photos)
	}
	if n := pgtest.Query(t, f.url, fmt.Sprintf(`SELECT count(*) FROM cuts WHERE job_id = %s`, id))[0]; n != "1" {
		t.Errorf("%s cuts are recorded, expected 1", n)
	}
	if len(objects(c["cuts"])) != 1 || c["earlier"] != nil {
		t.Errorf("recorded more than once: %v", c)
	}
}
