package importers

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"slices"
	"strings"
	"sync/atomic"

	"github.com/klauspost/compress/gzip"
	"github.com/paulmach/orb"

	"github.com/underbough/underbough/importers/csv"
	"github.com/underbough/underbough/importers/geojson"
	"github.com/underbough/underbough/importers/source"
	"github.com/underbough/underbough/inventory"
)

// The formats.
const (
	FormatGeoJSON = "geojson" // a FeatureCollection, or Features line by line (RFC 8142 or plain)
	FormatCSV     = "csv"
)

// sampleSize is how many records are looked at before loading begins: to list
// the columns, to propose a mapping, and to see whereabouts the file lies.
const sampleSize = 1000

// File is an opened file: its format, its columns and its records.
type File struct {
	Name      string
	Format    string
	Columns   []string // of CSV its header; of GeoJSON the properties of the sample
	Header    string   // the header row of a CSV file, to read a held row again
	open      OpenOptions
	placeless bool // CSV without columns of coordinates
	src       source.Source
	sample    []source.Raw
	records   []source.Record // the sample, parsed
	read      atomic.Int64
	handed    atomic.Int64
	bound     orb.Bound
	bounded   bool
}

// OpenOptions names the coordinate columns of a CSV file, where their names do
// not tell.
type OpenOptions struct {
	Longitude string `json:"longitude,omitempty"`
	Latitude  string `json:"latitude,omitempty"`
	WKT       string `json:"wkt,omitempty"`
}

// Open finds out the format of r, unpacking gzip, and looks at its first
// records. name is used in messages and kept with the import.
func Open(r io.Reader, name string, o OpenOptions) (*File, error) {
	f := &File{Name: name, open: o}
	in := bufio.NewReaderSize(countingReader{r, &f.read}, 1<<18)
	if magic, _ := in.Peek(2); bytes.Equal(magic, []byte{0x1f, 0x8b}) {
		unpacked, err := gzip.NewReader(in)
		if err != nil {
			return nil, inventory.Errorf(inventory.Invalid, "%s: the gzip header is damaged: %w", name, err)
		}
		in = bufio.NewReaderSize(unpacked, 1<<18)
	}
	if err := f.detect(in, o); err != nil {
		return nil, inventory.Errorf(inventory.Invalid, "%s: %w", name, err)
	}
	if err := f.look(); err != nil {
		return nil, inventory.Errorf(inventory.Invalid, "%s: %w", name, err)
	}
	return f, nil
}

func (f *File) detect(in *bufio.Reader, o OpenOptions) error {
	head, err := in.Peek(1 << 12)
	if len(head) == 0 {
		if err != nil && !errors.Is(err, io.EOF) {
			return err
		}
		return errors.New("the file is empty")
	}
	if looksLikeJSON(head) {
		f.Format = FormatGeoJSON
		f.src, err = geojson.New(in, geojson.Options{})
		return err
	}
	for _, other := range []struct{ magic, is string }{
		{"PK\x03\x04", "a zip archive: unpack it first"},
		{"SQLite format 3", "an SQLite or GeoPackage file: convert it to GeoJSON or CSV first"},
		{"\x00\x00\x27\x0a", "a shapefile: convert it to GeoJSON or CSV first"},
		{"%PDF", "a PDF"},
		{"<", "XML or HTML"},
	} {
		if bytes.HasPrefix(bytes.TrimSpace(head), []byte(other.magic)) {
			return errors.New("this is " + other.is + "; GeoJSON and CSV can be read")
		}
	}
	f.Format = FormatCSV
	src, err := csv.New(in, o.csv())
	if err != nil {
		return err
	}
	f.src, f.Header, f.Columns = src, src.Header(), columnsOf(src)
	lon, _, wkt := src.Coordinates()
	f.placeless = lon == "" && wkt == ""
	return nil
}

func (o OpenOptions) csv() csv.Options {
	return csv.Options{Longitude: o.Longitude, Latitude: o.Latitude, WKT: o.WKT}
}

// columnsOf lists the columns that hold no coordinates.
func columnsOf(src *csv.Source) []string {
	var out []string
	lon, lat, wkt := src.Coordinates()
	for _, c := range src.Columns() {
		if c != lon && c != lat && c != wkt {
			out = append(out, c)
		}
	}
	return out
}

func looksLikeJSON(head []byte) bool {
	s := bytes.TrimLeft(bytes.TrimPrefix(head, []byte("\xef\xbb\xbf")), " \t\r\n\x1e")
	return len(s) > 0 && (s[0] == '{' || s[0] == '[')
}

// look reads the sample.
func (f *File) look() error {
	parser := f.src.NewParser()
	seen := make(map[string]bool)
	for len(f.sample) < sampleSize {
		raw, err := f.src.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		f.sample = append(f.sample, raw)
		var rec source.Record
		if raw.Problem == nil {
			parser.Parse(raw, &rec)
		} else {
			rec.Problem = raw.Problem
		}
		f.records = append(f.records, rec)
		if f.Format == FormatGeoJSON {
			for _, field := range rec.Fields {
				if !seen[field.Name] {
					seen[field.Name] = true
					f.Columns = append(f.Columns, field.Name)
				}
			}
		}
	}
	return nil
}

// fits refuses what no record of could be used: trees or targets without
// coordinates, targets without a kind.
func (f *File) fits(role inventory.Role, m Mapping) error {
	if role == inventory.RoleTargets {
		if _, ok := m["kind"]; !ok {
			return inventory.Errorf(inventory.Invalid, "%s does not say what kind of target each record is: map kind, or give one kind for the whole file (--kind); expected one of %s", f.Name, strings.Join(choices(inventory.TargetKinds), ", "))
		}
	}
	if role == inventory.RoleCounts {
		if err := fitsCounts(f.Name, m); err != nil {
			return err
		}
	}
	if f.Format == FormatCSV && f.placeless && slices.Contains(located, role) {
		return inventory.Errorf(inventory.Invalid, "%s has no columns of coordinates that their names tell: name the columns of longitude and latitude, or of well-known text (--lon and --lat, or --wkt); it has %s", f.Name, strings.Join(f.Columns, ", "))
	}
	return nil
}

// located are the roles whose records need a geometry.
var located = []inventory.Role{inventory.RoleTrees, inventory.RoleTargets, inventory.RoleCrowns}

// fitsCounts refuses a file of counts that lacks a time, a target or a count.
func fitsCounts(name string, m Mapping) error {
	has := func(fields ...string) bool {
		return slices.ContainsFunc(fields, func(f string) bool { _, ok := m[f]; return ok })
	}
	switch {
	case !has("target_source_id", "target_name"):
		return inventory.Errorf(inventory.Invalid, "%s does not say where was counted: map target_source_id or target_name, or give one target for the whole file (--set target_name=NAME)", name)
	case !has("counted_at", "date"):
		return inventory.Errorf(inventory.Invalid, "%s does not say when was counted: map counted_at, or date and hour", name)
	case has("count") && !has("what") && !has(countPeople, countVehicles):
		return inventory.Errorf(inventory.Invalid, "%s does not say what was counted: map what, or give people or vehicles for the whole file (--what people or --what vehicles)", name)
	case !has(countPeople, countVehicles, "count"):
		return inventory.Errorf(inventory.Invalid, "%s holds no counts by the names of its columns: map people, vehicles, or count", name)
	}
	return nil
}

// HasColumn reports whether the file is known to have a column. GeoJSON may
// bring properties later that the sample lacks.
func (f *File) HasColumn(name string) bool {
	return slices.Contains(f.Columns, name)
}

// Records returns how many records have gone through a Run so far; it may be asked
// meanwhile.
func (f *File) Records() int64 { return f.handed.Load() }

// Bound is the box about the trees, targets or crowns that a Run has handed on,
// degrees; false where there were none.
func (f *File) Bound() (b orb.Bound, ok bool) { return f.bound, f.bounded }

func (f *File) extend(b orb.Bound) {
	if f.bounded {
		b = f.bound.Union(b)
	}
	f.bound, f.bounded = b, true
}

// BytesRead returns how much of the file has been read, before unpacking.
func (f *File) BytesRead() int64 { return f.read.Load() }

// next returns the sample first and then the rest.
func (f *File) next() (source.Raw, error) {
	if len(f.sample) > 0 {
		raw := f.sample[0]
		f.sample = f.sample[1:]
		return raw, nil
	}
	return f.src.Next()
}

type countingReader struct {
	r io.Reader
	n *atomic.Int64
}

func (c countingReader) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n.Add(int64(n))
	return n, err
}
