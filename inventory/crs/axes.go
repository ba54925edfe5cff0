package crs

import (
	_ "embed"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// axes is how a reference system orders its two axes.
type axes uint8

const (
	unknown        axes = iota
	latitudeFirst       // geographic; latitude, longitude
	longitudeFirst      // geographic; longitude, latitude
	northingFirst       // projected; northing, easting, or both along meridians of the pole's map and named so
	eastingFirst        // projected; easting, northing
	// other is projected with axes that are neither, such as southing and
	// westing (EPSG:2065), or easting and northing along two meridians of a map
	// of a pole (EPSG:3031). PROJ and PostGIS leave these in the authority's own
	// order and directions, so that nothing is turned round.
	other
)

var axesByName = map[string]axes{
	"latitude-first": latitudeFirst, "longitude-first": longitudeFirst,
	"northing-first": northingFirst, "easting-first": eastingFirst, "other": other,
}

func (a axes) geographic() bool { return a == latitudeFirst || a == longitudeFirst }

// yFirst reports whether the authority's order is not that in which PostGIS holds
// coordinates. The rule is that of PROJ's proj_normalize_for_visualization,
// which PostGIS puts every system through.
func (a axes) yFirst() bool { return a == latitudeFirst || a == northingFirst }

//go:embed axes.txt
var axesText string

// span is a run of codes of one class.
type span struct {
	first, last int
	axes        axes
}

// spans are in the order of their codes.
var spans = sync.OnceValue(func() []span {
	var list []span
	for line := range strings.Lines(axesText) {
		class, codes, _ := strings.Cut(strings.TrimSpace(line), " ")
		if class == "#" {
			continue
		}
		for _, word := range strings.Fields(codes) {
			first, last, isRun := strings.Cut(word, "-")
			if !isRun {
				last = first
			}
			from, err := strconv.Atoi(first)
			to, err2 := strconv.Atoi(last)
			if err != nil || err2 != nil || axesByName[class] == unknown {
				panic(fmt.Sprintf("axes.txt: %q of %q", word, class))
			}
			list = append(list, span{from, to, axesByName[class]})
		}
	}
	slices.SortFunc(list, func(a, b span) int { return a.first - b.first })
	return list
})

// axesOf returns how a code orders its axes; unknown where it is no geographic
// 2D or projected system of the table.
func axesOf(code int) axes {
	list := spans()
	i, found := slices.BinarySearchFunc(list, code, func(s span, code int) int { return s.first - code })
	if !found {
		i--
	}
	if i < 0 || code > list[i].last {
		return unknown
	}
	return list[i].axes
}
