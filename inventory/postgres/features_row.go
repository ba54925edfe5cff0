package postgres

import (
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
	properties []inventory.Property
	feature    inventory.Feature
}

func newFeatureRow(c *inventory.Collection) *featureRow {
	return &featureRow{properties: c.Properties, feature: inventory.Feature{Values: make([]inventory.Value, len(c.Properties))}}
}

func (r *featureRow) read(raw [][]byte) (*inventory.Feature, error) {
	f := &r.feature
	f.ID = int64(binary.BigEndian.Uint64(raw[0]))
	f.At = inventory.Cursor{f.ID}
	f.EWKB = raw[1]
	for i := range r.properties {
		v := &f.Values[i]
		b := raw[i+2]
		v.Null, v.List = b == nil, v.List[:0]
		if b == nil {
			continue
		}
		if err := decodeValue(v, r.properties[i].Type, b); err != nil {
			return nil, fmt.Errorf("%s of feature %d: %w", r.properties[i].Name, f.ID, err)
		}
	}
	return f, nil
}

// decodeValue reads the wire form that casts asks for.
func decodeValue(v *inventory.Value, t inventory.PropertyType, b []byte) error {
	switch t {
	case inventory.Integer:
		v.Int = int64(binary.BigEndian.Uint64(b))
	case inventory.Boolean:
		v.Int = int64(b[0])
	case inventory.Number:
		v.Float = math.Float64frombits(binary.BigEndian.Uint64(b))
	case inventory.Date:
		v.Time = epoch2000.AddDate(0, 0, int(int32(binary.BigEndian.Uint32(b))))
	case inventory.Timestamp:
		micros := int64(binary.BigEndian.Uint64(b))
		v.Time = time.Unix(epoch2000Unix, 0).Add(time.Duration(micros) * time.Microsecond).UTC()
	case inventory.TextList:
		return decodeTexts(v, b)
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
