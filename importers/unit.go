package importers

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// unit turns a figure into the unit kept: kept = figure × factor.
type unit struct {
	name   string
	factor float64
}

// The units each quantity can come in; the first is the one served.
var units = map[Quantity][]unit{
	Length: {
		{"m", 1}, {"cm", 0.01}, {"mm", 0.001}, {"in", 0.0254}, {"ft", 0.3048}, {"yd", 0.9144},
		// A tape about the stem reads its girth; the diameter is that over π.
		{"cm-girth", 0.01 / math.Pi}, {"in-girth", 0.0254 / math.Pi}, {"m-girth", 1 / math.Pi}, {"mm-girth", 0.001 / math.Pi},
	},
	Share:   {{"1", 1}, {"%", 0.01}},
	Bearing: {{"deg", 1}},
	Angle:   {{"deg", 1}},
	Speed:   {{"m/s", 1}, {"km/h", 1 / 3.6}, {"mph", 0.44704}},
}

var unitAlso = map[string]string{
	"inch": "in", "inches": "in", "ins": "in", `"`: "in", "feet": "ft", "foot": "ft", "'": "ft",
	"metre": "m", "metres": "m", "meter": "m", "meters": "m", "centimetres": "cm", "centimeters": "cm",
	"millimetres": "mm", "millimeters": "mm", "yards": "yd",
	"percent": "%", "pct": "%", "degrees": "deg", "degree": "deg", "°": "deg",
	"kmh": "km/h", "kph": "km/h", "mps": "m/s", "ratio": "1",
}

// unitOf finds a unit of a quantity by name.
func unitOf(q Quantity, name string) (unit, error) {
	n := strings.ToLower(strings.TrimSpace(name))
	if also, ok := unitAlso[n]; ok {
		n = also
	}
	for _, u := range units[q] {
		if u.name == n {
			return u, nil
		}
	}
	if len(units[q]) == 0 {
		return unit{}, fmt.Errorf("unit %q: this field has no unit", name)
	}
	return unit{}, fmt.Errorf("unknown unit %q: expected one of %s", name, strings.Join(unitNames(q), ", "))
}

func unitNames(q Quantity) []string {
	names := make([]string, len(units[q]))
	for i, u := range units[q] {
		names[i] = u.name
	}
	return names
}

// needsUnit reports whether a figure of this quantity means nothing without its
// unit.
func needsUnit(q Quantity) bool {
	return slices.Contains([]Quantity{Length, Speed, Share, Angle}, q)
}

// unitSuffix splits a column name such as dbh_in into its stem and its unit.
func unitSuffix(q Quantity, name string) (stem string, u unit, ok bool) {
	i := strings.LastIndexByte(name, '_')
	if i <= 0 {
		return name, unit{}, false
	}
	suffix := name[i+1:]
	if q == Share && suffix == "share" {
		return name, unit{}, false
	}
	u, err := unitOf(q, suffix)
	if err != nil {
		return name, unit{}, false
	}
	return name[:i], u, true
}

// hasUnits reports whether a quantity comes in units at all.
func hasUnits(q Quantity) bool {
	return slices.Contains([]Quantity{Length, Share, Bearing, Speed, Angle}, q)
}
