package question

import (
	"bytes"
	"context"
	"math"
	"slices"
	"time"

	"github.com/underbough/underbough/inventory"
)

// HistoryStore keeps every version of a feature.
type HistoryStore interface {
	// FindVersions returns versions of a feature, the latest first; none where
	// there never was one.
	FindVersions(ctx context.Context, q inventory.HistoryQuery) ([]inventory.Version, error)
	// FindDeleted returns what was deleted lately, the latest first.
	FindDeleted(ctx context.Context, q inventory.DeletedQuery) ([]inventory.DeletedFeature, error)
}

// What an entry of a change log says was done.
const (
	Added    = "added"
	Changed  = "changed"
	Deleted  = "deleted"
	Restored = "restored" // it was deleted before, and is there again
)

// Entry is one line of a feature's change log.
type Entry struct {
	Version int64 // that it made; of Deleted the one that ended
	What    string
	At      time.Time
	By      string
	Changes []Change
}

// Change is one property before and after, or the geometry.
type Change struct {
	Property      *inventory.Property // nil for the geometry
	Before, After inventory.Value
	Was, Is       []byte // EWKB of the geometry, nil for none
}

// History is a feature's change log, the latest first.
type History struct {
	Entries []Entry
	Gone    bool                 // it is deleted
	Rest    inventory.Opt[int64] // Below of the next page; none on the last
}

// GetHistory returns the change log of a feature, which may be deleted. It fails
// with NotFound where there never was one.
func GetHistory(ctx context.Context, store HistoryStore, q inventory.HistoryQuery) (*History, error) {
	limit := q.Limit
	q.Limit++ // what a version changed is seen beside the one before
	list, err := store.FindVersions(ctx, q)
	if err != nil {
		return nil, err
	}
	if len(list) == 0 && !q.Below.OK {
		return nil, inventory.Errorf(inventory.NotFound, "there never was a feature %d in %s", q.ID, q.Collection.ID)
	}
	h := &History{Gone: len(list) > 0 && list[0].Gone.OK && !q.Below.OK}
	for i := range list {
		if i == limit {
			h.Rest = inventory.Some(list[i-1].Number)
			break
		}
		v := &list[i]
		if v.Gone.OK {
			h.Entries = append(h.Entries, Entry{Version: v.Number, What: Deleted, At: v.Gone.V.At, By: v.Gone.V.By})
		}
		e := Entry{Version: v.Number, What: Added, At: v.From, By: v.By}
		var before *inventory.Version
		if i+1 < len(list) {
			before = &list[i+1]
			e.What = Changed
			if before.Gone.OK {
				e.What = Restored
			}
		}
		e.Changes = changesOf(q.Collection, before, v)
		h.Entries = append(h.Entries, e)
	}
	return h, nil
}

// changesOf compares two versions as they are served; before is nil for the first.
func changesOf(c *inventory.Collection, before, after *inventory.Version) (out []Change) {
	none := inventory.Value{Null: true}
	for i := range c.Properties {
		p := &c.Properties[i]
		was, is := &none, &after.Feature.Values[i]
		if before != nil {
			was = &before.Feature.Values[i]
		}
		if !sameValue(p, was, is) {
			out = append(out, Change{Property: p, Before: *was, After: *is})
		}
	}
	var was []byte
	if before != nil {
		was = before.Feature.EWKB
	}
	if !bytes.Equal(was, after.Feature.EWKB) {
		out = append(out, Change{Was: was, Is: after.Feature.EWKB})
	}
	return out
}

// sameValue reports whether two values are served alike.
func sameValue(p *inventory.Property, a, b *inventory.Value) bool {
	if a.Null || b.Null {
		return a.Null == b.Null
	}
	switch p.Type {
	case inventory.Integer, inventory.Boolean:
		return a.Int == b.Int
	case inventory.Number:
		scale := math.Pow10(p.Decimals)
		return math.Round(a.Float*scale) == math.Round(b.Float*scale)
	case inventory.Date, inventory.Timestamp:
		return a.Time.Equal(b.Time)
	case inventory.TextList:
		return slices.EqualFunc(a.List, b.List, bytes.Equal)
	}
	return bytes.Equal(a.Bytes, b.Bytes)
}
