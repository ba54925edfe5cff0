package main

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"
)

// field is a property of a tree as the bare handlers read and write it: column is
// what is read to be encoded here, served what SQL makes of it by itself.
type field struct {
	name, column, served string
	append               func(dst, b []byte) []byte
}

// treeFields are the properties that the service serves, in its order. Only the
// rank is not looked up: the harm that it goes by stands in its place.
func treeFields(words map[string][]string) []field {
	plain := func(name, column string, a func(dst, b []byte) []byte) field { return field{name, column, column, a} }
	coded := func(name, column, list string) field {
		return field{name, column, "(" + sqlArray(words[list]) + ")[" + column + " + 1]", wordOf(words[list])}
	}
	const people = "(e.people::float8 + e.people_in_vehicles)"
	sum := func(of string) string {
		return "CASE WHEN e.tree_id IS NOT NULL THEN coalesce((SELECT sum(" + of + ") FROM amounts(e.amounts)), 0) END"
	}
	return []field{
		plain("site", "s.name", text), plain("tag", "t.tag", text), plain("source_id", "t.source_id", text),
		plain("species", "t.species", text), plain("common_name", "t.common_name", text), plain("status", "t.status", text),
		plain("dbh_cm", "t.dbh_m * 100", number(1)), plain("stems", "t.stems", whole),
		plain("height_m", "t.height_m", number(2)), plain("crown_radius_m", "t.crown_radius_m", number(2)),
		plain("crown_north_m", "t.crown_north_m", number(2)), plain("crown_east_m", "t.crown_east_m", number(2)),
		plain("crown_south_m", "t.crown_south_m", number(2)), plain("crown_west_m", "t.crown_west_m", number(2)),
		coded("height_from", "e.height_from", "origin"), coded("crown_radius_from", "e.crown_from", "origin"),
		plain("condition", "t.condition", text), plain("planted_year", "t.planted_year", whole),
		plain("lean_deg", "t.lean_deg", number(1)), plain("lean_bearing_deg", "t.lean_bearing_deg", number(1)),
		plain("brittle", "t.brittle", truth), plain("crown_surveyed", "t.crown IS NOT NULL", truth),
		{"cut_kinds", "coalesce(m.kinds, 0)", "cut_kinds_of(coalesce(m.kinds, 0))", setOf(words["cut"])},
		plain("last_topped", "m.last_topped", whole), plain("regrowth_m", "m.regrowth_m", number(2)),
		plain("last_visit", "w.last_visit", date), plain("next_visit", "w.next_visit", date),
		{"over", "e.amounts", "kinds(e.over)", kindsOf(words["target"])},
		{"over_length_m", "e.amounts", sum("length_m"), sumOf(1)}, {"over_area_m2", "e.amounts", sum("area_m2"), sumOf(5)},
		{"within", "e.within", "kinds(e.within)", setOf(words["target"])},
		plain("people", people, number(6)), plain("vehicles", "e.vehicles", number(6)), plain("person_hours_year", people+" * 8760", number(1)),
		plain("busiest_people", "e.busiest_people", number(6)), plain("busiest_hour", "e.busiest_hour", whole),
		coded("likelihood", "e.likelihood", "likelihood"), plain("inferred", "e.rule <> 0", truth), coded("rule", "e.rule", "rule"),
		plain("harm_index", "e.harm * 1000", number(6)), plain("rank", "e.harm", number(9)), coded("rating", "e.rating", "rating"),
		plain("extra", "t.extra", object), plain("version", "t.version", whole), plain("changed_at", "t.changed_at", instant),
	}
}

// readWords reads the words that codes stand for, by list and code.
func readWords(ctx context.Context, pool *pgxpool.Pool) (map[string][]string, error) {
	words := map[string][]string{"cut": {"removal", "reduction", "heading", "topping", "lion-tailing", "flush", "stub"}}
	rows, err := pool.Query(ctx, `SELECT list, code, word FROM words ORDER BY list, code`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var list, word string
		var code int
		if err := rows.Scan(&list, &code, &word); err != nil {
			return nil, err
		}
		for len(words[list]) < code {
			words[list] = append(words[list], "")
		}
		words[list] = append(words[list], word)
	}
	return words, rows.Err()
}

func sqlArray(words []string) string {
	return "ARRAY['" + strings.Join(words, "','") + "']"
}

// The rest appends JSON from PostgreSQL's binary form, in the plainest way that
// is not slow.

func text(dst, b []byte) []byte {
	for _, c := range b {
		if c < ' ' || c == '"' || c == '\\' {
			quoted, _ := json.Marshal(string(b))
			return append(dst, quoted...)
		}
	}
	return append(append(append(dst, '"'), b...), '"')
}

func number(decimals int) func(dst, b []byte) []byte {
	return func(dst, b []byte) []byte {
		v := 0.0
		if len(b) == 4 {
			v = float64(math.Float32frombits(binary.BigEndian.Uint32(b)))
		} else {
			v = math.Float64frombits(binary.BigEndian.Uint64(b))
		}
		return strconv.AppendFloat(dst, v, 'f', decimals, 64)
	}
}

func wholeOf(b []byte) int64 {
	switch len(b) {
	case 2:
		return int64(int16(binary.BigEndian.Uint16(b)))
	case 4:
		return int64(int32(binary.BigEndian.Uint32(b)))
	}
	return int64(binary.BigEndian.Uint64(b))
}

func whole(dst, b []byte) []byte { return strconv.AppendInt(dst, wholeOf(b), 10) }
func truth(dst, b []byte) []byte { return strconv.AppendBool(dst, b[0] != 0) }

// object passes jsonb on, which begins with the number of its version.
func object(dst, b []byte) []byte { return append(dst, b[1:]...) }

var epoch = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

func date(dst, b []byte) []byte {
	return epoch.AddDate(0, 0, int(wholeOf(b))).AppendFormat(dst, `"2006-01-02"`)
}

func instant(dst, b []byte) []byte {
	return epoch.Add(time.Duration(wholeOf(b))*time.Microsecond).AppendFormat(dst, `"2006-01-02T15:04:05.000Z"`)
}

func wordOf(words []string) func(dst, b []byte) []byte {
	return func(dst, b []byte) []byte { return append(append(append(dst, '"'), words[wholeOf(b)]...), '"') }
}

func setOf(words []string) func(dst, b []byte) []byte {
	return func(dst, b []byte) []byte {
		set, open := wholeOf(b), byte('[')
		for i, w := range words {
			if set>>i&1 == 1 {
				dst = append(append(append(dst, open, '"'), w...), '"')
				open = ','
			}
		}
		return endList(dst, open)
	}
}

// amount is the length of what exposures.amounts holds of one kind.
const amount = 13

func kindsOf(words []string) func(dst, b []byte) []byte {
	return func(dst, b []byte) []byte {
		open := byte('[')
		for ; len(b) >= amount; b = b[amount:] {
			dst = append(append(append(dst, open, '"'), words[b[0]]...), '"')
			open = ','
		}
		return endList(dst, open)
	}
}

func endList(dst []byte, open byte) []byte {
	if open == '[' {
		dst = append(dst, '[')
	}
	return append(dst, ']')
}

func sumOf(at int) func(dst, b []byte) []byte {
	return func(dst, b []byte) []byte {
		sum := uint64(0)
		for ; len(b) >= amount; b = b[amount:] {
			sum += uint64(binary.BigEndian.Uint32(b[at:]))
		}
		return strconv.AppendFloat(dst, float64(sum)/100, 'f', 2, 64)
	}
}

// pointJSON writes a PostGIS point: a mark of the order of bytes, the type, the
// reference system, then two numbers.
func pointJSON(dst, b []byte) []byte {
	at := func(i int) float64 { return math.Float64frombits(binary.LittleEndian.Uint64(b[i:])) }
	dst = append(dst, `{"type":"Point","coordinates":[`...)
	dst = strconv.AppendFloat(dst, at(9), 'f', 7, 64)
	dst = strconv.AppendFloat(append(dst, ','), at(17), 'f', 7, 64)
	return append(dst, `]}`...)
}

// columns are what is read to be encoded here, after the id and the geometry.
func columns(fields []field) string {
	list := make([]string, len(fields))
	for i, f := range fields {
		list[i] = f.column
	}
	return "t.tree_id, t.geometry, " + strings.Join(list, ", ")
}

// featureSQL is a feature as SQL builds it.
func featureSQL(fields []field) string {
	list := make([]string, len(fields))
	for i, f := range fields {
		list[i] = fmt.Sprintf("'%s', %s", f.name, f.served)
	}
	return "json_build_object('type', 'Feature', 'id', t.tree_id, 'geometry', ST_AsGeoJSON(t.geometry, 7)::json, 'properties', json_build_object(" + strings.Join(list, ", ") + "))"
}
