package main

import (
	"context"
	"fmt"
	"net/http"
	"strconv"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
)

// bare answers what the service answers, with nothing around it: no links, tags,
// validation, negotiation or log. Its SQL is that of the service, written out by
// hand for one client and one run: the same columns, tables and conditions. It is
// the floor that the service is measured against.
type bare struct {
	pool   *pgxpool.Pool
	fields []field
	from   string // tables and the client
	encode string // SELECT of rows to be encoded here
	built  string // SELECT of features built in SQL
	words  map[string][]string
}

func newBare(ctx context.Context, url string) (*bare, error) {
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, err
	}
	config.MaxConns = 16
	config.ConnConfig.RuntimeParams["jit"] = "off"
	config.ConnConfig.RuntimeParams["timezone"] = "UTC"
	config.ConnConfig.RuntimeParams["max_parallel_workers_per_gather"] = "0"
	b := &bare{}
	if b.pool, err = pgxpool.NewWithConfig(ctx, config); err != nil {
		return nil, err
	}
	var generation int64
	if err := b.pool.QueryRow(ctx, `SELECT generation FROM sites WHERE client_id = 1`).Scan(&generation); err != nil {
		return nil, err
	}
	if b.words, err = readWords(ctx, b.pool); err != nil {
		return nil, err
	}
	b.fields = treeFields(b.words)
	b.from = fmt.Sprintf(` FROM trees t JOIN sites s ON s.client_id = t.client_id AND s.site_id = t.site_id
		LEFT JOIN exposures_g%d e ON e.client_id = t.client_id AND e.tree_id = t.tree_id
		LEFT JOIN cut_marks m ON m.client_id = t.client_id AND m.tree_id = t.tree_id
		LEFT JOIN visit_marks w ON w.client_id = t.client_id AND w.tree_id = t.tree_id WHERE t.client_id = 1`, generation)
	b.encode, b.built = "SELECT "+columns(b.fields)+b.from, "SELECT "+featureSQL(b.fields)+b.from
	return b, nil
}

// over is the question: a crown over parking or a walkway, and topped.
const over = ` AND e.over & 3 <> 0 AND coalesce(m.kinds, 0) & 8 = 8`

const page = ` AND t.tree_id > $1 ORDER BY t.tree_id LIMIT $2`

func (b *bare) handler() http.Handler {
	m := http.NewServeMux()
	for path, write := range map[string]func(w http.ResponseWriter, r *http.Request, tail string, args ...any) error{"/go": b.encoded, "/sql": b.inSQL} {
		handle := func(name, tail string, args func(*http.Request) []any) {
			m.HandleFunc(path+name, func(w http.ResponseWriter, r *http.Request) {
				if err := write(w, r, tail, args(r)...); err != nil {
					http.Error(w, err.Error(), http.StatusInternalServerError)
				}
			})
		}
		handle("/items", page, numbers("after", "limit"))
		handle("/question", over+page, numbers("after", "limit"))
		handle("/item", ` AND t.tree_id = $1`, numbers("id"))
		handle("/export", ` ORDER BY t.tree_id`, numbers())
	}
	m.HandleFunc("/count", b.count)
	m.HandleFunc("/words/tile", b.tile(b.tileSQL(true)))
	m.HandleFunc("/codes/tile", b.tile(b.tileSQL(false)))
	return m
}

// numbers reads parameters.
func numbers(names ...string) func(*http.Request) []any {
	return func(r *http.Request) (args []any) {
		q := r.URL.Query()
		for _, name := range names {
			n, _ := strconv.ParseInt(q.Get(name), 10, 64)
			args = append(args, n)
		}
		return args
	}
}

const flushAt = 64 << 10

// encoded writes features from rows.
func (b *bare) encoded(w http.ResponseWriter, r *http.Request, tail string, args ...any) error {
	rows, err := b.pool.Query(r.Context(), b.encode+tail, append([]any{pgx.QueryResultFormats{pgx.BinaryFormatCode}}, args...)...)
	if err != nil {
		return err
	}
	defer rows.Close()
	buf := append(make([]byte, 0, flushAt+8<<10), `{"type":"FeatureCollection","features":[`...)
	for n := 0; rows.Next(); n++ {
		if n > 0 {
			buf = append(buf, ',')
		}
		raw := rows.RawValues()
		buf = append(buf, `{"type":"Feature","id":`...)
		buf = append(whole(buf, raw[0]), `,"geometry":`...)
		buf = append(pointJSON(buf, raw[1]), `,"properties":{`...)
		for i := range b.fields {
			if i > 0 {
				buf = append(buf, ',')
			}
			buf = append(append(append(buf, '"'), b.fields[i].name...), '"', ':')
			if v := raw[i+2]; v == nil {
				buf = append(buf, "null"...)
			} else {
				buf = b.fields[i].append(buf, v)
			}
		}
		buf = append(buf, '}', '}')
		if len(buf) > flushAt {
			if _, err := w.Write(buf); err != nil {
				return err
			}
			buf = buf[:0]
		}
	}
	if err := rows.Err(); err != nil {
		return err
	}
	_, err = w.Write(append(buf, `]}`...))
	return err
}

// inSQL writes features that SQL has built.
func (b *bare) inSQL(w http.ResponseWriter, r *http.Request, tail string, args ...any) error {
	rows, err := b.pool.Query(r.Context(), b.built+tail, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	buf := append(make([]byte, 0, flushAt+8<<10), `{"type":"FeatureCollection","features":[`...)
	for n := 0; rows.Next(); n++ {
		if n > 0 {
			buf = append(buf, ',')
		}
		if buf = append(buf, rows.RawValues()[0]...); len(buf) > flushAt {
			if _, err := w.Write(buf); err != nil {
				return err
			}
			buf = buf[:0]
		}
	}
	if err := rows.Err(); err != nil {
		return err
	}
	_, err = w.Write(append(buf, `]}`...))
	return err
}

// count is the first page of the question with the number of all that it holds
// for, counted as far as the service counts.
func (b *bare) count(w http.ResponseWriter, r *http.Request) {
	if err := b.encoded(w, r, over+page, 0, 100); err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	var n int
	if err := b.pool.QueryRow(r.Context(), `SELECT count(*) FROM (SELECT 1`+b.from+over+` LIMIT 10001) c`).Scan(&n); err == nil {
		fmt.Fprintf(w, "%d", n)
	}
}

// tileSQL makes a tile of trees with the values that the service puts into it;
// without words, the codes and sets as they are stored, which is less work.
func (b *bare) tileSQL(words bool) string {
	rating, over, cuts := "e.rating", "e.over", "m.kinds"
	if words {
		rating = "(" + sqlArray(b.words["rating"]) + ")[e.rating + 1]"
		over, cuts = "array_to_string(kinds(e.over), ',')", "array_to_string(cut_kinds_of(m.kinds), ',')"
	}
	return `SELECT ST_AsMVT(q, 'trees', 4096, 'shape', 'id') FROM (
		SELECT t.tree_id AS id, 1 AS trees, t.tag, t.species, t.status, s.name AS site, ` + rating + ` AS rating, e.harm * 1000 AS harm_index,
			e.people::float8 + e.people_in_vehicles AS people, e.vehicles, ` + over + ` AS over, ` + cuts + ` AS cut_kinds,
			ST_AsMVTGeom(ST_Transform(t.geometry, 3857), ST_TileEnvelope($1, $2, $3), 4096, 64, true) AS shape` + b.from + `
		AND t.geometry && ST_Transform(ST_TileEnvelope($1, $2, $3, margin => 64 / 4096.0), 4326)) q WHERE shape IS NOT NULL`
}

func (b *bare) tile(sql string) http.HandlerFunc {
	args := numbers("z", "x", "y")
	return func(w http.ResponseWriter, r *http.Request) {
		var tile []byte
		if err := b.pool.QueryRow(r.Context(), sql, args(r)...).Scan(&tile); err != nil {
			http.Error(w, err.Error(), http.StatusInternalServerError)
			return
		}
		w.Write(tile)
	}
}
