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
	"io"
	"runtime"
	"slices"
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
	// updates it. Of counts it names the layer that their targets are of, where
	// the records do not; empty for any.
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
	// FirstHeld, where it is set, is given the first records that were held.
	FirstHeld func([]inventory.Held)

	// taken are the ids that earlier records of the same file have, with the
	// places of those records: a row that was held for its repeated id and still
	// bears it must not overwrite the record that had it first.
	taken map[string]int64
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
	counts  []inventory.CountRow
	crowns  []inventory.CrownRow
	held    []inventory.Held
	read    int64
	leftOut int64
	broken  int64
	texts   [][]byte // of the rows, should a repeated id be found
}

// Check reports what is wrong with the options for a file, before anything is read
// of it but its sample.
func Check(f *File, o Options) error {
	columns := f.Columns
	if f.Format == FormatGeoJSON {
		columns = nil
	}
	if err := o.Mapping.Check(o.Role, columns); err != nil {
		return err
	}
	if err := f.fits(o.Role, o.Mapping); err != nil {
		return err
	}
	for _, w := range o.Where {
		if f.Format == FormatCSV && !f.HasColumn(w.Column) {
			return inventory.Errorf(inventory.Invalid, "the condition on %s (--where): the file has no such column; it has %s", w.Column, strings.Join(f.Columns, ", "))
		}
	}
	return nil
}

// Run imports a file. The counts it returns always add up; on an error nothing
// has changed.
func Run(ctx context.Context, store inventory.ImportStore, f *File, o Options) (inventory.Counts, error) {
	if err := Check(f, o); err != nil {
		return inventory.Counts{}, err
	}
	conv, err := newConverter(o.Role, o.Mapping, o.Where, o.Year)
	if err != nil {
		return inventory.Counts{}, err
	}
	how, err := json.Marshal(kept{Fields: o.Mapping, Where: o.Where, Header: f.Header, MaxKM: o.MaxKM, Layer: o.Layer, Open: f.open})
	if err != nil {
		return inventory.Counts{}, err
	}
	l, err := store.BeginImport(ctx, inventory.ImportSpec{
		Client: o.Client, Site: o.Site, TimeZone: o.TimeZone, Role: o.Role, FileName: f.Name, Format: f.Format,
		Mapping: how, Columns: conv.columns(), Actor: o.Actor, DryRun: o.DryRun, Readmit: o.Readmit, FirstHeld: o.FirstHeld,
	})
	if err != nil {
		return inventory.Counts{}, err
	}
	defer l.Abort()
	r := &run{file: f, options: o, loader: l, repeats: newRepeats(o.Role, o.taken)}
	counts, err := r.through(ctx)
	if err != nil && ctx.Err() != nil {
		// Whatever broke first, the caller's giving up is why.
		err = ctx.Err()
	}
	return counts, err
}

func (r *run) through(ctx context.Context) (inventory.Counts, error) {
	if err := r.findReference(ctx); err != nil {
		return r.counts, err
	}
	if err := r.flow(ctx); err != nil {
		return r.counts, err
	}
	return r.loader.Finish(ctx, r.counts)
}

type run struct {
	file    *File
	options Options
	loader  inventory.Loader
	astray  astray
	counts  inventory.Counts
	repeats *repeats
}

// findReference settles where the records should lie.
func (r *run) findReference(ctx context.Context) error {
	if !slices.Contains(located, r.options.Role) {
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
		conv.layer, conv.open = r.options.Layer, r.file.open
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
	last := int64(0)
	for {
		b := &batch{result: make(chan result, 1)}
		var end error
		for len(b.raw) < batchSize {
			raw, err := r.file.next()
			if err != nil {
				end = err
				break
			}
			last = raw.Number
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
			return inventory.Errorf(inventory.Invalid, "%s: reading failed after record %d, nothing was loaded: %w", r.file.Name, last, end)
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
			res.broken++
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

// unstorable finds what JSON can say and no database can hold: the character
// NUL, and numbers such as 1e200000.
func unstorable(raw *source.Raw, rec *source.Record) *source.Problem {
	for i := range rec.Fields {
		if f := &rec.Fields[i]; (f.Value.Kind == source.Number || f.Value.Kind == source.JSON) && hugeNumber(f.Value.Text) {
			return &source.Problem{Field: f.Name, Reason: "a number is beyond all measure: correct it, or write it as text"}
		}
	}
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

// hugeNumber reports whether JSON text may hold a number of more figures than
// fit a database: an exponent of four figures, or thousands of digits.
func hugeNumber(text string) bool {
	digits, exponent := 0, false
	for i := range len(text) {
		switch c := text[i]; {
		case c >= '0' && c <= '9':
			if digits++; digits >= 4 && exponent || digits > 4000 {
				return true
			}
		case (c == 'e' || c == 'E') && digits > 0:
			digits, exponent = 0, true
		case (c == '+' || c == '-') && exponent && digits == 0:
		case c == '.' && !exponent:
		default:
			digits, exponent = 0, false
		}
	}
	return false
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
	case inventory.RoleCounts:
		row, p := conv.count(raw)
		if p != nil {
			return p
		}
		res.counts, key = append(res.counts, row), row.Key
	case inventory.RoleCrowns:
		row, p := conv.crown(raw, rec)
		if p == nil {
			p = r.astray.check(row.Crown.Bound().Center())
		}
		if p != nil {
			return p
		}
		res.crowns = append(res.crowns, row)
	}
	res.keys = append(res.keys, key)
	res.texts = append(res.texts, raw.Text)
	return nil
}

func (res *result) hold(raw *source.Raw, p *source.Problem) {
	res.held = append(res.held, inventory.Held{Record: raw.Number, Field: p.Field, Reason: p.Reason, Text: raw.Text})
}

// bound widens the box about what is handed on.
func (r *run) bound(res *result) {
	for i := range res.trees {
		r.file.extend(res.trees[i].Point.Bound())
	}
	for i := range res.targets {
		r.file.extend(res.targets[i].Geometry.Bound())
	}
	for i := range res.crowns {
		r.file.extend(res.crowns[i].Crown.Bound())
	}
}

// load takes a batch in the order of the file.
func (r *run) load(ctx context.Context, res *result) error {
	r.counts.Read += res.read
	r.file.handed.Add(res.read)
	r.counts.LeftOut += res.leftOut
	r.counts.Broken += res.broken
	r.repeats.hold(res, r.options.Mapping)
	r.bound(res)
	steps := []struct {
		n  int
		do func() error
	}{
		{len(res.trees), func() error { return r.loader.Trees(ctx, res.trees) }},
		{len(res.targets), func() error { return r.loader.Targets(ctx, res.targets) }},
		{len(res.cuts), func() error { return r.loader.Cuts(ctx, res.cuts) }},
		{len(res.visits), func() error { return r.loader.Visits(ctx, res.visits) }},
		{len(res.counts), func() error { return r.loader.Counts(ctx, res.counts) }},
		{len(res.crowns), func() error { return r.loader.Crowns(ctx, res.crowns) }},
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
