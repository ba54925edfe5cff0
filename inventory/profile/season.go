package profile

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"

	"github.com/underbough/underbough/inventory"
)

// ParseSeason reads a season; the empty text is the whole year.
func ParseSeason(s string) (Season, error) {
	if s == "" {
		return WholeYear, nil
	}
	if !slices.Contains(Seasons, Season(s)) {
		return "", inventory.Errorf(inventory.Invalid, "season %q: expected year, leaf-on or leaf-off", s)
	}
	return Season(s), nil
}

// In returns the profile for a season of the year: its calendar counts only the
// days of that season, and its digest tells it from the others. The empty season
// leaves the profile's own.
func (p *Profile) In(s Season) *Profile {
	if s == "" || s == p.Calendar.Season || s == WholeYear && p.Calendar.Season == "" {
		return p
	}
	q := *p
	q.Calendar.Season = s
	q.Name = p.Name + ", " + string(s)
	sum := sha256.Sum256([]byte(p.TextDigest() + "\n" + string(s)))
	q.Digest = hex.EncodeToString(sum[:])
	return &q
}

// TextDigest identifies the text alone, whatever the season.
func (p *Profile) TextDigest() string {
	sum := sha256.Sum256(p.Text)
	return hex.EncodeToString(sum[:])
}
