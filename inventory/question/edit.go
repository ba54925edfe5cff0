package question

import (
	"context"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
)

// EditStore makes edits.
type EditStore interface {
	// EditFeature makes an edit whole or not at all, and returns the feature's
	// id. Exposures that were in force under the profile are up to date with the
	// edit as soon as it can be seen, unless it touches so much that a full run is
	// needed.
	EditFeature(ctx context.Context, e inventory.Edit, p *profile.Profile) (id int64, err error)
}
