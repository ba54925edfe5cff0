// Package crs knows coordinate reference systems by their identifiers: how OGC
// API - Features - Part 2 names them, in which order they put their axes, and
// how many decimals of their units are a centimetre. It is pure; coordinates
// are transformed by the database.
package crs

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"github.com/underbough/underbough/inventory"
)

// WGS84 is the EPSG code of longitude and latitude on WGS 84, in which
// geometries are stored, x (longitude) first.
const WGS84 = 4326

// Mercator is the EPSG code of the map of the web, WGS 84 / Pseudo-Mercator.
const Mercator = 3857

// The decimals on output: of degrees 1.1 cm on the ground at most, of metres
// and feet a millimetre at most.
const (
	decimalsOfAngles  = 7
	decimalsOfLengths = 3
	decimalsOfChains  = 6
)

// longUnits are the projected systems of the table whose unit is more than ten
// metres: chains, and a kilometre.
var longUnits = map[int]bool{3167: true, 22300: true, 24571: true, 29871: true}

// Reference is a coordinate reference system as it is served.
type Reference struct {
	// SRID is the EPSG code, by which PostGIS holds coordinates, x first.
	SRID int
	// YFirst says that its authority puts the second of PostGIS's coordinates
	// first, as EPSG:4326 does latitude.
	YFirst bool
	// Decimals are the digits behind the point on output.
	Decimals int
}

// CRS84 is longitude and latitude on WGS 84, the order of GeoJSON.
var CRS84 = Reference{SRID: WGS84, Decimals: decimalsOfAngles}

const (
	uriCRS84 = "http://www.opengis.net/def/crs/OGC/1.3/CRS84"
	uriEPSG  = "http://www.opengis.net/def/crs/EPSG/0/"
)

// URI is its identifier in OGC API - Features - Part 2.
func (r Reference) URI() string {
	if r == CRS84 {
		return uriCRS84
	}
	return uriEPSG + strconv.Itoa(r.SRID)
}

// Degrees reports whether coordinates are stored in it as they are, but for the
// order of their axes.
func (r Reference) Degrees() bool { return r.SRID == WGS84 }

// EPSG returns the reference system of a code of EPSG's, with the axes in EPSG's
// order. Systems that are neither geographic in two dimensions nor projected,
// and those that the table of axes does not have, are an error.
func EPSG(code int) (Reference, error) {
	a := axesOf(code)
	if a == unknown {
		return Reference{}, inventory.Errorf(inventory.Invalid, "EPSG:%d is no geographic (2D) or projected reference system of the EPSG Dataset v10.076: expected one such as EPSG:32633", code)
	}
	r := Reference{SRID: code, YFirst: a.yFirst(), Decimals: decimalsOfLengths}
	switch {
	case a.geographic():
		r.Decimals = decimalsOfAngles
	case longUnits[code]:
		r.Decimals = decimalsOfChains
	}
	return r, nil
}

// The forms of an identifier: the URI of OGC's register (OGC 09-048r5), the URN
// it replaced (OGC 07-092r3), and a CURIE, which STAC and OGC API - Maps allow,
// safe ([EPSG:4326]) or bare.
var (
	uriForm   = regexp.MustCompile(`^https?://www\.opengis\.net/def/crs/(OGC|EPSG)/([0-9.]+)/([A-Za-z0-9]+)$`)
	urnForm   = regexp.MustCompile(`^urn:(?:ogc|x-ogc):def:crs:(OGC|EPSG):([0-9.]*):([A-Za-z0-9]+)$`)
	curieForm = regexp.MustCompile(`^(OGC|EPSG)()[:/]([A-Za-z0-9]+)$`)
)

// Parse reads an identifier, with angle or square brackets round it or bare.
// Whether the system is served is for the caller to say.
func Parse(s string) (Reference, error) {
	bare := strings.TrimSpace(s)
	for _, pair := range []string{"<>", "[]"} {
		if len(bare) > 1 && bare[0] == pair[0] && bare[len(bare)-1] == pair[1] {
			bare = bare[1 : len(bare)-1]
			break
		}
	}
	for _, form := range []*regexp.Regexp{uriForm, urnForm, curieForm} {
		m := form.FindStringSubmatch(bare)
		if m == nil {
			continue
		}
		if m[1] == "OGC" {
			// Its version in OGC's register is 1.3; an URN and a CURIE may leave it out.
			if m[3] == "CRS84" && (m[2] == "1.3" || m[2] == "" || m[2] == "0") {
				return CRS84, nil
			}
			break
		}
		code, err := strconv.Atoi(m[3])
		if err != nil {
			break
		}
		return EPSG(code)
	}
	return Reference{}, inventory.Errorf(inventory.Invalid, "%q is not the identifier of a reference system: expected one such as %s or %s%d", shorten(s), uriCRS84, uriEPSG, WGS84)
}

// shorten keeps messages short whatever is given.
func shorten(s string) string {
	if len(s) > 100 {
		return strings.ToValidUTF8(s[:100], "") + "…"
	}
	return s
}

func (r Reference) String() string {
	if r == CRS84 {
		return "CRS84"
	}
	return fmt.Sprintf("EPSG:%d", r.SRID)
}
