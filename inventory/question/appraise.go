package question

import (
	"context"
	"encoding/json"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/appraisal"
)

// AppraisalStore keeps what trees were appraised at.
type AppraisalStore interface {
	TreeStore
	SaveAppraisal(ctx context.Context, site inventory.Site, k *inventory.KeptAppraisal) error
	FindAppraisals(ctx context.Context, site inventory.Site) ([]inventory.KeptAppraisal, error)
}

// Appraise works out what a tree is worth by the ratings that a person gave, and
// keeps it. A diameter of zero stands for the one recorded.
func Appraise(ctx context.Context, store AppraisalStore, b *Basis, tag string, a *appraisal.Appraisal) error {
	e, err := Explain(ctx, store, b.Site, tag, b.Profile, b.AsOf)
	if err != nil {
		return err
	}
	t := &e.Facts.Tree
	switch {
	case !t.Status.Standing():
		return inventory.Errorf(inventory.Invalid, "tree %s is %s: what stands no more is not appraised", tag, t.Status)
	case t.Status == inventory.Dead && a.Health.V > 0:
		return inventory.Errorf(inventory.Invalid, "health: %v for tree %s, which is recorded as dead: rate it 0, or mend the record", a.Health.V, tag)
	case a.On.After(b.AsOf.AddDate(0, 0, 1)):
		return inventory.Errorf(inventory.Invalid, "on: %s is in the future", a.On.Format(time.DateOnly))
	}
	if a.Diameter == 0 {
		if !t.DBH.OK {
			return inventory.Errorf(inventory.Invalid, "diameter: tree %s has none on record: measure it and give it", tag)
		}
		a.Diameter = t.DBH.V
	}
	a.Tree = t.ID
	if a.Currency == "" {
		a.Currency = b.Practice.Rates.Currency
	}
	if err := a.Appraise(); err != nil {
		return err
	}
	body, err := json.Marshal(a)
	if err != nil {
		return err
	}
	return store.SaveAppraisal(ctx, b.Site, &inventory.KeptAppraisal{Tree: t.ID, Body: body, Value: a.Value, MadeBy: a.By})
}
