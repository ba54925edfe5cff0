package api

import (
	"net/url"
	"strings"

	"github.com/underbough/underbough/inventory"
)

// checkBasemap reports what is wrong with the raster tiles set to be drawn under
// the map.
func (c Config) checkBasemap() error {
	template := c.Basemap
	if template == "" {
		if c.BasemapCredit != "" {
			return inventory.Errorf(inventory.Invalid, "basemap credit %q: means nothing without a basemap", c.BasemapCredit)
		}
		return nil
	}
	wrong := func(why string) error {
		return inventory.Errorf(inventory.Invalid, "basemap %q: %s; expected the address of raster tiles such as https://tiles.example/{z}/{x}/{y}.png, or a path of this service's host such as /tiles/{z}/{x}/{y}.png", template, why)
	}
	filled := template
	for _, part := range []string{"{z}", "{x}", "{y}"} {
		if !strings.Contains(template, part) {
			return wrong("it has no " + part)
		}
		filled = strings.ReplaceAll(filled, part, "1")
	}
	if strings.ContainsAny(filled, "{}") {
		return wrong("it asks for more than {z}, {x} and {y}")
	}
	u, err := url.Parse(filled)
	switch {
	case err != nil || strings.ContainsAny(filled, " \t\r\n\"'<>;,"):
		return wrong("it is no address")
	case u.Scheme == "" && u.Host == "" && strings.HasPrefix(u.Path, "/"):
		return nil // of the same origin
	case u.Scheme != "http" && u.Scheme != "https":
		return wrong("it is neither http nor https nor a path that begins with /")
	case u.Host == "" || strings.ContainsAny(hostOf(template), "{}*?#"):
		return wrong("its host must be plain")
	case u.User != nil:
		return wrong("it holds a user's name")
	case c.BasemapCredit == "":
		return inventory.Errorf(inventory.Invalid, "basemap %q: give a credit: who makes tiles asks to be named beside the map", template)
	}
	return nil
}

// hostOf is what stands between the scheme and the path.
func hostOf(template string) string {
	_, rest, _ := strings.Cut(template, "://")
	host, _, _ := strings.Cut(rest, "/")
	return host
}

// basemapOrigin is whence the map page gets raster tiles, as a policy names it;
// empty for nowhere but here.
func (c Config) basemapOrigin() string {
	scheme, _, other := strings.Cut(c.Basemap, "://")
	if !other {
		return ""
	}
	return " " + scheme + "://" + hostOf(c.Basemap)
}
