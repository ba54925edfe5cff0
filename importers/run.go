// Package importers reads files into the inventory: it opens a format, maps its
// columns to fields with their units, checks each record, holds back what
// cannot be used with the reason, and hands the rest to a loader in batches.
//
// Records flow in a line: one goroutine cuts the stream, several parse, map and
// check, and one takes the batches in the order of the file, looks for repeated
// ids and loads. Memory stays constant but for 16 bytes or so a record to know
// the ids already seen.
package importers

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"hash/maphash"
	"io"
	"runtime"
	"strings"

	"golang.org/x/sync/errgroup"

	"github.com/underbough/underbough/importers/source"
	"github.com/underbough/underbough/inventory"
)

// Options says how a file is to be imported.
type Options struct {
	Client   inventory.ClientID
	Site     string
	TimeZone string
	Role     inventory.Role
	// Layer names the source layer of targets: ids are unique within it, so that
	// two layers may both have an object 1. Importing it again under the same name
	// updates it.
	Layer   string
	Mapping Mapping
	Where   []Where
	// MaxKM is how far from the middle of the site, or of the file's beginning,
	// a point may lie before it is held as astray, kilometres; 0 sets no limit.
	MaxKM   float64
	DryRun  bool
	Actor   string
	Year    int     // the current year
	Readmit []int64 // quarantine rows that this import settles
	Numbers []int64 // their places in the file they came from
}

// DefaultMaxKM is far enough for any city and near enough to catch swapped and
// zero coordinates.
const DefaultMaxKM = 200

// kept is what reading a held row again needs to know of its import.
type kept struct {
	Fields Mapping     `json:"fields"`
	Where  []Where     `json:"where,omitempty"`
	Header string      `json:"header,omitempty"`
	MaxKM  float64     `json:"max_km"`
	Layer  string      `json:"layer,omitempty"`
	Open   OpenOptions `json:"coordinates"`
}

const batchSize = 1000

// batch is some records on their way: raw at first, then rows and held records.
type batch struct {
	raw    []source.Raw
	result chan result
}

type result struct {
	keys    []string // of the rows, in their order
	trees   []inventory.TreeRow
	targets []inventory.TargetRow
	cuts    []inventory.CutRow
	visits  []inventory.VisitRow
	held    []inventory.Held
	read    int64
	leftOut int64
	texts   [][]byte // of the rows, should a repeated id be found
}

// Run imports a file. The counts it returns always add up; on an error nothing
// has changed.
func Run(ctx context.Context, store inventory.ImportStore, f *File, o Options) (inventory.Counts, error) {
	columns := f.Columns
	if f.Format == FormatGeoJSON {
		columns = nil
	}
	if err := o.Mapping.Check(o.Role, columns); err != nil {
		return inventory.Counts{}, err
	}
	conv, err := newConverter(o.Role, o.Mapping, o.Where, o.Year)
	if err != nil {
		return inventory.Counts{}, err
	}
	for _, w := range o.Where {
		if f.Format == FormatCSV && !f.HasColumn(w.Column) {
			return inventory.Counts{}, inventory.Errorf(inventory.Invalid, "--where %s: the file has no such column", w.Column)
		}
	}
	how, err := json.Marshal(kept{Fields: o.Mapping, Where: o.Where, Header: f.Header, MaxKM: o.MaxKM, Layer: o.Layer, Open: f.open})
	if err != nil {
		return inventory.Counts{}, err
	}
	l, err := store.BeginImport(ctx, inventory.ImportSpec{
		Client: o.Client, Site: o.Site, TimeZone: o.TimeZone, Role: o.Role, FileName: f.Name, Format: f.Format,
		Mapping: how, Columns: conv.columns(), Actor: o.Actor, DryRun: o.DryRun, Readmit: o.Readmit,
	})
	if err != nil {
		return inventory.Counts{}, err
	}
	defer l.Abort()
	r := &run{file: f, options: o, loader: l, seed: maphash.MakeSeed(), seen: make(map[uint64]uint32)}
	if err := r.findReference(ctx); err != nil {
		return r.counts, err
	}
	if err := r.flow(ctx); err != nil {
		return r.counts, err
	}
	return l.Finish(ctx, r.counts)
}

type run struct {
	file    *File
	options Options
	loader  inventory.Loader
	astray  astray
	counts  inventory.Counts
	seed    maphash.Seed
	// seen leads from the hash of a key to the record that had it. Two keys with
	// one hash are a matter of one in a million for files of millions of records;
	// the later record would be held as repeated, from where it can be readmitted.
	seen map[uint64]uint32
}

// findReference settles where the records should lie.
func (r *run) findReference(ctx context.Context) error {
	if r.options.Role != inventory.RoleTrees && r.options.Role != inventory.RoleTargets {
		return nil
	}
	lon, lat, ok, err := r.loader.Reference(ctx)
	if err != nil {
		return err
	}
	if !ok {
		lon, lat, ok = middle(r.file.records)
	}
	r.astray = astray{lon: lon, lat: lat, km: r.options.MaxKM, on: ok && r.options.MaxKM > 0}
	return nil
}

// flow moves the records through.
func (r *run) flow(ctx context.Context) error {
	g, ctx := errgroup.WithContext(ctx)
	workers := max(1, runtime.GOMAXPROCS(0))
	toParse := make(chan *batch, workers)
	inOrder := make(chan *batch, 2*workers)
	g.Go(func() error {
		defer close(toParse)
		defer close(inOrder)
		return r.cut(ctx, toParse, inOrder)
	})
	for range workers {
		conv, err := newConverter(r.options.Role, r.options.Mapping, r.options.Where, r.options.Year)
		if err != nil {
			return err
		}
		conv.layer = r.options.Layer
		parser := r.file.src.NewParser()
		g.Go(func() error {
			for b := range toParse {
				b.result <- r.convert(conv, parser, b.raw)
			}
			return nil
		})
	}
	g.Go(func() error {
		for b := range inOrder {
			select {
			case res := <-b.result:
				if err := r.load(ctx, &res); err != nil {
					return err
				}
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		return nil
	})
	return g.Wait()
}

func (r *run) cut(ctx context.Context, toParse, inOrder chan<- *batch) error {
	for {
		b := &batch{result: make(chan result, 1)}
		var end error
		for len(b.raw) < batchSize {
			raw, err := r.file.next()
			if err != nil {
				end = err
				break
			}
			if n := raw.Number - 1; n < int64(len(r.options.Numbers)) {
				raw.Number = r.options.Numbers[n]
			}
			b.raw = append(b.raw, raw)
		}
		if len(b.raw) > 0 {
			for _, to := range []chan<- *batch{toParse, inOrder} {
				select {
				case to <- b:
				case <-ctx.Done():
					return ctx.Err()
				}
			}
		}
		if errors.Is(end, io.EOF) {
			return nil
		}
		if end != nil {
			return inventory.Errorf(inventory.Invalid, "%s: reading failed after record %d, nothing was loaded: %w", r.file.Name, r.counts.Read, end)
		}
	}
}

// convert turns raw records into rows.
func (r *run) convert(conv *converter, parser source.Parser, raws []source.Raw) result {
	n := len(raws)
	res := result{read: int64(n), keys: make([]string, 0, n), texts: make([][]byte, 0, n)}
	switch conv.role {
	case inventory.RoleTrees:
		res.trees = make([]inventory.TreeRow, 0, n)
	case inventory.RoleTargets:
		res.targets = make([]inventory.TargetRow, 0, n)
	}
	var rec source.Record
	for i := range raws {
		raw := &raws[i]
		rec.Reset()
		if raw.Problem != nil {
			res.hold(raw, raw.Problem)
			continue
		}
		parser.Parse(*raw, &rec)
		if rec.Problem != nil {
			res.hold(raw, rec.Problem)
			continue
		}
		if !conv.take(&rec) {
			res.leftOut++
			continue
		}
		if p := unstorable(raw, &rec); p != nil {
			res.hold(raw, p)
			continue
		}
		if p := r.one(conv, raw, &rec, &res); p != nil {
			res.hold(raw, p)
		}
	}
	return res
}

// unstorable finds the one character that no database text can hold. Only a
// record whose bytes show it is looked at closely.
func unstorable(raw *source.Raw, rec *source.Record) *source.Problem {
	if !bytes.Contains(raw.Text, []byte(`\u0000`)) && bytes.IndexByte(raw.Text, 0) < 0 {
		return nil
	}
	for i := range rec.Fields {
		if f := &rec.Fields[i]; strings.Contains(f.Value.Text+f.Name, "\x00") || f.Value.Kind == source.JSON && strings.Contains(f.Value.Text, `\u0000`) {
			return &source.Problem{Field: strings.ReplaceAll(f.Name, "\x00", ""), Reason: "the text holds the character NUL: take it out"}
		}
	}
	return nil
}

// one makes the row of one record.
func (r *run) one(conv *converter, raw *source.Raw, rec *source.Record, res *result) *source.Problem {
	key := ""
	switch conv.role {
	case inventory.RoleTrees:
		row, p := conv.tree(raw, rec)
		if p == nil {
			p = r.astray.check(row.Point)
		}
		if p != nil {
			return p
		}
		res.trees, key = append(res.trees, row), row.Key
	case inventory.RoleTargets:
		row, p := conv.target(raw, rec)
		if p == nil {
			p = r.astray.check(row.Geometry.Bound().Center())
		}
		if p != nil {
			return p
		}
		res.targets, key = append(res.targets, row), row.Key
	case inventory.RoleCuts:
		row, p := conv.cut(conv.row(raw))
		if p != nil {
			return p
		}
		row.Text = raw.Text
		res.cuts = append(res.cuts, row)
		if row.SourceID != "" {
			key = row.Key
		}
	case inventory.RoleVisits:
		row, p := conv.visit(raw)
		if p != nil {
			return p
		}
		row.Text = raw.Text
		res.visits = append(res.visits, row)
	}
	res.keys = append(res.keys, key)
	res.texts = append(res.texts, raw.Text)
	return nil
}

func (res *result) hold(raw *source.Raw, p *source.Problem) {
	res.held = append(res.held, inventory.Held{Record: raw.Number, Field: p.Field, Reason: p.Reason, Text: raw.Text})
}

// load takes a batch in the order of the file.
func (r *run) load(ctx context.Context, res *result) error {
	r.counts.Read += res.read
	r.counts.LeftOut += res.leftOut
	r.holdRepeated(res)
	steps := []struct {
		n  int
		do func() error
	}{
		{len(res.trees), func() error { return r.loader.Trees(ctx, res.trees) }},
		{len(res.targets), func() error { return r.loader.Targets(ctx, res.targets) }},
		{len(res.cuts), func() error { return r.loader.Cuts(ctx, res.cuts) }},
		{len(res.visits), func() error { return r.loader.Visits(ctx, res.visits) }},
		{len(res.held), func() error { return r.loader.Hold(ctx, res.held) }},
	}
	for _, s := range steps {
		if s.n == 0 {
			continue
		}
		if err := s.do(); err != nil {
			return err
		}
	}
	return nil
}

// holdRepeated takes out the rows whose id an earlier record had. Rows that are
// known only by where they are get a number instead: two trees may well share
// the coordinates of a plot.
func (r *run) holdRepeated(res *result) {
	repeated := make(map[int]uint32)
	for i, key := range res.keys {
		if key == "" {
			continue
		}
		h := maphash.String(r.seed, key)
		first, dup := r.seen[h]
		if dup && unnamed(key) {
			for n := 2; dup; n++ {
				numbered := fmt.Sprintf("%s#%d", key, n)
				h = maphash.String(r.seed, numbered)
				if _, dup = r.seen[h]; !dup {
					res.renumber(i, numbered)
				}
			}
		}
		if dup {
			repeated[i] = first
			continue
		}
		r.seen[h] = uint32(res.recordOf(i))
	}
	if len(repeated) > 0 {
		res.take(repeated, r.options.Mapping)
	}
}

// unnamed reports whether a key was made from the place or shape of a record.
func unnamed(key string) bool {
	return strings.HasPrefix(key, "at:") || strings.Contains(key, "/shape:")
}

func (res *result) recordOf(i int) int64 {
	switch {
	case res.trees != nil:
		return res.trees[i].Record
	case res.targets != nil:
		return res.targets[i].Record
	}
	return res.cuts[i].Record
}

func (res *result) renumber(i int, key string) {
	if res.trees != nil {
		for c := range res.trees[i].Cuts {
			res.trees[i].Cuts[c].TreeKey = key
		}
		res.trees[i].Key = key
		return
	}
	res.targets[i].Key = key
}

// take moves the repeated rows to the held ones.
func (res *result) take(repeated map[int]uint32, m Mapping) {
	field := m["source_id"].From
	if field == "" {
		field = "id"
	}
	for i := range res.keys {
		first, ok := repeated[i]
		if !ok {
			continue
		}
		res.held = append(res.held, inventory.Held{
			Record: res.recordOf(i), Field: field, Text: res.texts[i],
			Reason: fmt.Sprintf("the id %q is that of record %d already: give each its own id", res.keys[i], first),
		})
	}
	res.trees = without(res.trees, repeated)
	res.targets = without(res.targets, repeated)
	res.cuts = without(res.cuts, repeated)
}

func without[T any](rows []T, gone map[int]uint32) []T {
	out := rows[:0]
	for i := range rows {
		if _, ok := gone[i]; !ok {
			out = append(out, rows[i])
		}
	}
	return out
}
