package filter

import (
	"math"
	"slices"
	"time"

	"github.com/twpayne/go-geom"
)

// children are the expressions directly in another.
func children(e Expr) []Expr {
	switch e := e.(type) {
	case *Op:
		return e.Args
	case *Call:
		return e.Args
	case *Array:
		return e.Items
	case *Interval:
		var ends []Expr
		for _, m := range []Expr{e.Start, e.End} {
			if m != nil {
				ends = append(ends, m)
			}
		}
		return ends
	}
	return nil
}

// Places reports whether an expression has a literal geometry.
func Places(e Expr) bool {
	switch e.(type) {
	case *Geometry, *BBox:
		return true
	}
	return slices.ContainsFunc(children(e), Places)
}

// rewrite returns a copy with every leaf replaced by what f makes of it.
func rewrite(e Expr, f func(Expr) Expr) Expr {
	all := func(list []Expr) []Expr {
		out := make([]Expr, len(list))
		for i, a := range list {
			out[i] = rewrite(a, f)
		}
		return out
	}
	switch e := e.(type) {
	case *Op:
		return &Op{e.at, e.Name, all(e.Args)}
	case *Call:
		return &Call{e.at, e.Name, all(e.Args)}
	case *Array:
		return &Array{e.at, all(e.Items)}
	case *Interval:
		out := &Interval{at: e.at}
		if e.Start != nil {
			out.Start = rewrite(e.Start, f)
		}
		if e.End != nil {
			out.End = rewrite(e.End, f)
		}
		return out
	}
	return f(e)
}

// Properties returns the names of the properties that are used, each once, in
// the order of the text.
func Properties(e Expr) (names []string) {
	if e == nil {
		return nil
	}
	if p, ok := e.(*Property); ok {
		return []string{p.Name}
	}
	for _, child := range children(e) {
		for _, n := range Properties(child) {
			if !slices.Contains(names, n) {
				names = append(names, n)
			}
		}
	}
	return names
}

// Equal reports whether two trees say the same, wherever they came from.
func Equal(a, b Expr) bool {
	switch a := a.(type) {
	case nil:
		return b == nil
	case *Property:
		b, ok := b.(*Property)
		return ok && a.Name == b.Name
	case *String:
		b, ok := b.(*String)
		return ok && a.Value == b.Value
	case *Number:
		b, ok := b.(*Number)
		return ok && math.Float64bits(a.Value) == math.Float64bits(b.Value)
	case *Bool:
		b, ok := b.(*Bool)
		return ok && a.Value == b.Value
	case *Date:
		b, ok := b.(*Date)
		return ok && a.Value.Equal(b.Value)
	case *Timestamp:
		b, ok := b.(*Timestamp)
		return ok && a.Value.Equal(b.Value)
	case *Interval:
		b, ok := b.(*Interval)
		return ok && Equal(a.Start, b.Start) && Equal(a.End, b.End)
	case *Geometry:
		b, ok := b.(*Geometry)
		return ok && equalGeometry(a.Geometry, b.Geometry)
	case *BBox:
		b, ok := b.(*BBox)
		return ok && slices.Equal(a.Numbers, b.Numbers) && a.SRID == b.SRID
	case *Array:
		b, ok := b.(*Array)
		return ok && slices.EqualFunc(a.Items, b.Items, Equal)
	case *Op:
		b, ok := b.(*Op)
		return ok && a.Name == b.Name && slices.EqualFunc(a.Args, b.Args, Equal)
	case *Call:
		b, ok := b.(*Call)
		return ok && a.Name == b.Name && slices.EqualFunc(a.Args, b.Args, Equal)
	}
	return false
}

func equalGeometry(a, b geom.T) bool {
	ac, aOK := a.(*geom.GeometryCollection)
	bc, bOK := b.(*geom.GeometryCollection)
	if aOK || bOK {
		return aOK && bOK && a.SRID() == b.SRID() && slices.EqualFunc(ac.Geoms(), bc.Geoms(), equalGeometry)
	}
	return kindOf(a) == kindOf(b) && a.Layout() == b.Layout() && a.SRID() == b.SRID() &&
		slices.Equal(a.FlatCoords(), b.FlatCoords()) && slices.Equal(a.Ends(), b.Ends()) &&
		slices.EqualFunc(a.Endss(), b.Endss(), slices.Equal[[]int])
}

// kindOf is the name of a geometry's type in GeoJSON.
func kindOf(g geom.T) string {
	switch g.(type) {
	case *geom.Point:
		return "Point"
	case *geom.LineString:
		return "LineString"
	case *geom.Polygon:
		return "Polygon"
	case *geom.MultiPoint:
		return "MultiPoint"
	case *geom.MultiLineString:
		return "MultiLineString"
	case *geom.MultiPolygon:
		return "MultiPolygon"
	case *geom.GeometryCollection:
		return "GeometryCollection"
	}
	return ""
}

// instantOf is the instant of a literal.
func instantOf(e Expr) (time.Time, bool) {
	switch e := e.(type) {
	case *Date:
		return e.Value, true
	case *Timestamp:
		return e.Value, true
	}
	return time.Time{}, false
}
