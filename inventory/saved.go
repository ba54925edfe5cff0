package inventory

import "time"

// SavedQuestion is a filter that a client keeps by name. It is served as a
// collection of its own.
type SavedQuestion struct {
	Name       string // as in addresses
	Title      string
	Collection string // that it selects from
	Filter     string // CQL2 text
	ChangedAt  time.Time
	ChangedBy  string
}
