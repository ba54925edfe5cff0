package importers

import (
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/underbough/underbough/importers/csv"
)

// Column is a column of a file with some of its values.
type Column struct {
	Name   string
	Values []string // different ones of the first records; none where all are empty
	Filled int      // records of the sample that have a value there
}

// mostSample is how much of a value is shown, runes.
const mostSample = 60

// Look lists a file's columns with up to so many different values of each, from the
// records looked at as it was opened; coordinates and geometries are among them.
func (f *File) Look(most int) []Column {
	names, in := f.Columns, f.Coordinates()
	if src, ok := f.src.(*csv.Source); ok {
		names = src.Columns()
	}
	list := make([]Column, len(names))
	at := make(map[string]*Column, len(names))
	for i, name := range names {
		list[i].Name = name
		at[name] = &list[i]
	}
	add := func(name, text string) {
		c := at[name]
		if c == nil || text == "" {
			return
		}
		c.Filled++
		if text = shortened(text); len(c.Values) < most && !slices.Contains(c.Values, text) {
			c.Values = append(c.Values, text)
		}
	}
	for i := range f.records {
		for _, field := range f.records[i].Fields {
			add(field.Name, field.Value.Text)
		}
	}
	if in == (OpenOptions{}) {
		return list
	}
	// A CSV parser keeps coordinates to itself: read them as cells like others.
	for i := range f.sample {
		cells, err := f.cells(string(f.sample[i].Text))
		if err != nil || len(cells) != len(names) {
			continue
		}
		for k, name := range names {
			if name == in.Longitude || name == in.Latitude || name == in.WKT {
				add(name, cells[k])
			}
		}
	}
	return list
}

// Sampled is how many records were looked at as the file was opened.
func (f *File) Sampled() int { return len(f.records) }

// Coordinates names the columns of a CSV file that its geometries are read from;
// empty where there are none, and for GeoJSON.
func (f *File) Coordinates() (o OpenOptions) {
	if src, ok := f.src.(*csv.Source); ok {
		o.Longitude, o.Latitude, o.WKT = src.Coordinates()
	}
	return o
}

func (f *File) cells(text string) ([]string, error) {
	return readCells(text, f.src.(*csv.Source).Delimiter())
}

func shortened(text string) string {
	text = strings.Join(strings.Fields(text), " ")
	if utf8.RuneCountInString(text) <= mostSample {
		return text
	}
	return string([]rune(text)[:mostSample-1]) + "…"
}
