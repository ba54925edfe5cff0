package csv

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// header is the columns' names and which of them hold coordinates; -1 for none.
type header struct {
	names         []string
	lon, lat, wkt int
}

// Names by which coordinate columns are found, the likelier first. A longitude
// and a latitude go before well-known text, whose names are more often used for
// something else, such as the shape of a crown.
var (
	lonNames = []string{"longitude", "lon", "long", "lng", "x"}
	latNames = []string{"latitude", "lat", "y"}
	wktNames = []string{"wkt", "geom", "geometry", "the_geom", "shape"}
)

func readHeader(text []byte, comma byte, opts Options) (header, error) {
	r := csv.NewReader(bytes.NewReader(text))
	r.Comma = rune(comma)
	names, err := r.Read()
	if err != nil {
		return header{}, fmt.Errorf("read the header row: %w", err)
	}
	h := header{names: names, lon: -1, lat: -1, wkt: -1}
	if err := h.checkNames(); err != nil {
		return header{}, err
	}
	return h, h.findCoordinates(opts)
}

func (h *header) checkNames() error {
	at := map[string]int{}
	for i, name := range h.names {
		name = strings.TrimSpace(name)
		h.names[i] = name
		if name == "" {
			return fmt.Errorf("column %d of the header has no name; give it one", i+1)
		}
		if !utf8.ValidString(name) {
			return fmt.Errorf("this is not a table in UTF-8: the name of column %d of the header is not; convert the file to UTF-8, if it is text", i+1)
		}
		if before, ok := at[name]; ok {
			return fmt.Errorf("columns %d and %d of the header are both named %q; rename one", before+1, i+1, name)
		}
		at[name] = i
	}
	return nil
}

func (h *header) findCoordinates(opts Options) error {
	pair := opts.Longitude != "" || opts.Latitude != ""
	switch {
	case pair && opts.WKT != "":
		return errors.New("coordinates are asked for from longitude and latitude and from WKT; name one or the other")
	case pair && (opts.Longitude == "" || opts.Latitude == ""):
		return errors.New("name both the longitude column and the latitude column")
	case pair:
		var err error
		if h.lon, err = h.named(opts.Longitude); err != nil {
			return err
		}
		if h.lat, err = h.named(opts.Latitude); err == nil && h.lat == h.lon {
			err = fmt.Errorf("column %q cannot hold both longitude and latitude", opts.Latitude)
		}
		return err
	case opts.WKT != "":
		var err error
		h.wkt, err = h.named(opts.WKT)
		return err
	}
	lon, lat := h.first(lonNames), h.first(latNames)
	if lon >= 0 && lat >= 0 {
		h.lon, h.lat = lon, lat
		return nil
	}
	h.wkt = h.first(wktNames)
	return nil
}

func (h *header) named(name string) (int, error) {
	if i := slices.Index(h.names, name); i >= 0 {
		return i, nil
	}
	return -1, fmt.Errorf("there is no column %q; the header has: %s", name, strings.Join(h.names, ", "))
}

// first returns the column whose name comes first in names, in any case.
func (h *header) first(names []string) int {
	for _, name := range names {
		i := slices.IndexFunc(h.names, func(have string) bool { return strings.EqualFold(have, name) })
		if i >= 0 {
			return i
		}
	}
	return -1
}
