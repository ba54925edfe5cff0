package geojson

import (
	"encoding/json"
	"fmt"
	"strings"
)

// checkCRS looks at a "crs" member. RFC 7946 did away with it, but older files
// carry it, and one that names another system means that the coordinates are
// not what RFC 7946 says. Null names none. The forms are those of GeoJSON 2008,
// section 3, and the "EPSG" form of its drafts.
func checkCRS(value []byte) error {
	var crs *struct {
		Type       string
		Properties struct {
			Name string
			Href string
			Code json.Number
		}
	}
	if err := json.Unmarshal(value, &crs); err != nil {
		return fmt.Errorf(`the "crs" member %s cannot be read; %s`, shortened(string(value)), wantCRS)
	}
	if crs == nil {
		return nil
	}
	name := crs.Properties.Name
	switch {
	case name == "" && crs.Properties.Code != "":
		name = "EPSG:" + crs.Properties.Code.String()
	case name == "" && crs.Properties.Href != "":
		return fmt.Errorf(`the "crs" member links to %s; %s`, shortened(crs.Properties.Href), wantCRS)
	case name == "":
		return fmt.Errorf(`the "crs" member %s names no system; %s`, shortened(string(value)), wantCRS)
	}
	if !isLonLat(name) {
		return fmt.Errorf("the coordinates are in %s; %s", shortened(name), wantCRS)
	}
	return nil
}

const wantCRS = "transform the file to longitude and latitude in WGS 84 (OGC:CRS84), the only system of GeoJSON"

// isLonLat reports whether a name is one of the spellings of CRS84 or EPSG:4326:
// a short name, a URN or a URL of the OGC. In a GeoJSON file EPSG:4326 means
// longitude first, as every writer has it.
func isLonLat(name string) bool {
	parts := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return r == ':' || r == '/' || r == '#' })
	if len(parts) == 0 {
		return false
	}
	switch parts[len(parts)-1] {
	case "crs84", "crs84h":
		return true
	case "4326", "4979":
		return len(parts) == 1 || strings.Contains(strings.ToLower(name), "epsg")
	}
	return false
}
