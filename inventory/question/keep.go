package question

import (
	"context"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
)

// KeepStore tells of edits.
type KeepStore interface {
	ExposureStore
	FindSites(ctx context.Context, client inventory.ClientID) ([]inventory.Site, error)
	// AwaitEdit waits until something was edited, or until the time is up.
	AwaitEdit(ctx context.Context, atMost time.Duration) error
}

// idle is how long a keeper waits without a word before it looks all the same.
const idle = time.Minute

// KeepUpToDate brings the exposures in force up to date whenever something was
// edited, by whatever path, until ctx ends. A site that was never ranked, or was
// ranked under other assumptions, is left alone: the next question ranks it.
// report is told what could not be done; what failed as a whole is tried again
// after pause.
func KeepUpToDate(ctx context.Context, store KeepStore, client inventory.ClientID, p *profile.Profile, report func(site string, err error), pause func(context.Context)) {
	for ctx.Err() == nil {
		sites, err := store.FindSites(ctx, client)
		for _, site := range sites {
			run, fresh, err := store.GetRun(ctx, site)
			if err != nil || fresh || run.ProfileDigest != p.Digest {
				continue
			}
			// Edits too many to list wait for the question that needs them.
			if err := catchUp(ctx, store, site, p, run); err != nil && ctx.Err() == nil {
				report(site.Name, err)
			}
		}
		if err == nil {
			err = store.AwaitEdit(ctx, idle)
		}
		if err != nil && ctx.Err() == nil {
			report("", err)
			pause(ctx)
		}
	}
}

// catchUp works out one site: a fault in that must not end the service.
func catchUp(ctx context.Context, store KeepStore, site inventory.Site, p *profile.Profile, run inventory.Run) (err error) {
	defer inventory.Recover(&err)
	_, _, err = store.CatchUp(ctx, site, p, run.AsOf)
	return err
}
