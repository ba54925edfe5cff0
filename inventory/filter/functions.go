package filter

import "strings"

// Argument is one that a function takes.
type Argument struct {
	Name        string
	Description string
	Type        Type
}

// Function is one that the service declares itself, beside those of the
// standard (conformance class functions).
type Function struct {
	Name        string
	Description string
	Arguments   []Argument
	Returns     Type
}

// Functions are all that a filter can call.
var Functions = []Function{
	{
		Name:        "distance_m",
		Description: "The shortest distance between two geometries along the WGS 84 ellipsoid, in metres; 0 where they meet.",
		Arguments: []Argument{
			{"a", "a geometry", GeometryType},
			{"b", "another geometry", GeometryType},
		},
		Returns: NumberType,
	},
	{
		Name:        "within_m",
		Description: "Whether two geometries are no further apart than a distance in metres along the WGS 84 ellipsoid.",
		Arguments: []Argument{
			{"a", "a geometry", GeometryType},
			{"b", "another geometry", GeometryType},
			{"distance", "in metres, 0 or more", NumberType},
		},
		Returns: BoolType,
	},
}

// FunctionNamed finds a function; like the standard's own, its name is the same
// in small and in capital letters.
func FunctionNamed(name string) (*Function, bool) {
	for i := range Functions {
		if strings.EqualFold(Functions[i].Name, name) {
			return &Functions[i], true
		}
	}
	return nil, false
}

// String names a type for people.
func (t Type) String() string {
	switch t {
	case TextType:
		return "text"
	case NumberType:
		return "number"
	case BoolType:
		return "boolean"
	case DateType:
		return "date"
	case TimestampType:
		return "timestamp"
	case IntervalType:
		return "interval"
	case GeometryType:
		return "geometry"
	case ListType:
		return "list"
	}
	return "unknown"
}
