package inventory

import (
	"errors"

	"github.com/paulmach/orb"
)

// EditKind is what an edit does.
type EditKind uint8

// The kinds of edit.
const (
	Create  EditKind = iota // a new feature
	Replace                 // all that can be edited; what is not given is unset
	Merge                   // only what is given
	Delete
	PutBack // as it stood at an earlier version; a feature that was deleted is there again
)

// Edit is one edit of one feature of a stored collection.
type Edit struct {
	Client     ClientID
	Collection *Collection
	Kind       EditKind
	ID         int64 // of the feature; none for Create
	// Values are by property. Those of fixed properties are of no account, but
	// that site and tag say which tree a new cut or visit is of, where tree_id is
	// not given.
	Values map[string]Value
	// Geometry is the new geometry, nil for none, x first in the system SRID.
	// Replace and Merge leave the geometry as it is without one.
	Geometry Opt[orb.Geometry]
	SRID     int // 0 for longitude and latitude on WGS 84
	// To is the version that PutBack puts the feature back to.
	To int64
	// Versions are those of the feature that the edit was made from: it is
	// refused with ErrChanged where the feature is at another. nil for any.
	Versions []int64
	// Unless are versions that the edit is not for: it is refused with ErrUnchanged
	// where the feature is at one of them.
	Unless []int64
	Actor  string // whom the history names
}

// ErrChanged is the cause of the refusal of an edit that was made from another
// version than the one in force.
var ErrChanged = errors.New("changed in the meantime")

// ErrUnchanged is the cause of the refusal of an edit that was not for the version
// in force.
var ErrUnchanged = errors.New("not changed")

// Gives reports whether an edit gives a property a value that is not null.
func (e *Edit) Gives(property string) bool {
	v, ok := e.Values[property]
	return ok && !v.Null
}
