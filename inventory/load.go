package inventory

import (
	"context"
	"time"

	"github.com/paulmach/orb"
)

// Role is what the records of an import are.
type Role string

// The roles.
const (
	RoleTrees   Role = "trees"
	RoleTargets Role = "targets"
	RoleCuts    Role = "cuts"
	RoleVisits  Role = "visits"
	RoleCounts  Role = "counts" // people and vehicles counted at targets
	RoleCrowns  Role = "crowns" // surveyed outlines of the crowns of trees that are there
)

// Roles lists every role.
var Roles = []Role{RoleTrees, RoleTargets, RoleCuts, RoleVisits, RoleCounts, RoleCrowns}

// Row is what every imported row carries besides its figures.
type Row struct {
	Record int64  // place in the file, from 1
	Key    string // what a later import matches the row on
	Digest uint64 // of the record as read and of how it was mapped
	Extra  []byte // columns that nothing was mapped to, a JSON object; nil for none
	Text   []byte // the record as read; only where it may yet have to be held
}

// TreeRow is one tree of an import, with the cuts that came inside it.
type TreeRow struct {
	Row
	Tree
	Cuts   []CutRow
	Repair string // what was mended in the crown's outline while it was read
}

// CutRow is one cut of an import.
type CutRow struct {
	Row
	Cut
	TreeRef
}

// VisitRow is one visit of an import.
type VisitRow struct {
	Row
	Visit
	TreeRef
}

// CrownRow is one surveyed outline of a crown, with how it names its tree.
type CrownRow struct {
	Row
	TreeRef
	Crown  orb.Geometry // Polygon or MultiPolygon
	Repair string       // what was mended in it while it was read
}

// CountRow is what was counted at a target from a time on: in an hour, or in a
// part of one.
type CountRow struct {
	Row
	TargetRef
	At time.Time
	// Zoned says that At is an instant; without it At is the site's local time,
	// whatever its location says.
	Zoned            bool
	People, Vehicles Opt[float64] // at least one of the two
}

// TargetRef is how a count names its target: by source id within a layer or, of
// no layer, by an id that one target of the site has; or by name.
type TargetRef struct {
	TargetLayer, TargetSourceID, TargetName string
}

// TreeRef is how a cut, a visit or a crown names its tree: by the key of the row
// it came in, by source id, or by tag.
type TreeRef struct {
	TreeKey, TreeSourceID, TreeTag string
}

// TargetRow is one target of an import.
type TargetRow struct {
	Row
	Target
	Repair string // what was mended in the shape while it was read
}

// Held is a record that cannot be used as it is, with the reason.
type Held struct {
	Record int64
	Field  string // empty where the whole record is at fault
	Reason string
	Text   []byte
}

// Counts is what became of the records of an import. They always add up:
// Read = Added + Updated + Unchanged + LeftOut + Quarantined.
type Counts struct {
	Read        int64 `json:"read"`
	Added       int64 `json:"added"`
	Updated     int64 `json:"updated"`
	Unchanged   int64 `json:"unchanged"`
	LeftOut     int64 `json:"left_out"`
	Quarantined int64 `json:"quarantined"`
	// Repaired counts, among the added and updated, the records whose geometry
	// was invalid and was mended by rule.
	Repaired int64 `json:"repaired"`
	// Broken counts, among the quarantined, the records that could not even be cut
	// from the file: it breaks off, or is damaged there.
	Broken int64 `json:"broken"`
	// Summed counts, among the added, updated and unchanged, the records of parts
	// of an hour that were summed into it, beyond the first of each hour.
	Summed int64 `json:"summed,omitempty"`
	// CutsAdded, CutsUpdated and CutsUnchanged count cuts that came inside tree
	// records.
	CutsAdded     int64 `json:"cuts_added"`
	CutsUpdated   int64 `json:"cuts_updated"`
	CutsUnchanged int64 `json:"cuts_unchanged"`
}

// AddUp reports whether every record read is accounted for.
func (c Counts) AddUp() bool {
	return c.Read == c.Added+c.Updated+c.Unchanged+c.LeftOut+c.Quarantined
}

// ImportSpec says what an import loads and how it was mapped.
type ImportSpec struct {
	Client   ClientID
	Site     string
	TimeZone string // of a site that is made by this import
	Role     Role
	FileName string
	Format   string   // geojson or csv: how a held row is to be read again
	Mapping  []byte   // JSON: the mapping with its units, and what else reading needs again
	Columns  []string // our columns that the file gives; an update leaves the others alone
	Actor    string
	DryRun   bool    // do all the work, then leave everything as it was
	Readmit  []int64 // quarantine rows that this import settles
	// FirstHeld, where it is set, is given the first records that are held, when all
	// is read and before a dry run is taken back.
	FirstHeld func([]Held)
}

// MostFirstHeld is how many records FirstHeld is given at most.
const MostFirstHeld = 20

// Loader takes the rows of one import, in one transaction.
type Loader interface {
	Trees(ctx context.Context, rows []TreeRow) error
	Targets(ctx context.Context, rows []TargetRow) error
	Cuts(ctx context.Context, rows []CutRow) error
	Visits(ctx context.Context, rows []VisitRow) error
	Counts(ctx context.Context, rows []CountRow) error
	Crowns(ctx context.Context, rows []CrownRow) error
	Hold(ctx context.Context, rows []Held) error
	// Reference returns where the site's trees or targets already lie: the
	// median longitude and latitude, or false for an empty site.
	Reference(ctx context.Context) (lon, lat float64, ok bool, err error)
	// Finish matches the rows with what is there, writes and commits. It is
	// given what the importer counted (read, left out) and returns the rest.
	Finish(ctx context.Context, c Counts) (Counts, error)
	// Abort leaves everything as it was. After Finish it does nothing.
	Abort()
}

// ImportStore begins imports.
type ImportStore interface {
	BeginImport(ctx context.Context, spec ImportSpec) (Loader, error)
}
