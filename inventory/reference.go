package inventory

import "context"

// SiteReference is the reference system of a site: the projected one that it is
// kept in, or the UTM zone of its trees.
type SiteReference struct {
	Site SiteID
	SRID int // EPSG code
}

// ReferenceStore transforms coordinates.
type ReferenceStore interface {
	// SiteReferences returns the reference systems of a client's sites, in the
	// order of the sites. Sites that have neither one that was set nor anything on
	// the ground are left out.
	SiteReferences(ctx context.Context, client ClientID) ([]SiteReference, error)
	// KnownSRID reports whether the database can transform to and from a code of
	// EPSG's.
	KnownSRID(ctx context.Context, srid int) (bool, error)
	// Project transforms geometries in well-known binary from one reference
	// system to another, x first in both. What lies where one of them does not
	// reach is Invalid, or comes back with coordinates that are not finite.
	Project(ctx context.Context, from, to int, list [][]byte) ([][]byte, error)
}
