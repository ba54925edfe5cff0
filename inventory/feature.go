package inventory

import (
	"cmp"
	"context"
	"time"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory/filter"
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
	// Fixed marks what nobody edits: what is worked out, and what the inventory
	// keeps itself, such as the version.
	Fixed bool
	// Bounds are what edits hold a figure to; nil for none.
	Bounds *Bounds
	// Required marks what a new feature must be given, Default the word that it has
	// where it is given none.
	Required bool
	Default  string
	Note     string
}

// Bounds are what a figure must lie between, in the property's unit. The schema
// gis holds edits to the same; a test compares both.
type Bounds struct {
	Low, High    float64
	Above, Below bool // Low, High itself is not allowed
}

// FilterType is the property's type in a filter; false where it cannot be
// filtered on.
func (p *Property) FilterType() (filter.Type, bool) {
	switch p.Type {
	case Integer, Number:
		return filter.NumberType, true
	case Boolean:
		return filter.BoolType, true
	case Date:
		return filter.DateType, true
	case Timestamp:
		return filter.TimestampType, true
	case TextList:
		return filter.ListType, true
	case Object:
		return filter.UnknownType, false
	}
	return filter.TextType, true
}

// Sortable reports whether features can be sorted by the property.
func (p *Property) Sortable() bool { return p.Type != Object && p.Type != TextList }

// GeometryProperty is the name, in filters, of the geometry that a collection's
// features are served with.
const GeometryProperty = "geometry"

// Shape is a geometry that features have besides the one they are served with,
// for use in filters.
type Shape struct {
	Name, Note string
}

// Collection is a set of features of one shape.
type Collection struct {
	ID, Title, Note string
	// Of is the collection that a saved question selects from; empty for those
	// that are no question.
	Of string
	// Asks is the question's filter.
	Asks       filter.Expr
	Properties []Property
	// Geometries are the GeoJSON types that its features' geometries may have.
	Geometries []string
	Shapes     []Shape
	// Time is the property that datetime looks at; empty for none.
	Time string
	// Editable collections can be written to.
	Editable bool
	// Computed collections are worked out from trees and targets when asked
	// for, and are not stored.
	Computed bool
}

// Base is the id of the collection that the features are of.
func (c *Collection) Base() string { return cmp.Or(c.Of, c.ID) }

// Property returns a property by name.
func (c *Collection) Property(name string) (*Property, bool) {
	for i := range c.Properties {
		if c.Properties[i].Name == name {
			return &c.Properties[i], true
		}
	}
	return nil, false
}

// PropertyType makes a collection what a filter is checked against.
func (c *Collection) PropertyType(name string) (filter.Type, bool) {
	if name == GeometryProperty {
		return filter.GeometryType, true
	}
	for _, s := range c.Shapes {
		if s.Name == name {
			return filter.GeometryType, true
		}
	}
	if p, ok := c.Property(name); ok {
		return p.FilterType()
	}
	return filter.UnknownType, false
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

// Cursor is a place between two features of a collection.
type Cursor struct {
	// IDs are the feature's place in the order of ids; stored collections use the
	// first only.
	IDs [3]int64
	// Keys are its values of what the page is sorted by, as text; nil for null.
	Keys []*string
}

// SortKey orders features by a property; nulls come last.
type SortKey struct {
	Property   string
	Descending bool
}

// Span is from one instant to another, both included; open where the zero time.
type Span struct {
	From, To time.Time
}

// FeatureQuery asks for features of a collection, in its order.
type FeatureQuery struct {
	Client     ClientID
	Collection *Collection
	ID         Opt[int64]  // only this feature
	Boxes      []orb.Bound // meeting any of these, degrees; empty for everywhere
	During     Opt[Span]   // whose time meets this, or that have none
	Filter     filter.Expr // for which this holds; nil for all
	Order      []SortKey   // then by id
	After      Opt[Cursor]
	Limit      int // 0 for all
	// Pick says which properties are wanted, by place; the others are null. nil
	// for all.
	Pick []bool
	// SRID is the reference system that geometries are wanted in, x first; 0 for
	// longitude and latitude on WGS 84.
	SRID int
	// State is what FeatureStore.FeatureState said of the inventory, or empty: what
	// was gathered of one state serves all sorted pages of it.
	State string
}

// Picks reports whether the property at a place is wanted.
func (q *FeatureQuery) Picks(at int) bool { return q.Pick == nil || q.Pick[at] }

// FeatureStore reads the stored collections.
type FeatureStore interface {
	// FindFeatures hands the features on as they come, until fn fails or there
	// are no more. It asks for nothing of a computed collection.
	FindFeatures(ctx context.Context, q FeatureQuery, fn func(*Feature) error) error
	// ExportFeatures hands on all features of a stored collection that a query
	// selects, encoded, in the order of their ids and of one state of the inventory.
	// newEncoder is called for each of those who encode side by side; what it
	// returns appends a feature. Limit and Order mean nothing here.
	ExportFeatures(ctx context.Context, q FeatureQuery, newEncoder func() func([]byte, *Feature) ([]byte, error), write func([]byte) error) error
	// CountFeatures counts up to a limit; it returns limit + 1 where there are
	// more.
	CountFeatures(ctx context.Context, q FeatureQuery, limit int) (int, error)
	// CountGathered counts all features that a sorted page is one of, where what was
	// gathered of the query's state says at once; false where it does not.
	CountGathered(ctx context.Context, q FeatureQuery) (n int, ok bool, err error)
	// GatherTrees makes ready what sorted pages and summed tiles of a state are made
	// from, ahead of those who ask.
	GatherTrees(ctx context.Context, client ClientID, state string) error
	// FeatureExtent returns the box about all features of a stored collection;
	// false where there are none.
	FeatureExtent(ctx context.Context, client ClientID, c *Collection) (orb.Bound, bool, error)
	// FeatureSpan returns the time from the first to the last feature of a stored
	// collection; false where none has a time.
	FeatureSpan(ctx context.Context, client ClientID, c *Collection) (Span, bool, error)
	// FilterFeatures reports of each feature of a computed collection whether a
	// filter holds for it.
	FilterFeatures(ctx context.Context, c *Collection, e filter.Expr, list []Feature) ([]bool, error)
	// AsOf returns a context in which every question is answered as the inventory
	// stood at an instant.
	AsOf(ctx context.Context, at time.Time) context.Context
	// FeatureState returns a text that changes with every change to anything
	// served of a client.
	FeatureState(ctx context.Context, client ClientID) (string, error)
}
