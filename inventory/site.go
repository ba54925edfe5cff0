package inventory

import "time"

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
	Overlaps      int64 // pairs of a zone and a target that meet
}
