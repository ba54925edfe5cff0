package inventory

import (
	"strings"
	"time"
	"unicode"
)

// CheckSiteName reports whether a name can be a site's.
func CheckSiteName(name string) error {
	switch {
	case strings.TrimSpace(name) == "":
		return Errorf(Invalid, "the site has no name: give one with --site")
	case strings.TrimSpace(name) != name:
		return Errorf(Invalid, "the site's name %q begins or ends with a space", name)
	case len(name) > 200:
		return Errorf(Invalid, "the site's name is %d bytes long: 200 are enough", len(name))
	case strings.ContainsFunc(name, unicode.IsControl):
		return Errorf(Invalid, "the site's name %q holds a line break or another control character", name)
	}
	return nil
}

// Site is a place of a client's: a campus, a park, a street district.
type Site struct {
	ID       SiteID
	Client   ClientID
	Name     string
	TimeZone string // IANA name; the hours of the week are in it
}

// Run is one full computation of a site's exposures.
type Run struct {
	Generation    int64
	ProfileName   string
	ProfileDigest string
	AsOf          time.Time // the day that years since a cut were counted to
	ComputedAt    time.Time
	Trees         int64 // standing trees computed
	Targets       int64
	Overlaps      int64   // pairs of a zone and a target that meet
	Reach         float64 // the farthest that any zone reaches, metres
}

// RestsOn reports whether the run was made under a profile, as of a day.
func (r *Run) RestsOn(profileDigest string, asOf time.Time) bool {
	return r.ProfileDigest == profileDigest && r.AsOf.Format(time.DateOnly) == asOf.Format(time.DateOnly)
}
