package paper

import (
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
)

// Basis is what a sheet rests on and who made it. It is printed on each.
type Basis struct {
	Client string
	Site   inventory.Site
	// AsOf is the day that years were counted to; IssuedAt is when the sheet was
	// made. Both are printed in the site's time zone where that is known.
	AsOf, IssuedAt time.Time
	IssuedBy       string
	// The assumptions by name, and by the SHA-256 digest of their text (hex).
	ProfileName, ProfileDigest   string
	PracticeName, PracticeDigest string
}

// Tree is a tree as it is shown: as recorded, with the sizes that stand for what
// was not measured.
type Tree struct {
	inventory.Tree
	Size exposure.Dimensions
	Cuts []inventory.Cut
	// Zones are the ground that its parts can reach, drawn in the plan view. Without
	// any, the crown is drawn by its outline or radius. The cut of a zone is its
	// place in Cuts.
	Zones []exposure.TreeZone
}

// Label is what people call the tree: its tag, else the source's own identity.
func (t *Tree) Label() string {
	switch {
	case t.Tag != "":
		return t.Tag
	case t.SourceID != "":
		return t.SourceID
	}
	return "without a tag"
}

// Name is the species with the common name, or that none is recorded.
func (t *Tree) Name() string {
	switch {
	case t.Species != "" && t.CommonName != "":
		return t.Species + " (" + t.CommonName + ")"
	case t.Species != "":
		return t.Species
	case t.CommonName != "":
		return t.CommonName
	}
	return "species not recorded"
}
