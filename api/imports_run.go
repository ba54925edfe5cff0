package api

import (
	"context"
	"errors"
	"io"
	"os"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
)

// importRun is one try or load of a file, in the background.
type importRun struct {
	plan     *ImportPlan
	begun    time.Time
	cancel   context.CancelFunc
	done     chan struct{} // closed at its end
	progress ImportProgress
	imported *Imported
	err      error
	took     time.Duration
}

// running reports whether something is being done with the file; the lock is held.
func (one *upload) running() bool {
	if one.run == nil {
		return false
	}
	select {
	case <-one.run.done:
		return false
	default:
		return true
	}
}

// start begins a run. One site takes one at a time.
func (u *uploads) start(one *upload, plan *ImportPlan) (*importRun, error) {
	u.mu.Lock()
	defer u.mu.Unlock()
	switch {
	case u.ended:
		return nil, inventory.Errorf(inventory.Unavailable, "the service is being stopped")
	case one.running():
		return nil, inventory.Errorf(inventory.Conflict, "%s is being read already: wait for that, or stop it", one.name)
	}
	if err := u.take(plan.Site); err != nil {
		return nil, err
	}
	ctx, cancel := context.WithCancel(context.Background())
	run := &importRun{plan: plan, begun: time.Now(), cancel: cancel, done: make(chan struct{})}
	one.run = run
	u.going.Add(1)
	go func() {
		defer u.going.Done()
		defer cancel()
		imported, err := u.through(ctx, one, run)
		u.mu.Lock()
		defer u.mu.Unlock()
		run.imported, run.err, run.took = imported, err, time.Since(run.begun)
		delete(u.sites, plan.Site)
		close(run.done)
		if err != nil && problemOf(err).Status >= 500 && ctx.Err() == nil {
			u.config.Log.Error("a file was not loaded", "file", one.name, "site", plan.Site, "error", err)
		}
	}()
	return run, nil
}

// take keeps others from loading into a site; the lock is held.
func (u *uploads) take(site string) error {
	if u.sites[site] {
		return inventory.Errorf(inventory.Conflict, "something else is being loaded into %q: wait for that, or stop it", site)
	}
	u.sites[site] = true
	return nil
}

func (u *uploads) through(ctx context.Context, one *upload, run *importRun) (imported *Imported, err error) {
	defer inventory.Recover(&err)
	err = one.read(func(f io.Reader) (err error) {
		imported, err = u.config.Importer.Run(ctx, f, one.name, run.plan, func(p ImportProgress) {
			u.mu.Lock()
			defer u.mu.Unlock()
			run.progress = p
		})
		return err
	})
	return imported, err
}

// stop ends what is being done with a file and waits for the end.
func (u *uploads) stop(one *upload) {
	u.mu.Lock()
	run, running := one.run, one.running()
	u.mu.Unlock()
	if running {
		run.cancel()
		<-run.done
	}
}

// close stops all runs, which leave nothing behind, and deletes the files.
func (u *uploads) close() {
	u.mu.Lock()
	u.ended = true
	for _, one := range u.files {
		if one.running() {
			one.run.cancel()
		}
	}
	u.mu.Unlock()
	u.going.Wait()
	u.mu.Lock()
	defer u.mu.Unlock()
	for id, one := range u.files {
		delete(u.files, id)
		os.Remove(one.path)
	}
}

// The states of a run.
const (
	importReading = "reading" // or matching and writing, when all is read
	importEnded   = "ended"
	importStopped = "stopped" // by a request; nothing has changed
	importFailed  = "failed"  // nothing has changed
)

// importRunAnswer is how far a run is, or what came of it.
type importRunAnswer struct {
	File      string            `json:"file"`
	Role      inventory.Role    `json:"as"`
	Site      string            `json:"site"`
	DryRun    bool              `json:"dry_run"`
	State     string            `json:"state"`
	Bytes     int64             `json:"bytes"`
	BytesRead int64             `json:"bytes_read"`
	Records   int64             `json:"records"` // that have been read so far
	Seconds   float64           `json:"seconds"`
	Counts    *importCounts     `json:"counts"`     // when it has ended
	FirstHeld []importHeld      `json:"first_held"` // of those that it held
	Box       []float64         `json:"box"`        // of what was read, where it has places
	Problem   *importRunProblem `json:"problem"`
	Links     []link            `json:"links"`
}

type importCounts struct{ inventory.Counts }

type importHeld struct {
	Record int64  `json:"record"`
	Field  string `json:"field"`
	Reason string `json:"reason"`
	Row    string `json:"row"`
}

type importRunProblem struct {
	Status int    `json:"status"`
	Detail string `json:"detail"`
}

// importState is the state of a file's last run.
func (u *uploads) state(one *upload, base string) (out importRunAnswer, ok bool) {
	u.mu.Lock()
	defer u.mu.Unlock()
	run := one.run
	if run == nil {
		return out, false
	}
	out = importRunAnswer{
		File: one.name, Role: run.plan.Role, Site: run.plan.Site, DryRun: run.plan.DryRun, Bytes: one.bytes, FirstHeld: []importHeld{}, Box: []float64{},
		State: importReading, Seconds: time.Since(run.begun).Seconds(),
		Links: []link{{Href: base + "/imports/" + one.id + "/run", Rel: "self", Type: typeJSON}, {Href: base + "/imports/" + one.id, Rel: "up", Type: typeJSON}},
	}
	if run.progress != nil {
		out.BytesRead, out.Records = min(run.progress.BytesRead(), one.bytes), run.progress.Records()
	}
	if one.running() {
		return out, true
	}
	out.Seconds = run.took.Seconds()
	switch {
	case run.err == nil:
		out.State, out.Counts = importEnded, &importCounts{run.imported.Counts}
		for _, h := range run.imported.FirstHeld {
			out.FirstHeld = append(out.FirstHeld, importHeld{h.Record, h.Field, h.Reason, cutShort(string(h.Text))})
		}
		if run.imported.Box != nil {
			out.Box = run.imported.Box
		}
	case errors.Is(run.err, context.Canceled):
		out.State = importStopped
	default:
		p := problemOf(run.err)
		out.State, out.Problem = importFailed, &importRunProblem{p.Status, p.Detail}
	}
	return out, true
}

// cutShort keeps a record that is shown among others to a length that can be read.
func cutShort(text string) string {
	const most = 500
	if len(text) <= most {
		return text
	}
	return strings.ToValidUTF8(text[:most], "") + "…"
}
