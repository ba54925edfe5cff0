package question

import (
	"context"
	"encoding/json"

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
