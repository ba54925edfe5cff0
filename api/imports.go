package api

import (
	"context"
	"io"
	"time"

	"github.com/underbough/underbough/inventory"
)

// Files that clients send are kept, looked at, tried and loaded here; reading them
// is an Importer's part.

// Importer reads files into the inventory of one client. A file is given from its
// beginning and stays the caller's to close.
type Importer interface {
	// Look says what a file is, and what could be read from it.
	Look(file io.Reader, name string) (*ImportLook, error)
	// Check reports what is wrong with a plan for a file, naming field and column,
	// before it is run.
	Check(file io.Reader, name string, plan *ImportPlan) error
	// Run imports a file in one transaction: on an error, nothing has changed. watch
	// is given what tells how far it is, before it begins.
	Run(ctx context.Context, file io.Reader, name string, plan *ImportPlan, watch func(ImportProgress)) (*Imported, error)
	// Cells takes a held row apart; false where it is too broken for that.
	Cells(row *inventory.QuarantineRow) ([]ImportCell, bool)
	// Mend writes a held row anew with other values in some of its cells.
	Mend(row *inventory.QuarantineRow, values map[string]string) (string, error)
	// Readmit imports held rows again as they are given, by the mapping that they
	// were held under. Rows that are still at fault stay held.
	Readmit(ctx context.Context, rows []inventory.QuarantineRow, how ImportReadmission) (inventory.Counts, error)
}

// ImportProgress tells how far an import is, and may be asked at any time.
type ImportProgress interface {
	BytesRead() int64 // of the file as it was sent
	Records() int64
}

// ImportLook is what a file is, by its first records.
type ImportLook struct {
	Format  string         `json:"format"`
	Sampled int            `json:"sampled"` // records looked at
	Columns []ImportColumn `json:"columns"`
	// The columns that geometries are read from, by their names; empty where no
	// names tell, and for GeoJSON.
	Longitude string       `json:"longitude"`
	Latitude  string       `json:"latitude"`
	WKT       string       `json:"wkt"`
	Roles     []ImportRole `json:"roles"`
}

// ImportColumn is a column with some of its values.
type ImportColumn struct {
	Name   string   `json:"name"`
	Values []string `json:"values"`
	Filled int      `json:"filled"` // of the records looked at
}

// ImportRole is what the records could be, and what is proposed then.
type ImportRole struct {
	Role   inventory.Role `json:"as"`
	Fields []ImportField  `json:"fields"`
	// Required lists groups of fields: records need at least one of each.
	Required [][]string `json:"required"`
	// Located says that records need a geometry.
	Located bool         `json:"located"`
	Mapping []ImportRule `json:"mapping"`
	// Unclear are columns that are named like a field, without telling its unit.
	Unclear []ImportUnclear `json:"unclear"`
}

// ImportField is a field that a column can be read as.
type ImportField struct {
	Name      string   `json:"name"`
	Quantity  string   `json:"quantity"`
	Units     []string `json:"units"`
	NeedsUnit bool     `json:"needs_unit"`
	Choices   []string `json:"choices"`
}

// ImportUnclear is a column whose name does not tell the unit.
type ImportUnclear struct {
	Column string   `json:"column"`
	Field  string   `json:"field"`
	Units  []string `json:"units"`
}

// ImportRule says where one field comes from: a column, or one value for all.
type ImportRule struct {
	Field  string       `json:"field"`
	From   string       `json:"from,omitempty"`
	Unit   string       `json:"unit,omitempty"`
	Value  string       `json:"value,omitempty"`
	Values []ImportWord `json:"values,omitempty"`
	Max    float64      `json:"max,omitempty"` // in the unit given
}

// ImportWord turns a word of the file into one of a field's.
type ImportWord struct {
	From string `json:"from"`
	To   string `json:"to"`
}

// ImportCondition keeps only records whose column has one of the values.
type ImportCondition struct {
	Column string   `json:"column"`
	Values []string `json:"values"`
}

// ImportPlan is how a file is to be read.
type ImportPlan struct {
	Role      inventory.Role    `json:"as"`
	Site      string            `json:"site"`
	TimeZone  string            `json:"time_zone"` // of a site that is made by it
	Mapping   []ImportRule      `json:"mapping"`
	Where     []ImportCondition `json:"where"`
	Layer     string            `json:"layer"`
	Longitude string            `json:"longitude"`
	Latitude  string            `json:"latitude"`
	WKT       string            `json:"wkt"`
	MaxKM     float64           `json:"max_km"` // from the middle of the site; 0 for no limit
	Actor     string            `json:"by"`
	DryRun    bool              `json:"dry_run"`
}

// Imported is what came of a run.
type Imported struct {
	inventory.Counts
	FirstHeld []inventory.Held // of the records that were held
	// Box holds the trees, targets or crowns that were read: west, south, east,
	// north, degrees; nil where there were none.
	Box []float64
}

// ImportCell is one named value of a held row.
type ImportCell struct {
	Name  string `json:"name"`
	Value string `json:"value"`
	Fault bool   `json:"fault"` // this is what the row is held for
}

// ImportReadmission is how held rows are read again.
type ImportReadmission struct {
	Actor string
	MaxKM inventory.Opt[float64] // another limit of distance, kilometres
}

// mostDistance is half the way around the Earth, kilometres.
const mostDistance = 20_038

// uploadAge is how long a file is kept that nobody asks about.
const uploadAge = 24 * time.Hour

// mostUploads is how many files are kept at a time.
const mostUploads = 20

// readPlan reads a plan from a request's body. Without a mapping what was proposed
// for the role is taken.
func readPlan(f *fields, look *ImportLook) (*ImportPlan, error) {
	text := func(name string) string { return f.text(name).V }
	p := &ImportPlan{
		Role: inventory.Role(text("as")), Site: text("site"), TimeZone: text("time_zone"), Layer: text("layer"),
		Longitude: text("longitude"), Latitude: text("latitude"), WKT: text("wkt"), MaxKM: defaultMaxKM,
	}
	f.need("site", "the name of a site")
	var proposed *ImportRole
	for i := range look.Roles {
		if look.Roles[i].Role == p.Role {
			proposed = &look.Roles[i]
		}
	}
	if proposed == nil {
		f.wrong("as", "is %.60q: expected one of %s", p.Role, joinWords(inventory.Roles))
	}
	if km := f.number("max_km", 1); km.OK {
		if p.MaxKM = km.V; km.V < 0 || km.V > mostDistance {
			f.wrong("max_km", "is %v: expected a distance in kilometres, 0 for no limit", km.V)
		}
	}
	f.each("where", func(f *fields) {
		f.need("column", "the name of a column")
		f.need("values", "a list of its values")
		p.Where = append(p.Where, ImportCondition{Column: f.text("column").V, Values: f.texts("values")})
	})
	if f.of["mapping"] == nil && proposed != nil {
		p.Mapping = proposed.Mapping
	}
	f.each("mapping", func(f *fields) {
		f.need("field", "the name of a field")
		r := ImportRule{Field: f.text("field").V, From: f.text("from").V, Unit: f.text("unit").V, Value: f.text("value").V, Max: f.number("max", 1).V}
		f.each("values", func(f *fields) { r.Values = append(r.Values, ImportWord{From: f.text("from").V, To: f.text("to").V}) })
		for i := range p.Mapping {
			if p.Mapping[i].Field == r.Field {
				f.wrong("field", "%.60q is mapped twice: expected one rule for each field", r.Field)
			}
		}
		p.Mapping = append(p.Mapping, r)
	})
	if p.TimeZone != "" {
		if _, err := time.LoadLocation(p.TimeZone); err != nil || p.TimeZone == "Local" {
			f.wrong("time_zone", "is %.60q, which is no time zone: expected a name such as Europe/Zurich", p.TimeZone)
		}
	}
	if err := f.end(); err != nil {
		return nil, err
	}
	return p, inventory.CheckSiteName(p.Site)
}

// defaultMaxKM is far enough for any city and near enough to catch swapped and
// zero coordinates, kilometres.
const defaultMaxKM = 200
