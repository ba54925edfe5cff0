package importers

import (
	stdcsv "encoding/csv"
	"encoding/json"
	"maps"
	"slices"
	"strings"

	"github.com/underbough/underbough/importers/csv"
	"github.com/underbough/underbough/inventory"
)

// Cell is one named value of a held row.
type Cell struct {
	Name, Value string
	// Fault says that this is what the row is held for.
	Fault bool
}

// geometryCell is the geometry of a held Feature, as JSON.
const geometryCell = "geometry"

// Cells takes a held row apart, into the columns of its file or the properties and
// the geometry of its Feature; false where it is too broken for that, and has to
// be mended as text.
func Cells(row *inventory.QuarantineRow) ([]Cell, bool) {
	if row.Format == FormatCSV {
		return csvCells(row)
	}
	feature, properties, err := heldFeature(row.Text)
	if err != nil {
		return nil, false
	}
	var out []Cell
	for _, name := range slices.Sorted(maps.Keys(properties)) {
		out = append(out, Cell{Name: name, Value: plainText(properties[name]), Fault: name == row.Field || strings.HasPrefix(row.Field, name+".")})
	}
	return append(out, Cell{Name: geometryCell, Value: plainText(feature[geometryCell]), Fault: row.Field == geometryCell}), true
}

// Mend writes a held row anew with other values in some of its cells. It is an
// error where the row has no such cell.
func Mend(row *inventory.QuarantineRow, values map[string]string) (string, error) {
	if row.Format == FormatCSV {
		return mendCSV(row, values)
	}
	feature, properties, err := heldFeature(row.Text)
	if err != nil {
		return "", inventory.Errorf(inventory.Invalid, "held row %d is no GeoJSON Feature that can be taken apart (%w): mend its text", row.ID, err)
	}
	for _, name := range slices.Sorted(maps.Keys(values)) {
		if name == geometryCell {
			if feature[name], err = jsonOr(values[name]); err != nil {
				return "", inventory.Errorf(inventory.Invalid, "held row %d: geometry: %w: expected a GeoJSON geometry", row.ID, err)
			}
			continue
		}
		was, ok := properties[name]
		if !ok {
			return "", inventory.Errorf(inventory.Invalid, "held row %d has no property %q", row.ID, name)
		}
		properties[name] = likeBefore(was, values[name])
	}
	if feature["properties"], err = json.Marshal(properties); err != nil {
		return "", err
	}
	b, err := json.Marshal(feature)
	return string(b), err
}

// heldFeature takes a Feature apart; what is not looked at stays as it is written.
func heldFeature(text string) (feature, properties map[string]json.RawMessage, err error) {
	if err := json.Unmarshal([]byte(strings.TrimLeft(text, "\x1e \t\r\n")), &feature); err != nil {
		return nil, nil, err
	}
	properties = make(map[string]json.RawMessage)
	if of, ok := feature["properties"]; ok {
		if err := json.Unmarshal(of, &properties); err != nil {
			return nil, nil, err
		}
	}
	if feature == nil || properties == nil { // null
		feature, properties = map[string]json.RawMessage{}, map[string]json.RawMessage{}
	}
	return feature, properties, nil
}

// plainText is a JSON value as a person types it.
func plainText(raw json.RawMessage) string {
	var text string
	switch {
	case len(raw) == 0 || string(raw) == "null":
		return ""
	case json.Unmarshal(raw, &text) == nil:
		return text
	}
	return string(raw)
}

// likeBefore writes a typed value as JSON of the type that was there before: what
// was a number stays one where it can.
func likeBefore(was json.RawMessage, text string) json.RawMessage {
	if text == "" {
		return json.RawMessage("null")
	}
	if len(was) > 0 && was[0] != '"' && was[0] != 'n' && json.Valid([]byte(text)) {
		return json.RawMessage(text)
	}
	b, _ := json.Marshal(text) // a text always can be written
	return b
}

func jsonOr(text string) (json.RawMessage, error) {
	if strings.TrimSpace(text) == "" {
		return json.RawMessage("null"), nil
	}
	var any json.RawMessage
	err := json.Unmarshal([]byte(text), &any)
	return any, err
}

// heldColumns are the columns of the file that a held row of CSV is from.
func heldColumns(row *inventory.QuarantineRow) (columns []string, comma rune, in OpenOptions, err error) {
	var how kept
	if err := json.Unmarshal(row.Mapping, &how); err != nil {
		return nil, 0, in, err
	}
	src, err := csv.New(strings.NewReader(how.Header+"\n"), how.Open.csv())
	if err != nil {
		return nil, 0, in, err
	}
	in.Longitude, in.Latitude, in.WKT = src.Coordinates()
	return src.Columns(), src.Delimiter(), in, nil
}

func csvCells(row *inventory.QuarantineRow) ([]Cell, bool) {
	columns, comma, in, err := heldColumns(row)
	if err != nil {
		return nil, false
	}
	cells, err := readCells(row.Text, comma)
	if err != nil || len(cells) != len(columns) {
		return nil, false
	}
	out := make([]Cell, len(cells))
	for i, name := range columns {
		place := row.Field == geometryCell && (name == in.Longitude || name == in.Latitude || name == in.WKT)
		// Where one coordinate is missing and the other too, both are to be filled in.
		also := strings.TrimSpace(cells[i]) == "" && (name == in.Latitude && row.Field == in.Longitude || name == in.Longitude && row.Field == in.Latitude)
		out[i] = Cell{Name: name, Value: cells[i], Fault: name == row.Field || place || also}
	}
	return out, true
}

func mendCSV(row *inventory.QuarantineRow, values map[string]string) (string, error) {
	columns, comma, _, err := heldColumns(row)
	if err != nil {
		return "", inventory.Errorf(inventory.Internal, "the header kept with %s cannot be read: %w", row.FileName, err)
	}
	cells, err := readCells(row.Text, comma)
	if err != nil || len(cells) != len(columns) {
		return "", inventory.Errorf(inventory.Invalid, "held row %d cannot be cut into the %d columns of its file: mend its text", row.ID, len(columns))
	}
	for _, name := range slices.Sorted(maps.Keys(values)) {
		i := slices.Index(columns, name)
		if i < 0 {
			return "", inventory.Errorf(inventory.Invalid, "held row %d has no column %q: expected one of %s", row.ID, name, strings.Join(columns, ", "))
		}
		cells[i] = values[name]
	}
	var b strings.Builder
	w := stdcsv.NewWriter(&b)
	w.Comma = comma
	if err := w.Write(cells); err != nil {
		return "", err
	}
	w.Flush()
	return strings.TrimRight(b.String(), "\n"), w.Error()
}

// readCells reads the cells of one row.
func readCells(text string, comma rune) ([]string, error) {
	r := stdcsv.NewReader(strings.NewReader(text))
	r.Comma, r.FieldsPerRecord = comma, -1
	return r.Read()
}
