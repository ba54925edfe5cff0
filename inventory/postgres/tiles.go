package postgres

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"strconv"

	"github.com/jackc/pgx/v5"
	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/tiling"
)

// FindTile returns a layer of a tile. Rows come from the database in the order
// of their ids and are encoded here: several times as fast as ST_AsMVT, which
// builds each row's values as JSON would.
func (db *DB) FindTile(ctx context.Context, q inventory.TileQuery) (tile []byte, err error) {
	read := map[string]func(*tileReader) error{
		"trees": (*tileReader).trees, "targets": (*tileReader).targets, "zones": (*tileReader).zones, "exposure": (*tileReader).exposure,
	}[q.Layer.ID]
	if read == nil {
		return nil, inventory.Errorf(inventory.Internal, "no tiles are made of layer %q", q.Layer.ID)
	}
	err = db.withSites(ctx, q.Client, false, func(sites siteStates) error {
		r := &tileReader{ctx: ctx, db: db, query: q, sites: sites, layer: tiling.NewLayer(q.LayerName())}
		if err := read(r); err != nil {
			return err
		}
		tile = r.layer.Bytes()
		return nil
	})
	return tile, err
}

// placedSQL leaves out geometries without a place, empty or not a number, which
// older tables took. To SQL, what is not a number is above all that are.
const placedSQL = `ST_XMin(x.geometry) > '-infinity' AND ST_XMax(x.geometry) < 'infinity' AND ST_YMin(x.geometry) > '-infinity' AND ST_YMax(x.geometry) < 'infinity'`

// TileExtent returns the box about all that a layer shows: the trees, but for
// the layer of targets.
func (db *DB) TileExtent(ctx context.Context, q inventory.TileQuery) (b orb.Bound, ok bool, err error) {
	table := "trees"
	if q.Layer.Collection == "targets" {
		table = "targets"
	}
	from := source{client: q.Client, at: instantOf(ctx)}.from(table, "x")
	sql, args := `SELECT ST_XMin(b), ST_YMin(b), ST_XMax(b), ST_YMax(b) FROM (SELECT ST_Extent(x.geometry) b FROM `+from+` WHERE x.client_id = $1 AND `+placedSQL, []any{q.Client}
	if q.Site.OK {
		sql, args = sql+` AND x.site_id = $2`, append(args, int64(q.Site.V))
	}
	var side [4]*float64
	err = db.ask(ctx, false, sql+`) e`, args, func(rows pgx.Rows) error {
		for rows.Next() {
			if err := rows.Scan(&side[0], &side[1], &side[2], &side[3]); err != nil {
				return err
			}
		}
		return rows.Err()
	})
	if err != nil || side[0] == nil {
		return b, false, err
	}
	return orb.Bound{Min: orb.Point{*side[0], *side[1]}, Max: orb.Point{*side[2], *side[3]}}, true, nil
}

// tileReader makes one layer of one tile.
type tileReader struct {
	ctx   context.Context
	db    *DB
	query inventory.TileQuery
	sites siteStates
	layer *tiling.Layer
}

// tileRows says what rows a layer is made of.
type tileRows struct {
	collection string
	needs      string // aliases of joins
	columns    func(*featureSQL) string
	around     float64 // how far beyond the tile, units
	anywhere   bool    // wherever it lies
	more       func(*featureSQL) string
	unordered  bool // else in the order of their ids
}

// rows reads rows. Only the index looks at where things are, by boxes of single
// precision: what is a little outside comes too.
func (r *tileReader) rows(w tileRows, fn func([][]byte) error) error {
	c, err := inventory.GetCollection(w.collection)
	if err != nil {
		return err
	}
	q := inventory.FeatureQuery{Client: r.query.Client, Collection: c, Filter: r.query.Filter, Pick: make([]bool, len(c.Properties))}
	f, err := newFeatureSQL(r.ctx, q, r.sites)
	if err != nil {
		return err
	}
	f.need(w.needs)
	columns := w.columns(f)
	where, err := f.where()
	if err != nil {
		return err
	}
	if r.query.Site.OK {
		where += " AND " + f.table.alias + ".site_id = " + f.arg(int64(r.query.Site.V))
	}
	// The whole world needs no looking.
	if !w.anywhere && r.query.Tile.Z > 0 {
		where += r.boxes(f, w.around)
	}
	if w.more != nil {
		where += w.more(f)
	}
	f.text.WriteString("SELECT " + columns + f.from() + where)
	if !w.unordered {
		f.text.WriteString(" ORDER BY " + f.table.key)
	}
	return r.db.ask(r.ctx, true, f.text.String(), f.args, func(rows pgx.Rows) error {
		for rows.Next() {
			if err := fn(rows.RawValues()); err != nil {
				return err
			}
		}
		return rows.Err()
	})
}

// only gives columns that need no parameter.
func only(columns string) func(*featureSQL) string {
	return func(*featureSQL) string { return columns }
}

// boxes looks for what meets the tile with some units around it.
func (r *tileReader) boxes(f *featureSQL, around float64) string {
	where := ""
	for i, b := range r.query.Tile.Degrees(around) {
		if i > 0 {
			where += " OR "
		}
		where += fmt.Sprintf("%s && ST_MakeEnvelope(%s, %s, %s, %s, 4326)", f.table.geometry, f.arg(b.Min[0]), f.arg(b.Min[1]), f.arg(b.Max[0]), f.arg(b.Max[1]))
	}
	return " AND (" + where + ")"
}

// What tree reads.
const (
	treeNeeds       = "s e m"
	treeTileColumns = "t.tree_id, t.geometry, t.tag, t.species, t.status, s.name, e.rating, e.harm, " + peopleSQL + ", e.vehicles, e.amounts, m.kinds"
)

// trees makes the layer of trees.
func (r *tileReader) trees() error {
	if r.query.Tile.Z < r.query.Layer.SingleFrom {
		return r.treesByCell()
	}
	words := wordList{}
	return r.rows(tileRows{collection: "trees", needs: treeNeeds, columns: only(treeTileColumns), around: tiling.Buffer}, func(raw [][]byte) error {
		p, err := pointOf(raw[1])
		if err != nil || !tiling.Finite(p) {
			return err
		}
		x, y := r.query.Tile.Place(p)
		if tiling.InWindow(x, y) {
			r.tree(raw, tiling.Unit(x, y), 1, &words)
		}
		return nil
	})
}

// tree adds the feature of a tree that stands for some.
func (r *tileReader) tree(raw [][]byte, at [2]int32, trees int64, words *wordList) {
	l := r.layer
	l.Begin(integer(raw[0]))
	l.Int("trees", trees)
	l.Text("tag", raw[2])
	l.Text("species", raw[3])
	l.Text("status", raw[4])
	l.Text("site", raw[5])
	if raw[6] != nil {
		l.Text("rating", []byte(ratingWords[integer(raw[6])]))
		l.Float("harm_index", threeDigits(number(raw[7])*1000))
		l.Float("people", threeDigits(number(raw[8])))
		l.Float("vehicles", threeDigits(number(raw[9])))
		l.Text("over", words.kinds(raw[10]))
	}
	if raw[11] != nil {
		l.Text("cut_kinds", words.cuts(integer(raw[11])))
	}
	l.Points(at)
	l.End()
}

// wordList joins words, in memory that it uses again.
type wordList struct{ b []byte }

// kinds are those of exposures.amounts, in their order.
func (w *wordList) kinds(amounts []byte) []byte {
	w.b = w.b[:0]
	for ; len(amounts) >= amountBytes; amounts = amounts[amountBytes:] {
		if at := int(amounts[0]); at < len(targetWords) {
			w.add(targetWords[at])
		}
	}
	return w.b
}

func (w *wordList) cuts(set int64) []byte {
	w.b = w.b[:0]
	for i, word := range cutWords {
		if set&(1<<i) != 0 {
			w.add(word)
		}
	}
	return w.b
}

func (w *wordList) add(word string) {
	if len(w.b) > 0 {
		w.b = append(w.b, ',')
	}
	w.b = append(w.b, word...)
}

// pointOf reads a PostGIS point.
func pointOf(ewkb []byte) (orb.Point, error) {
	if len(ewkb) != 25 || ewkb[0] != 1 {
		return orb.Point{}, fmt.Errorf("a stored point is not 25 bytes of little-endian EWKB")
	}
	return orb.Point{
		math.Float64frombits(binary.LittleEndian.Uint64(ewkb[9:])),
		math.Float64frombits(binary.LittleEndian.Uint64(ewkb[17:])),
	}, nil
}

// number reads a number of four or eight bytes.
func number(b []byte) float64 {
	if len(b) == 4 {
		return float64(math.Float32frombits(binary.BigEndian.Uint32(b)))
	}
	return math.Float64frombits(binary.BigEndian.Uint64(b))
}

// threeDigits rounds to three significant digits: what a map can show, and few
// enough numbers to share among a tile's features.
func threeDigits(v float64) float64 {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return v
	}
	if v >= 0.001 && v < 1e9 {
		scale := 1.0
		for s := v; s < 100; s *= 10 {
			scale *= 10
		}
		if v < 1000 {
			return math.Round(v*scale) / scale
		}
	}
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'e', 2, 64), 64)
	return r
}
