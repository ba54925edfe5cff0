package inventory

import (
	"context"
	"math"
	"slices"
	"time"

	"github.com/paulmach/orb"
)

// PropertyType is the type of a served property.
type PropertyType uint8

// The types of a property.
const (
	Text PropertyType = iota
	Integer
	Number
	Boolean
	Date      // a day
	Timestamp // an instant
	TextList
	Object // any JSON object
)

// Property is one served figure of a feature. Its name carries its unit.
type Property struct {
	Name     string
	Type     PropertyType
	Decimals int      // of a Number, as served
	Values   []string // the words that a closed list allows; nil for any
	// Derived marks what the run in force worked out; it is null before any run.
	Derived bool
	Note    string
}

// Collection is a set of features of one shape.
type Collection struct {
	ID, Title, Note string
	Properties      []Property
	// Computed collections are worked out from trees and targets when asked
	// for, and are not stored.
	Computed bool
}

// Property returns a property by name.
func (c *Collection) Property(name string) (*Property, bool) {
	for i := range c.Properties {
		if c.Properties[i].Name == name {
			return &c.Properties[i], true
		}
	}
	return nil, false
}

// GetCollection returns a collection by id.
func GetCollection(id string) (*Collection, error) {
	for i := range Collections {
		if Collections[i].ID == id {
			return &Collections[i], nil
		}
	}
	return nil, Errorf(NotFound, "there is no collection %q", id)
}

// Value is one value of a feature; which field holds it follows the property's
// type.
type Value struct {
	Null  bool
	Int   int64    // Integer; Boolean as 0 and 1
	Float float64  // Number
	Bytes []byte   // Text and Object
	List  [][]byte // TextList
	Time  time.Time
}

// Feature is one feature on its way to a reader. It and all it points to
// belong to whoever hands it on, and hold until the next one.
type Feature struct {
	ID     int64
	TextID string // where set, the identity in place of ID
	// Geometry is one of these; both nil for none. EWKB is PostGIS's extended
	// well-known binary.
	EWKB     []byte
	Geometry orb.Geometry
	Values   []Value // by place in the collection's properties
	// At is the place in the collection's order, from which a later page goes on.
	At Cursor
}

// Cursor is a place between two features of a collection. The stored ones are
// in the order of their ids and use the first number only.
type Cursor [3]int64

// Filter keeps the features of which a property equals any of the values, or
// contains any of them where it is a list. Only the slice of the property's
// type is set.
type Filter struct {
	Property string
	Texts    []string
	Ints     []int64
	Floats   []float64
	Times    []time.Time
}

// Tolerance is how far from the figure asked for a figure may lie and still be
// served as the same.
func (p *Property) Tolerance() float64 { return 0.500001 * math.Pow(10, -float64(p.Decimals)) }

// Matches reports whether a value of property p passes the filter.
func (f *Filter) Matches(p *Property, v *Value) bool {
	if v.Null {
		return false
	}
	switch p.Type {
	case Integer, Boolean:
		return slices.Contains(f.Ints, v.Int)
	case Number:
		return slices.ContainsFunc(f.Floats, func(x float64) bool { return math.Abs(x-v.Float) < p.Tolerance() })
	case Date, Timestamp:
		return slices.ContainsFunc(f.Times, func(t time.Time) bool { return t.Equal(v.Time) })
	case TextList:
		return slices.ContainsFunc(v.List, func(b []byte) bool { return slices.Contains(f.Texts, string(b)) })
	}
	return slices.Contains(f.Texts, string(v.Bytes))
}

// FeatureQuery asks for features of a collection, in its order.
type FeatureQuery struct {
	Client     ClientID
	Collection *Collection
	ID         Opt[int64]  // only this feature
	Boxes      []orb.Bound // meeting any of these, degrees; empty for everywhere
	Filters    []Filter    // all of these
	After      Opt[Cursor]
	Limit      int
}

// FeatureStore reads the stored collections.
type FeatureStore interface {
	// FindFeatures hands the features on as they come, until fn fails or there
	// are no more. It asks for nothing of a computed collection.
	FindFeatures(ctx context.Context, q FeatureQuery, fn func(*Feature) error) error
	// CountFeatures counts up to a limit; it returns limit + 1 where there are
	// more.
	CountFeatures(ctx context.Context, q FeatureQuery, limit int) (int, error)
	// FeatureExtent returns the box about all features of a stored collection;
	// false where there are none.
	FeatureExtent(ctx context.Context, client ClientID, c *Collection) (orb.Bound, bool, error)
	// FeatureState returns a text that changes with every change to anything
	// served of a client.
	FeatureState(ctx context.Context, client ClientID) (string, error)
}
