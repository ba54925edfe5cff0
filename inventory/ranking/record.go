package ranking

import (
	"time"

	"github.com/underbough/underbough/inventory"
)

// Record is a ranking as it was given once: what was asked, of which inputs, and
// a digest of every row. It can be made again to the same bytes.
type Record struct {
	ID            int64
	Client        inventory.ClientID
	Site          inventory.Site
	Name          string
	Question      Question
	ProfileName   string
	ProfileDigest string    // of the profile's text
	AsOf          time.Time // the day that years were counted to
	InputsAt      time.Time // the inventory as it stood at this instant
	Trees         int64     // standing trees that were ranked
	Rows          int
	Digest        string // SHA-256 of the rows, hex, each ended by a line feed
	MadeAt        time.Time
	MadeBy        string
}

// Question is all that a ranking was asked, in the form that is kept.
type Question struct {
	Over   []inventory.TargetKind `json:"over,omitempty"`
	Cuts   []inventory.CutKind    `json:"cut,omitempty"`
	Since  int                    `json:"since,omitempty"`
	By     By                     `json:"by"`
	Limit  int                    `json:"limit,omitempty"`
	Season string                 `json:"season,omitempty"`
	Draws  int                    `json:"draws,omitempty"`
	Seed   uint64                 `json:"seed,omitempty"`
	Top    int                    `json:"top,omitempty"`
}

// RankedRow is one row of a record.
type RankedRow struct {
	Place int
	Tree  inventory.TreeID
	Row   []byte // a JSON object
}

// Key is what a tree is ordered by.
type Key struct {
	Tree          inventory.TreeID
	Tag           string
	First, Second float64 // both falling
}

// Compare orders keys as a ranking does: ties break on the tag, trees without
// one last, then on the id.
func (k *Key) Compare(l *Key) int {
	switch {
	case k.First != l.First:
		return falling(k.First, l.First)
	case k.Second != l.Second:
		return falling(k.Second, l.Second)
	case k.Tag != l.Tag:
		if k.Tag == "" || l.Tag != "" && k.Tag > l.Tag {
			return 1
		}
		return -1
	case k.Tree != l.Tree:
		return falling(float64(l.Tree), float64(k.Tree))
	}
	return 0
}

func falling(a, b float64) int {
	if a > b {
		return -1
	}
	return 1
}

// KeyOf is the key of a tree by an order, of figures as they are stored.
func KeyOf(r *Result, tag string, by By) Key {
	k := Key{Tree: r.Tree, Tag: tag, First: r.Harm}
	switch by {
	case ByExposure:
		k.First, k.Second = float64(float32(r.Count.People))+float64(float32(r.Count.InVehicles)), float64(float32(r.Count.Vehicles))
	case ByRating:
		k.First, k.Second = float64(r.Score.Rating), r.Harm
	}
	return k
}
