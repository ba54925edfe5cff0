package api

import (
	"encoding/csv"
	"encoding/json"
	"iter"
	"net/http"
	"slices"
	"strconv"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// listing is an answer as rows of named values, served as JSON, as GeoJSON where
// the rows lie somewhere, and as a table.
type listing struct {
	// head stands before the rows, the cautions after it; a table has no room for
	// the head, and its rows end in the cautions in short.
	head    []ranking.Property
	columns []string // of a table, which has them without any row too
	rows    iter.Seq2[listed, error]
	points  bool // the rows are points, which JSON and a table give as two numbers
	matched int  // rows beyond a limit too; question.NotCounted where not known
	links   []link
}

// listed is one row.
type listed struct {
	id         int64 // of a feature; 0 for none
	geometry   orb.Geometry
	properties []ranking.Property
	raw        []byte // in JSON, stands for the properties where it is there
}

// alternates links the other forms that an answer is served in.
func (s *Server) alternates(r *http.Request, form string, offered []string) []link {
	links := []link{{Href: s.self(r), Rel: "self", Type: form}}
	for _, o := range offered {
		if o != form {
			name := map[string]string{typeJSON: "json", typeSchema: "json", typeOpenAPI: "json", typeGeoJSON: "geojson", typeCSV: "csv", typeHTML: "html"}[o]
			links = append(links, link{Href: s.with(r, "f", name), Rel: "alternate", Type: o})
		}
	}
	return links
}

// contentType sets the type of an answer in one of the forms of a listing.
func contentType(w http.ResponseWriter, form string) {
	switch form {
	case typeCSV:
		form += "; charset=utf-8; header=present"
	case typeHTML:
		form += "; charset=utf-8"
	}
	w.Header().Set("Content-Type", form)
}

// writeListing streams a listing in the form that was negotiated.
func (s *Server) writeListing(w http.ResponseWriter, l *listing, form string) error {
	contentType(w, form)
	if form == typeCSV {
		return s.writeTable(w, l)
	}
	p := &page{stream: s.newStream(w)}
	list := `"rows":[`
	p.buf = append(p.buf, '{')
	if form == typeGeoJSON {
		p.buf = append(p.buf, `"type":"FeatureCollection",`...)
		list = `"features":[`
	}
	p.buf = appendProperties(p.buf, append(slices.Clone(l.head), ranking.Property{Name: "cautions", Value: question.Cautions}))
	p.buf = append(append(p.buf, ','), list...)
	for row, err := range l.rows {
		if err != nil {
			return err
		}
		if p.returned > 0 {
			p.buf = append(p.buf, ',')
		}
		p.returned++
		switch {
		case form == typeGeoJSON:
			if p.buf, err = appendListed(p.buf, &row); err != nil {
				return err
			}
		case row.raw != nil:
			p.buf = append(p.buf, row.raw...)
		default:
			p.buf = append(appendProperties(append(p.buf, '{'), l.flat(&row)), '}')
		}
		if err := p.push(); err != nil {
			return err
		}
	}
	p.finish(l.links, l.matched, l.matched != question.NotCounted, s.config.Now())
	return p.send()
}

// flat lists a row's properties, its place among them.
func (l *listing) flat(row *listed) []ranking.Property {
	at, ok := row.geometry.(orb.Point)
	if !ok || !l.points {
		return row.properties
	}
	return append(slices.Clone(row.properties), ranking.Property{Name: "longitude", Value: degrees(at[0])}, ranking.Property{Name: "latitude", Value: degrees(at[1])})
}

// degrees writes a coordinate as GeoJSON does.
func degrees(v float64) json.RawMessage { return appendFloat(nil, v, decimalsOfDegrees) }

func appendListed(dst []byte, row *listed) (_ []byte, err error) {
	dst = append(dst, `{"type":"Feature",`...)
	if row.id != 0 {
		dst = strconv.AppendInt(append(dst, `"id":`...), row.id, 10)
		dst = append(dst, ',')
	}
	if dst, err = appendOutline(append(dst, `"geometry":`...), row.geometry); err != nil {
		return dst, err
	}
	dst = appendProperties(append(dst, `,"properties":{`...), row.properties)
	return append(dst, '}', '}'), nil
}

// appendProperties appends the members of an object.
func appendProperties(dst []byte, list []ranking.Property) []byte {
	for i, p := range list {
		if i > 0 {
			dst = append(dst, ',')
		}
		dst = append(appendString(dst, p.Name), ':')
		dst = appendAny(dst, p.Value)
	}
	return dst
}

// writeTable writes a listing as CSV (RFC 4180), longitude and latitude first.
// What a table has no room for is linked.
func (s *Server) writeTable(w http.ResponseWriter, l *listing) error {
	for _, k := range l.links {
		if k.Rel == "alternate" {
			w.Header().Add("Link", "<"+k.Href+`>; rel="alternate"; type="`+k.Type+`"`)
		}
	}
	o := s.newStream(w)
	out := csv.NewWriter(o)
	out.UseCRLF = true
	cells := slices.Clone(l.columns)
	if l.points {
		cells = append([]string{"longitude", "latitude"}, cells...)
	}
	if err := out.Write(append(cells, "caution")); err != nil {
		return err
	}
	for row, err := range l.rows {
		if err != nil {
			return err
		}
		cells = cells[:0]
		if at, ok := row.geometry.(orb.Point); ok && l.points {
			cells = append(cells, string(degrees(at[0])), string(degrees(at[1])))
		}
		for _, p := range row.properties {
			cells = append(cells, p.Cell())
		}
		cells = append(cells, question.Caution)
		if err := out.Write(cells); err != nil {
			return err
		}
		if out.Flush(); len(o.buf) >= flushBytes {
			if err := o.push(); err != nil {
				return err
			}
		}
	}
	out.Flush()
	return o.send()
}

// Write gathers bytes to be pushed.
func (o *stream) Write(b []byte) (int, error) {
	o.buf = append(o.buf, b...)
	return len(b), nil
}

func columnsOf(list []ranking.Property) []string {
	out := make([]string, len(list))
	for i, p := range list {
		out[i] = p.Name
	}
	return out
}
