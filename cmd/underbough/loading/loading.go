// Package loading lets the service read files: it is an api.Importer by what the
// importers do. The command line calls the same.
package loading

import (
	"context"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/importers"
	"github.com/underbough/underbough/inventory"
)

// samples is how many different values of a column are shown.
const samples = 4

// Loading reads files into the inventory of one client.
type Loading struct {
	Store  inventory.ImportStore
	Client inventory.ClientID
	Now    func() time.Time
}

var _ api.Importer = (*Loading)(nil)

// Look says what a file is, and what could be read from it.
func (l *Loading) Look(file io.Reader, name string) (*api.ImportLook, error) {
	f, err := importers.Open(file, name, importers.OpenOptions{})
	if err != nil {
		return nil, err
	}
	if f.Sampled() == 0 {
		return nil, inventory.Errorf(inventory.Invalid, "%s holds no records: expected a CSV file with rows below its header, or GeoJSON Features", name)
	}
	in := f.Coordinates()
	out := &api.ImportLook{Format: f.Format, Sampled: f.Sampled(), Columns: []api.ImportColumn{}, Longitude: in.Longitude, Latitude: in.Latitude, WKT: in.WKT}
	for _, c := range f.Look(samples) {
		out.Columns = append(out.Columns, api.ImportColumn{Name: c.Name, Values: some(c.Values), Filled: c.Filled})
	}
	for _, role := range inventory.Roles {
		out.Roles = append(out.Roles, proposal(role, f.Columns))
	}
	return out, nil
}

// some is a list that JSON writes as one even where it is empty.
func some[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// proposal is what the names of columns propose for a role.
func proposal(role inventory.Role, columns []string) api.ImportRole {
	mapping, unclear := importers.Guess(role, columns)
	out := api.ImportRole{Role: role, Required: some(importers.Required(role)), Located: importers.Located(role), Mapping: rulesOf(mapping), Unclear: []api.ImportUnclear{}, Fields: []api.ImportField{}}
	for _, u := range unclear {
		if !slices.ContainsFunc(out.Unclear, func(before api.ImportUnclear) bool { return before.Column == u.Column }) {
			out.Unclear = append(out.Unclear, api.ImportUnclear(u))
		}
	}
	for _, f := range importers.Fields(role) {
		out.Fields = append(out.Fields, api.ImportField{Name: f.Name, Quantity: f.Quantity.String(), Units: some(f.Units()), NeedsUnit: f.NeedsUnit(), Choices: some(f.Choices)})
	}
	return out
}

func rulesOf(m importers.Mapping) []api.ImportRule {
	out := []api.ImportRule{}
	for _, name := range slices.Sorted(maps.Keys(m)) {
		r := m[name]
		one := api.ImportRule{Field: name, From: r.From, Unit: r.Unit, Value: r.Value, Max: r.Max}
		for _, from := range slices.Sorted(maps.Keys(r.Values)) {
			one.Values = append(one.Values, api.ImportWord{From: from, To: r.Values[from]})
		}
		out = append(out, one)
	}
	return out
}

// open opens a file as a plan reads it.
func (l *Loading) open(file io.Reader, name string, p *api.ImportPlan) (*importers.File, importers.Options, error) {
	o := importers.Options{
		Client: l.Client, Site: p.Site, TimeZone: p.TimeZone, Role: p.Role, Layer: p.Layer, Mapping: make(importers.Mapping),
		MaxKM: p.MaxKM, DryRun: p.DryRun, Actor: p.Actor, Year: l.Now().Year(),
	}
	for _, r := range p.Mapping {
		rule := importers.Rule{From: r.From, Unit: r.Unit, Value: r.Value, Max: r.Max}
		for _, w := range r.Values {
			if rule.Values == nil {
				rule.Values = make(map[string]string)
			}
			rule.Values[w.From] = w.To
		}
		o.Mapping[r.Field] = rule
	}
	for _, w := range p.Where {
		o.Where = append(o.Where, importers.Where(w))
	}
	f, err := importers.Open(file, name, importers.OpenOptions{Longitude: p.Longitude, Latitude: p.Latitude, WKT: p.WKT})
	if err == nil && o.Role == inventory.RoleTargets && o.Layer == "" {
		o.Layer, _, _ = strings.Cut(name, ".")
	}
	return f, o, err
}

// Check reports what is wrong with a plan for a file.
func (l *Loading) Check(file io.Reader, name string, p *api.ImportPlan) error {
	f, o, err := l.open(file, name, p)
	if err != nil {
		return err
	}
	return importers.Check(f, o)
}

// Run imports a file in one transaction.
func (l *Loading) Run(ctx context.Context, file io.Reader, name string, p *api.ImportPlan, watch func(api.ImportProgress)) (*api.Imported, error) {
	f, o, err := l.open(file, name, p)
	if err != nil {
		return nil, err
	}
	watch(f)
	out := &api.Imported{}
	o.FirstHeld = func(held []inventory.Held) { out.FirstHeld = held }
	if out.Counts, err = importers.Run(ctx, l.Store, f, o); err != nil {
		return nil, err
	}
	if b, ok := f.Bound(); ok {
		out.Box = []float64{b.Min[0], b.Min[1], b.Max[0], b.Max[1]}
	}
	return out, nil
}

// Cells takes a held row apart.
func (l *Loading) Cells(row *inventory.QuarantineRow) ([]api.ImportCell, bool) {
	cells, ok := importers.Cells(row)
	out := make([]api.ImportCell, len(cells))
	for i, c := range cells {
		out[i] = api.ImportCell(c)
	}
	return out, ok
}

// Mend writes a held row anew.
func (l *Loading) Mend(row *inventory.QuarantineRow, values map[string]string) (string, error) {
	return importers.Mend(row, values)
}

// Readmit imports held rows again.
func (l *Loading) Readmit(ctx context.Context, rows []inventory.QuarantineRow, how api.ImportReadmission) (inventory.Counts, error) {
	o := importers.Options{Client: l.Client, MaxKM: -1, Actor: how.Actor, Year: l.Now().Year()}
	if how.MaxKM.OK {
		o.MaxKM = how.MaxKM.V
	}
	return importers.Readmit(ctx, l.Store, rows, o)
}
