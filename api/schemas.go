package api

import (
	"net/http"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/underbough/underbough/inventory"
)

// The descriptions of a collection's properties as JSON Schema, by OGC API -
// Common - Part 3 / Features - Part 5 (23-058r2) and, for queryables, Features -
// Part 3 (19-079r2).

const jsonSchema = "https://json-schema.org/draft/2020-12/schema"

// Relations of links, from the register of OGC.
const (
	relQueryables = "http://www.opengis.net/def/rel/ogc/1.0/queryables"
	relSortables  = "http://www.opengis.net/def/rel/ogc/1.0/sortables"
	relSchema     = "http://www.opengis.net/def/rel/ogc/1.0/schema"
)

// unit is a measure that the end of a property's name tells of.
type unit struct{ ending, short, words, ucum string }

// units have their codes from the Unified Code for Units of Measure; longer
// endings go before shorter ones.
var units = []unit{
	{"_hours_year", "h a year", "hours a year", "h/a"},
	{"_per_hour", "an hour", "an hour", "/h"},
	{"_per_day", "a day", "a day", "/d"},
	{"_minutes", "min", "minutes", "min"},
	{"_mps", "m/s", "metres a second", "m/s"},
	{"_deg", "°", "degrees", "deg"},
	{"_cm", "cm", "centimetres", "cm"},
	{"_m2", "m²", "square metres", "m2"},
	{"_m", "m", "metres", "m"},
}

func unitOf(p *inventory.Property) (unit, bool) {
	if p.Type != inventory.Number && p.Type != inventory.Integer {
		return unit{}, false
	}
	for _, u := range units {
		if strings.HasSuffix(p.Name, u.ending) {
			return u, true
		}
	}
	return unit{}, false
}

// titleOf is a property's name for people, such as "Crown radius (m)".
func titleOf(p *inventory.Property) string {
	name, u, of := p.Name, unit{}, false
	if u, of = unitOf(p); of {
		name = strings.TrimSuffix(name, u.ending)
	}
	words := strings.Split(name, "_")
	for i, word := range words {
		switch word {
		case "dbh", "epsg", "id":
			words[i] = strings.ToUpper(word)
		}
	}
	title := strings.Join(words, " ")
	first, size := utf8.DecodeRuneInString(title)
	title = string(unicode.ToUpper(first)) + title[size:]
	if of {
		title += " (" + u.short + ")"
	}
	return title
}

// noteOf says what is known of a property besides its name.
func noteOf(p *inventory.Property) string {
	var parts []string
	if u, ok := unitOf(p); ok {
		parts = append(parts, "in "+u.words)
	}
	if p.Note != "" {
		parts = append(parts, p.Note)
	}
	if p.Derived {
		parts = append(parts, "worked out by the latest computation; null before any")
	}
	return strings.Join(parts, "; ")
}

// typeOf is the JSON type of a property and what narrows it.
func typeOf(p *inventory.Property) object {
	text := object{{"type", "string"}}
	if p.Values != nil {
		text = text.with(member{"enum", p.Values})
	}
	switch p.Type {
	case inventory.Integer:
		return object{{"type", "integer"}, {"format", "int64"}}
	case inventory.Number:
		return object{{"type", "number"}, {"format", "double"}}
	case inventory.Boolean:
		return object{{"type", "boolean"}}
	case inventory.Date:
		return object{{"type", "string"}, {"format", "date"}}
	case inventory.Timestamp:
		return object{{"type", "string"}, {"format", "date-time"}}
	case inventory.TextList:
		return object{{"type", "array"}, {"items", text}}
	case inventory.Object:
		return object{{"type", "object"}}
	}
	return text
}

// propertySchema describes a property.
func propertySchema(p *inventory.Property) object {
	s := object{{"title", titleOf(p)}}
	if note := noteOf(p); note != "" {
		s = s.with(member{"description", note})
	}
	s = s.with(typeOf(p)...)
	if u, ok := unitOf(p); ok {
		s = s.with(member{"x-ogc-unit", u.ucum})
	}
	return s
}

// geometryFormat names the types of a collection's geometries in a schema.
func geometryFormat(types []string) string {
	switch {
	case len(types) == 1:
		return "geometry-" + strings.ToLower(types[0])
	case len(types) == 2 && types[1] == "Multi"+types[0]:
		return "geometry-" + strings.ToLower(types[0]) + "-or-" + strings.ToLower(types[1])
	}
	return "geometry-any"
}

func geometrySchema(c *inventory.Collection) object {
	return object{{"title", "Geometry"}, {"format", geometryFormat(c.Geometries)}}
}

// schemaOf begins the document of one of a collection's schemas.
func (s *Server) schemaOf(r *http.Request, c *inventory.Collection, path, title, note string, properties object) object {
	return object{
		{"$schema", jsonSchema},
		{"$id", s.base(r) + "/collections/" + c.ID + path},
		{"type", "object"},
		{"title", title},
		{"description", note},
		{"properties", properties},
		{"additionalProperties", false},
	}
}

// queryables lists what a filter may speak of.
func (s *Server) queryables(r *http.Request, c *inventory.Collection) object {
	properties := object{{inventory.GeometryProperty, geometrySchema(c).with(member{"x-ogc-role", "primary-geometry"})}}
	for _, shape := range c.Shapes {
		properties = append(properties, member{shape.Name, object{
			{"title", titleOf(&inventory.Property{Name: shape.Name})}, {"description", shape.Note}, {"format", "geometry-polygon-or-multipolygon"},
		}})
	}
	for i := range c.Properties {
		p := &c.Properties[i]
		if _, ok := p.FilterType(); ok {
			properties = append(properties, member{p.Name, propertySchema(p)})
		}
	}
	return s.schemaOf(r, c, "/queryables", c.Title+": queryables", "What a filter on this collection may speak of. Any other name in a filter is an error.", properties)
}

// sortables lists what sortby may name.
func (s *Server) sortables(r *http.Request, c *inventory.Collection) object {
	properties := object{}
	for _, name := range sorted(c) {
		p, _ := c.Property(name)
		properties = append(properties, member{p.Name, propertySchema(p)})
	}
	return s.schemaOf(r, c, "/sortables", c.Title+": sortables", "What this collection can be sorted by. Any other name in sortby is an error.", properties)
}

// schema lists what is returned and, but for what is read only, received.
func (s *Server) schema(r *http.Request, c *inventory.Collection) object {
	var required []string
	properties := object{
		{"id", identitySchema(c).with(member{"title", "ID"}, member{"readOnly", true}, member{"x-ogc-role", "id"})},
		{inventory.GeometryProperty, readOnly(geometrySchema(c).with(member{"x-ogc-role", "primary-geometry"}), !c.Editable)},
	}
	for i := range c.Properties {
		p := &c.Properties[i]
		out := readOnly(propertySchema(p).with(s.limitsOf(p)...), p.Fixed || !c.Editable)
		if p.Required {
			required = append(required, p.Name)
		}
		if p.Name == c.Time && temporal(p) {
			out = out.with(member{"x-ogc-role", "primary-instant"})
		}
		properties = append(properties, member{p.Name, out})
	}
	for i := range properties {
		properties[i].value = properties[i].value.(object).with(member{"x-ogc-propertySeq", i + 1})
	}
	out := s.schemaOf(r, c, "/schema", c.Title, c.Note, properties)
	if required != nil {
		out = out.with(member{"required", required})
	}
	return out
}

// limitsOf is what an edit holds a property to.
func (s *Server) limitsOf(p *inventory.Property) (out object) {
	if p.Default != "" {
		out = out.with(member{"default", p.Default})
	}
	b := p.Bounds
	if b == nil {
		return out
	}
	low, high := "minimum", "maximum"
	if b.Above {
		low = "exclusiveMinimum"
	}
	if b.Below {
		high = "exclusiveMaximum"
	}
	most := b.High
	if p.Name == plantedYear {
		most = float64(s.lastPlanting())
	}
	return out.with(member{low, b.Low}, member{high, most})
}

const plantedYear = "planted_year"

// lastPlanting is the latest year that a tree may be recorded as planted in: what
// is ordered for the winter is in the inventory before it stands.
func (s *Server) lastPlanting() int { return s.config.Now().Year() + 1 }

func readOnly(o object, is bool) object {
	if !is {
		return o
	}
	return o.with(member{"readOnly", true})
}

func temporal(p *inventory.Property) bool {
	return p.Type == inventory.Date || p.Type == inventory.Timestamp
}

// identitySchema is the type of a feature's id.
func identitySchema(c *inventory.Collection) object {
	if c.Base() == "overlaps" {
		return object{{"type", "string"}}
	}
	return object{{"type", "integer"}, {"format", "int64"}}
}

// featureSchema describes a feature as GeoJSON writes it, for clients that take
// the types of columns from a link describedBy. Of all days and instants only
// the one that the parameter datetime looks at has a format: clients send each
// comparison with a day as datetime, whichever property it is of.
func (s *Server) featureSchema(r *http.Request, c *inventory.Collection) object {
	properties := object{}
	for i := range c.Properties {
		p := &c.Properties[i]
		out := propertySchema(p)
		if temporal(p) && p.Name != c.Time {
			out = slices.DeleteFunc(out, func(m member) bool { return m.name == "format" })
		}
		properties = append(properties, member{p.Name, out})
	}
	geometry := object{{"title", "Geometry"}, {"type", []string{"object", "null"}}}
	if len(c.Geometries) == 1 {
		geometry = geometry.with(member{"properties", object{{"type", object{{"type", "string"}, {"enum", c.Geometries}}}}})
	}
	out := s.schemaOf(r, c, "/schema/feature", c.Title+": a feature", "A feature of this collection as GeoJSON.", object{
		{"type", object{{"type", "string"}, {"enum", []string{"Feature"}}}},
		{"id", identitySchema(c)},
		{"geometry", geometry},
		{"properties", object{{"type", "object"}, {"properties", properties}}},
	})
	return slices.DeleteFunc(out, func(m member) bool { return m.name == "additionalProperties" })
}

// schemaForms are the forms of a schema.
var schemaForms = []string{typeSchema, typeHTML}

// handleSchema serves one of a collection's schemas.
func (s *Server) handleSchema(of func(*Server, *http.Request, *inventory.Collection) object) handler {
	return func(w http.ResponseWriter, r *http.Request) error {
		c, err := s.collectionOf(r)
		if err != nil {
			return err
		}
		d, err := s.document(w, r, schemaForms)
		if err != nil {
			return err
		}
		schema := of(s, r, c)
		if d.form == typeHTML {
			return s.schemaPage(d, c, schema)
		}
		return d.write(schema)
	}
}

// sorted lists the properties that a collection's features can be sorted by:
// none of what is worked out as it is asked for.
func sorted(c *inventory.Collection) []string {
	if c.Computed {
		return nil
	}
	return sortables(c)
}
