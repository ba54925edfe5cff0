package geo

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"
)

// CheckPoint reports whether a longitude and latitude are in range. Nothing
// else in the package checks coordinates again. The message says what was
// found and what was expected, and points at swapped columns where that would
// explain the fault.
func CheckPoint(lon, lat float64) error {
	lonFits, latFits := inRange(lon, 180), inRange(lat, 90)
	switch {
	case lonFits && latFits:
		return nil
	case lonFits && inRange(lat, 180) && inRange(lon, 90):
		return fmt.Errorf("latitude %v is outside -90 to 90, and longitude %v would fit as a latitude: swap the two if the source writes latitude first", lat, lon)
	case !latFits:
		return fmt.Errorf("latitude %v is outside -90 to 90: give degrees, longitude first", lat)
	default:
		return fmt.Errorf("longitude %v is outside -180 to 180: give degrees, longitude first", lon)
	}
}

// CheckZone reports whether a zone's radius and angles can be used.
func CheckZone(z Zone) error {
	switch {
	case !(z.Radius >= 0) || math.IsInf(z.Radius, 0):
		return fmt.Errorf("zone radius %v is not a number of metres of 0 or more", z.Radius)
	case !(z.Width > 0) || math.IsInf(z.Width, 0):
		return fmt.Errorf("zone width %v is not above 0 degrees: give 360 for a disc", z.Width)
	case math.IsNaN(z.Bearing) || math.IsInf(z.Bearing, 0):
		return fmt.Errorf("zone bearing %v is not a number of degrees", z.Bearing)
	}
	return nil
}

// CheckGeometry is CheckPoint for every position of a geometry; the message
// adds which position, counted from 1.
func CheckGeometry(g orb.Geometry) error {
	n := 0
	var fault error
	eachPosition(g, func(p orb.Point) bool {
		n++
		if err := CheckPoint(p[0], p[1]); err != nil {
			fault = fmt.Errorf("position %d: %w", n, err)
		}
		return fault == nil
	})
	return fault
}

// eachPosition calls fn for every position until it returns false.
func eachPosition(g orb.Geometry, fn func(orb.Point) bool) bool {
	switch g := g.(type) {
	case orb.Point:
		return fn(g)
	case orb.MultiPoint:
		return eachOf(g, fn)
	case orb.LineString:
		return eachOf(g, fn)
	case orb.Ring:
		return eachOf(g, fn)
	case orb.MultiLineString:
		return eachIn(g, fn)
	case orb.Polygon:
		return eachIn(g, fn)
	case orb.MultiPolygon:
		return eachIn(g, fn)
	case orb.Collection:
		return eachIn(g, fn)
	case orb.Bound:
		return fn(g.Min) && fn(g.Max)
	}
	return true
}

func eachOf(points []orb.Point, fn func(orb.Point) bool) bool {
	for _, p := range points {
		if !fn(p) {
			return false
		}
	}
	return true
}

func eachIn[G orb.Geometry](parts []G, fn func(orb.Point) bool) bool {
	for _, g := range parts {
		if !eachPosition(g, fn) {
			return false
		}
	}
	return true
}

func inRange(v, limit float64) bool { return v >= -limit && v <= limit }
