package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strconv"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// listing is an answer for programs: what it rests on, and a row for each thing
// found. Every row has the same properties in the same order.
type listing struct {
	head    *orderedMap // stands before the rows in JSON and GeoJSON
	columns []string    // names of the properties, for a table without rows
	rows    []listed
	points  bool // rows are points, whose longitude and latitude JSON and CSV give
}

type listed struct {
	id         any // of the feature; nil for none
	properties []ranking.Property
	geometry   orb.Geometry // nil for none
}

// write prints the listing as json, geojson or csv. CSV has no place for the
// cautions beside its rows: each row ends in them in short, and in full they go to
// notes.
func (l *listing) write(w, notes io.Writer, format string) error {
	switch format {
	case "geojson":
		return l.writeGeoJSON(w)
	case "csv":
		fmt.Fprintln(notes, cautions)
		return l.writeCSV(w)
	}
	return l.writeJSON(w)
}

func (l *listing) writeJSON(w io.Writer) error {
	rows := make([]*orderedMap, len(l.rows))
	for i := range l.rows {
		rows[i] = &orderedMap{}
		rows[i].addAll(l.rows[i].properties)
		if p, ok := l.rows[i].geometry.(orb.Point); ok && l.points {
			rows[i].set("longitude", p[0])
			rows[i].set("latitude", p[1])
		}
	}
	l.head.set("cautions", cautions)
	l.head.set("rows", rows)
	return encode(w, l.head)
}

func (l *listing) writeGeoJSON(w io.Writer) error {
	features := make([]*orderedMap, len(l.rows))
	for i := range l.rows {
		f, properties := &orderedMap{}, &orderedMap{}
		properties.addAll(l.rows[i].properties)
		f.set("type", "Feature")
		if l.rows[i].id != nil {
			f.set("id", l.rows[i].id)
		}
		f.set("geometry", nil)
		if g := l.rows[i].geometry; g != nil {
			geometry := &orderedMap{}
			geometry.set("type", g.GeoJSONType())
			geometry.set("coordinates", g) // a point is an array of two, a ring one of points, and so on
			f.values[len(f.values)-1] = geometry
		}
		f.set("properties", properties)
		features[i] = f
	}
	out := &orderedMap{}
	out.set("type", "FeatureCollection")
	for i, name := range l.head.names {
		out.set(name, l.head.values[i])
	}
	out.set("cautions", cautions)
	out.set("features", features)
	return encode(w, out)
}

func (l *listing) writeCSV(w io.Writer) error {
	out := csv.NewWriter(w)
	var header []string
	if l.points {
		header = []string{"longitude", "latitude"}
	}
	if err := out.Write(append(append(header, l.columns...), "caution")); err != nil {
		return err
	}
	for i := range l.rows {
		var cells []string
		if p, ok := l.rows[i].geometry.(orb.Point); ok && l.points {
			cells = []string{strconv.FormatFloat(p[0], 'f', 7, 64), strconv.FormatFloat(p[1], 'f', 7, 64)}
		}
		for _, p := range l.rows[i].properties {
			cells = append(cells, p.Cell())
		}
		if err := out.Write(append(cells, question.Caution)); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func encode(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", " ")
	return e.Encode(v)
}

// names lists the names of properties.
func names(properties []ranking.Property) []string {
	out := make([]string, len(properties))
	for i, p := range properties {
		out[i] = p.Name
	}
	return out
}

// orderedMap is a JSON object that keeps its members in order.
type orderedMap struct {
	names  []string
	values []any
}

func (m *orderedMap) set(name string, v any) {
	m.names, m.values = append(m.names, name), append(m.values, v)
}

func (m *orderedMap) addAll(properties []ranking.Property) {
	for _, p := range properties {
		m.set(p.Name, p.Value)
	}
}

// object is a list of named values, which may hold such lists, as a JSON object.
func object(properties []ranking.Property) *orderedMap {
	m := &orderedMap{}
	for _, p := range properties {
		if list, ok := p.Value.([][]ranking.Property); ok {
			objects := make([]*orderedMap, len(list))
			for i := range list {
				objects[i] = object(list[i])
			}
			m.set(p.Name, objects)
			continue
		}
		m.set(p.Name, p.Value)
	}
	return m
}

// MarshalJSON writes the members in the order they were set.
func (m *orderedMap) MarshalJSON() ([]byte, error) {
	b := []byte{'{'}
	for i, name := range m.names {
		if i > 0 {
			b = append(b, ',')
		}
		b = strconv.AppendQuote(b, name)
		b = append(b, ':')
		v, err := json.Marshal(m.values[i])
		if err != nil {
			return nil, err
		}
		b = append(b, v...)
	}
	return append(b, '}'), nil
}
