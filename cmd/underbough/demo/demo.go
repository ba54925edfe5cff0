// Package demo makes up a town with its trees and writes it as files that go
// through the ordinary import.
//
// Quernholt on the river Lisken is invented, and so is all that is said of it:
// no street, tree, cut, visit or count is real. So that nobody takes it for a
// place that exists, it is drawn on the open sea, in the Bay of Biscay. Its
// trees are temperate street and park trees whose sizes follow published
// equations with scatter; how they were cut makes a story:
//
//   - the retail park's owner had its trees topped 15 and 10 years ago, and
//     long shoots hang over the stalls;
//   - under the overhead line of Station Avenue one side was headed 12 years
//     ago;
//   - the hospital's oaks were lion-tailed 8 years ago, beside a car park that is
//     busy all night;
//   - the rows of the school walk, topped 17 years ago, are led back by
//     reduction cuts in three visits;
//   - the planes of the market square were looked at last year;
//   - three side roads were topped by one contractor 13 years ago, and nothing
//     but the year was written down;
//   - some trees of the embankment lean over the river; some crowns were drawn
//     from above; people were counted on the hospital's long walk and vehicles on
//     a block of Station Avenue, for two weeks;
//   - the rest have proper cuts or none, with some stubs, flush cuts and
//     toppings among them, and some visits too old to count on.
//
// # Dirty rows
//
// Records that the import has to hold back, each for a reason of its own:
//
//   - trees of streets and parks: longitude and latitude swapped; the position
//     0,0; a null geometry; a polygon; a diameter of 640 cm typed for 64; an id
//     that is there already;
//   - trees of the retail park: words in place of a diameter; no coordinates;
//   - car parks: a ring that is not closed;
//   - cuts: a kind that there is not; a tag that no tree has;
//   - visits: a day that is yet to come;
//   - crowns: one that lies beside another tree than it is said to be of;
//   - counts of vehicles: one below zero; one at a road that there is not.
//
// And two buildings and a car park cross themselves, which the import repairs.
package demo

import (
	"bytes"
	"compress/gzip"
	"os"
	"path/filepath"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
)

// Where the demo lies.
const (
	Site     = "Quernholt"
	TimeZone = "Europe/Paris"
)

// origin is the market square's longitude and latitude: open sea.
var origin = orb.Point{-5.4, 46.2}

// Import is one import to run.
type Import struct {
	File        string // path of the file
	Site        string
	Role        inventory.Role
	Map         []string // rules as --map takes them: every field, where there are any
	MappingFile string   // path of a mapping file
	Kind        string   // the kind of all targets of the file
	Note        string   // one line for people
}

// Write writes the demo's files into dir, which must exist, and returns the
// imports to run, in order. The same seed and year give the same bytes. year is
// the current year: the story's years are counted back from it.
func Write(dir string, seed uint64, year int) ([]Import, error) {
	t := plan(seed, year)
	w := &writer{plane: geo.NewPlane(origin), year: year}
	files := []struct {
		name    string
		content []byte
	}{
		{"invented-roads.geojson", w.targets(t, inventory.Road)},
		{"invented-walkways.geojson.gz", zipped(w.targets(t, inventory.Walkway))},
		{"invented-parking.geojson", w.targets(t, inventory.Parking)},
		{"invented-buildings.geojson", w.targets(t, inventory.Building)},
		{"invented-places.csv", w.places(t)},
		{"invented-places.mapping.yaml", []byte(placesMapping)},
		{"invented-street-and-park-trees.geojson", w.treeFeatures(t)},
		{"invented-retail-park-trees.csv", w.treeTable(t)},
		{"invented-retail-park-trees.mapping.yaml", []byte(treeTableMapping)},
		{"invented-cuts.csv", w.cutTable(t)},
		{"invented-visits.csv", w.visitTable(t)},
		{"invented-park-crowns.geojson", w.crownFile(t)},
		{"invented-walk-counts.csv", w.walkCounts(t)},
		{"invented-road-counts.csv", w.roadCounts(t)},
	}
	for _, f := range files {
		if err := os.WriteFile(filepath.Join(dir, f.name), f.content, 0o644); err != nil {
			return nil, err
		}
	}
	return imports(dir), nil
}

func imports(dir string) []Import {
	at := func(name string) string { return filepath.Join(dir, name) }
	return []Import{
		{File: at("invented-roads.geojson"), Site: Site, Role: inventory.RoleTargets, Kind: "road", Note: "streets between junctions, speeds in km/h"},
		{File: at("invented-walkways.geojson.gz"), Site: Site, Role: inventory.RoleTargets, Kind: "walkway", Note: "sidewalks and walks, gzip"},
		{File: at("invented-parking.geojson"), Site: Site, Role: inventory.RoleTargets, Kind: "parking", Note: "car parks with planting islands, and kerbside parking; shares in percent"},
		{File: at("invented-buildings.geojson"), Site: Site, Role: inventory.RoleTargets, Kind: "building", Note: "houses, shops, station, school and hospital"},
		{File: at("invented-places.csv"), Site: Site, Role: inventory.RoleTargets, MappingFile: at("invented-places.mapping.yaml"), Note: "squares, playgrounds, benches, bus stops and overhead lines as well-known text"},
		{File: at("invented-street-and-park-trees.geojson"), Site: Site, Role: inventory.RoleTrees, Map: treeFeatureRules, Note: "street and park trees in centimetres and metres, cuts inside some"},
		{File: at("invented-retail-park-trees.csv"), Site: Site, Role: inventory.RoleTrees, MappingFile: at("invented-retail-park-trees.mapping.yaml"), Note: "the retail park's own table, in inches and feet"},
		{File: at("invented-cuts.csv"), Site: Site, Role: inventory.RoleCuts, Note: "cuts by tag, in millimetres, centimetres, metres and feet"},
		{File: at("invented-visits.csv"), Site: Site, Role: inventory.RoleVisits, Note: "visits by tag, some with decay measured in the stem"},
		{File: at("invented-park-crowns.geojson"), Site: Site, Role: inventory.RoleCrowns, Note: "crowns of park trees drawn from above, by tag"},
		{File: at("invented-walk-counts.csv"), Site: Site, Role: inventory.RoleCounts, Note: "people on the hospital's long walk, by quarters of an hour for two weeks"},
		{File: at("invented-road-counts.csv"), Site: Site, Role: inventory.RoleCounts, Note: "vehicles on a block of Station Avenue, by the hour for two weeks"},
	}
}

// zipped packs without a name or a time, so that the bytes stay the same.
func zipped(b []byte) []byte {
	var out bytes.Buffer
	z := gzip.NewWriter(&out)
	_, err := z.Write(b)
	if err == nil {
		err = z.Close()
	}
	if err != nil {
		panic("writing to memory failed: " + err.Error())
	}
	return out.Bytes()
}
