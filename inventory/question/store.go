// Package question holds one file for each thing that can be asked: it loads
// through a small store interface, calls the pure computation, and returns an
// answer. The commands and the service ask the same questions here.
package question

import (
	"context"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
)

// ExposureStore keeps computed exposures.
type ExposureStore interface {
	// GetRun returns the run in force, and whether nothing was edited since. It
	// fails with NotFound where there has been none.
	GetRun(ctx context.Context, site inventory.Site) (run inventory.Run, fresh bool, err error)
	// CatchUp computes anew what edits touched since the run in force; it reports
	// false where a full run is needed.
	CatchUp(ctx context.Context, site inventory.Site, p *profile.Profile, asOf time.Time) (run inventory.Run, done bool, err error)
	// Recompute works out all exposures of a site and puts them in force.
	Recompute(ctx context.Context, site inventory.Site, p *profile.Profile, asOf time.Time) (inventory.Run, error)
}

// RankStore orders computed trees.
type RankStore interface {
	ExposureStore
	SweepStore
	Rank(ctx context.Context, q ranking.Query) (list []ranking.Row, total int, err error)
	// UnknownHours returns the words that targets of a site name as their hours and
	// that are not among known, and the number of these targets.
	UnknownHours(ctx context.Context, site inventory.Site, known []string) (words []string, targets int, err error)
}

// WorkDoneStore finds jobs.
type WorkDoneStore interface {
	// FindJobs returns jobs by year, package, tag and number.
	FindJobs(ctx context.Context, q inventory.JobQuery) ([]inventory.Job, error)
}

// TreeStore finds one tree and what is about it.
type TreeStore interface {
	WorkDoneStore
	FindTreeFacts(ctx context.Context, site inventory.Site, tag string) ([]ranking.Facts, error)
	// FindTargetsIn returns each target of whose site a box meets its bounds,
	// once.
	FindTargetsIn(ctx context.Context, client inventory.ClientID, boxes []ranking.SiteBox) ([]inventory.Target, error)
}
