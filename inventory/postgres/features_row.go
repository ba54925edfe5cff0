package postgres

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"time"

	"github.com/underbough/underbough/inventory"
)

// epoch2000Unix is PostgreSQL's epoch, in seconds since 1970.
const epoch2000Unix = 946684800

// featureRow decodes rows in PostgreSQL's binary format into one feature that
// it uses again and again: no value of a row costs an allocation.
type featureRow struct {
	sql     *featureSQL
	feature inventory.Feature
	words   map[*string][][]byte // the bytes of each list of words
	ranks   map[int64]*harmOrder // by site
	rank    *harmOrder           // of the site of the row
}

// newFeatureRow makes ready what rows are read with.
func (db *DB) newFeatureRow(ctx context.Context, sql *featureSQL) (*featureRow, error) {
	r := &featureRow{sql: sql, words: make(map[*string][][]byte), ranks: make(map[int64]*harmOrder)}
	r.feature.Values = make([]inventory.Value, len(sql.query.Collection.Properties))
	for i := range r.feature.Values {
		r.feature.Values[i].Null = true
	}
	if !sql.readsRanks() {
		return r, nil
	}
	for _, site := range sql.sites {
		if site.Generation == 0 {
			continue
		}
		var err error
		if r.ranks[site.ID], err = db.harms(ctx, sql.query.Client, site); err != nil {
			return nil, err
		}
	}
	return r, nil
}

func (r *featureRow) read(raw [][]byte) (*inventory.Feature, error) {
	f, properties := &r.feature, r.sql.query.Collection.Properties
	f.ID = integer(raw[0])
	f.EWKB = raw[1]
	f.At.IDs[0] = f.ID
	if r.sql.site > 0 {
		if err := r.inForce(raw[r.sql.site:]); err != nil {
			return nil, err
		}
	}
	if n := len(r.sql.query.Order); n > 0 {
		f.At.Keys = make([]*string, n)
		for i, b := range raw[r.sql.keys:] {
			if b != nil {
				s := string(b)
				f.At.Keys[i] = &s
			}
		}
	}
	for i := range r.sql.read {
		column := &r.sql.read[i]
		v, p := &f.Values[column.at], &properties[column.at]
		b := raw[column.column]
		v.Null, v.List = b == nil, v.List[:0]
		if b == nil {
			continue
		}
		if err := r.value(v, p, &column.origin, b); err != nil {
			return nil, fmt.Errorf("%s of feature %d: %w", p.Name, f.ID, err)
		}
	}
	return f, nil
}

// inForce has the order of the trees of the row's site at hand. The row of one
// feature says what is in force there too, which may be other than what the
// statement was written for.
func (r *featureRow) inForce(raw [][]byte) error {
	id := integer(raw[0])
	r.rank = r.ranks[id]
	if !r.sql.query.ID.OK || r.sql.source.at.OK {
		return nil
	}
	now := siteState{id, integer(raw[1]), integer(raw[2])}
	for _, s := range r.sql.sites {
		if s.ID == id && s.Generation == now.Generation && (s.Revision == now.Revision || !r.sql.readsRanks()) {
			return nil
		}
	}
	return errOtherSites
}

// value reads a column's binary form.
func (r *featureRow) value(v *inventory.Value, p *inventory.Property, o *origin, b []byte) error {
	switch o.form {
	case codedForm:
		words := r.wordBytes(o.words)
		code := integer(b)
		if code < 0 || int(code) >= len(words) {
			return fmt.Errorf("no word has the code %d", code)
		}
		v.Bytes = words[code]
		v.Null = len(v.Bytes) == 0
	case bitsForm:
		set := integer(b)
		for i, w := range r.wordBytes(o.words) {
			if set&(1<<i) != 0 {
				v.List = append(v.List, w)
			}
		}
	case amountKinds:
		words := r.wordBytes(o.words)
		for ; len(b) >= amountBytes; b = b[amountBytes:] {
			if int(b[0]) >= len(words) {
				return fmt.Errorf("no kind of target has the code %d", b[0])
			}
			v.List = append(v.List, words[b[0]])
		}
	case amountLength:
		v.Float = sumOfAmounts(b, 1)
	case amountArea:
		v.Float = sumOfAmounts(b, 5)
	case rankedForm:
		if v.Null = r.rank == nil; !v.Null {
			v.Int = r.rank.rank(math.Float64frombits(binary.BigEndian.Uint64(b)))
		}
	default:
		err := decodeValue(v, p.Type, b)
		if o.times != 0 {
			v.Float *= o.times
		}
		return err
	}
	return nil
}

func (r *featureRow) wordBytes(words []string) [][]byte {
	list, ok := r.words[&words[0]]
	if !ok {
		for _, w := range words {
			list = append(list, []byte(w))
		}
		r.words[&words[0]] = list
	}
	return list
}

func sumOfAmounts(b []byte, at int) float64 {
	sum := uint64(0)
	for ; len(b) >= amountBytes; b = b[amountBytes:] {
		sum += uint64(binary.BigEndian.Uint32(b[at:]))
	}
	return float64(sum) / 100
}

// integer reads a whole number of two, four or eight bytes.
func integer(b []byte) int64 {
	switch len(b) {
	case 2:
		return int64(int16(binary.BigEndian.Uint16(b)))
	case 4:
		return int64(int32(binary.BigEndian.Uint32(b)))
	}
	return int64(binary.BigEndian.Uint64(b))
}

// decodeValue reads the wire form of a type that the property's goes with.
func decodeValue(v *inventory.Value, t inventory.PropertyType, b []byte) error {
	switch t {
	case inventory.Integer:
		v.Int = integer(b)
	case inventory.Boolean:
		v.Int = int64(b[0])
	case inventory.Number:
		if len(b) == 4 {
			v.Float = float64(math.Float32frombits(binary.BigEndian.Uint32(b)))
		} else {
			v.Float = math.Float64frombits(binary.BigEndian.Uint64(b))
		}
	case inventory.Date:
		v.Time = epoch2000.AddDate(0, 0, int(int32(binary.BigEndian.Uint32(b))))
	case inventory.Timestamp:
		micros := int64(binary.BigEndian.Uint64(b))
		v.Time = time.Unix(epoch2000Unix, 0).Add(time.Duration(micros) * time.Microsecond).UTC()
	case inventory.TextList:
		return decodeTexts(v, b)
	case inventory.Object:
		v.Bytes = b[1:] // jsonb begins with the number of its version
	default:
		v.Bytes = b
	}
	return nil
}

// decodeTexts reads a one-dimensional array of text: its number of dimensions,
// a flag for nulls and the type of its elements, then for each dimension its
// length and lower bound, then the elements with their lengths.
func decodeTexts(v *inventory.Value, b []byte) error {
	switch dimensions := binary.BigEndian.Uint32(b); dimensions {
	case 0:
		return nil
	case 1:
	default:
		return fmt.Errorf("an array of %d dimensions, expected one", dimensions)
	}
	n := binary.BigEndian.Uint32(b[12:])
	b = b[20:]
	for range n {
		size := int32(binary.BigEndian.Uint32(b))
		b = b[4:]
		if size < 0 {
			continue
		}
		v.List = append(v.List, b[:size:size])
		b = b[size:]
	}
	return nil
}
