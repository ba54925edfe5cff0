package api

import (
	"slices"

	"github.com/underbough/underbough/inventory"
)

// describingSchemas are those of what describes the service.
func describingSchemas() object {
	links := member{"links", listOf(ref("schemas", "link"))}
	collection := loose([]string{"id", "title", "description", "links", "itemType", "crs", "storageCrs"},
		member{"id", text()}, member{"title", text()}, member{"description", text()}, links,
		member{"extent", ref("schemas", "extent")}, member{"itemType", words("feature")},
		member{"crs", listOf(uri())}, member{"storageCrs", uri()})
	function := loose([]string{"name", "returns"}, member{"name", text()}, member{"description", text()}, member{"metadataUrl", uri()},
		member{"args", listOf(loose([]string{"type"}, member{"title", text()}, member{"description", text()}, member{"type", listOf(functionType())}))},
		member{"returns", listOf(functionType())})
	return object{
		{"link", loose([]string{"href", "rel", "type"}, member{"href", text()}, member{"rel", text()}, member{"type", text()}, member{"title", text()}, member{"templated", boolean()}).
			with(member{"additionalProperties", false})},
		{"problem", loose([]string{"type", "title", "status"}, member{"type", text()}, member{"title", text()}, member{"status", wholeFrom(400, 599)},
			member{"detail", text()}, member{"instance", text()}, member{"parameter", text()}, member{"property", text()}).with(member{"additionalProperties", false})},
		{"landingPage", structure(member{"title", text()}, member{"description", text()}, links)},
		{"definition", loose([]string{"openapi", "info", "paths"}, member{"openapi", text()}, member{"info", object{{"type", "object"}}}, member{"paths", object{{"type", "object"}}})},
		{"conformance", structure(member{"conformsTo", listOf(uri())}, links)},
		{"extent", loose(nil,
			member{"spatial", structure(member{"bbox", listOf(listOf(number()).with(member{"minItems", 4}, member{"maxItems", 4}))}, member{"crs", uri()})},
			member{"temporal", structure(member{"interval", listOf(listOf(nullable(moment0())).with(member{"minItems", 2}, member{"maxItems", 2}))}, member{"trs", uri()})})},
		{"collection", collection},
		{"collections", structure(links, member{"collections", listOf(ref("schemas", "collection"))})},
		{"functions", loose([]string{"functions"}, member{"functions", listOf(function)}, links)},
		{"jsonSchema", loose([]string{"$schema", "$id", "type", "properties"}, member{"$schema", uri()}, member{"$id", uri()}, member{"type", words("object")},
			member{"title", text()}, member{"description", text()}, member{"properties", object{{"type", "object"}, {"additionalProperties", object{{"type", "object"}}}}},
			member{"additionalProperties", boolean()})},
		{"question", structure(append(named(text, "name title collection filter filter-lang"), member{"changed_at", moment0()}, member{"changed_by", text()}, links)...)},
		{"questions", structure(member{"questions", listOf(ref("schemas", "question"))}, links)},
		{"edit.question", loose([]string{"filter"}, member{"title", text()}, member{"collection", text()}, member{"filter", object{{"description", "CQL2, as a text or, with filter-lang cql2-json, as an object"}}},
			member{"filter-lang", words("cql2-text", "cql2-json")})},
		{"history", historySchema()},
		{"deleted", deletedSchema()},
		{"health", structure(member{"status", text()})},
	}
}

// functionType lists the types that the standard's document of functions knows.
func functionType() object {
	return words("string", "number", "integer", "datetime", "geometry", "boolean")
}

// geometryDepth is how deep the lists of each type of geometry are nested.
var geometryDepth = []struct {
	name, of string
	depth    int
}{
	{"point", "Point", 0}, {"lineString", "LineString", 1}, {"polygon", "Polygon", 2},
	{"multiPoint", "MultiPoint", 1}, {"multiLineString", "MultiLineString", 2}, {"multiPolygon", "MultiPolygon", 3},
}

// geometrySchemas are the geometries of GeoJSON (RFC 7946) in two dimensions.
// Each may be null: a feature need not have one.
func geometrySchemas() object {
	var out object
	parts := []object{}
	for _, g := range geometryDepth {
		coordinates := listOf(number()).with(member{"minItems", 2}, member{"maxItems", 2})
		for i := range g.depth {
			coordinates = listOf(coordinates)
			switch {
			case i == 0 && g.of == "LineString", i == 0 && g.of == "MultiLineString":
				coordinates = coordinates.with(member{"minItems", 2})
			case i == 0 && (g.of == "Polygon" || g.of == "MultiPolygon"):
				coordinates = coordinates.with(member{"minItems", 4}) // closed
			}
		}
		schema := structure(member{"type", words(g.of)}, member{"coordinates", coordinates}).with(member{"additionalProperties", false})
		out = append(out, member{g.name, nullable(schema)})
		parts = append(parts, ref("schemas", g.name))
	}
	collection := structure(member{"type", words("GeometryCollection")}, member{"geometries", listOf(object{{"anyOf", parts}})}).with(member{"additionalProperties", false})
	return append(out, member{"geometryCollection", nullable(collection)})
}

// geometriesOf points to the schemas of a collection's geometries.
func geometriesOf(c *inventory.Collection) object {
	var list []object
	for _, name := range c.Geometries {
		i := slices.IndexFunc(geometryDepth[:], func(g struct {
			name, of string
			depth    int
		}) bool {
			return g.of == name
		})
		if i < 0 {
			list = append(list, ref("schemas", "geometryCollection"))
			continue
		}
		list = append(list, ref("schemas", geometryDepth[i].name))
	}
	if len(list) == 1 {
		return list[0]
	}
	return object{{"anyOf", list}}
}

// featureSchemas are a collection's feature and page of features. Every property
// that was not left out by the parameter properties is there, null where it has
// no value.
func featureSchemas(c *inventory.Collection) object {
	var properties []member
	for i := range c.Properties {
		p := &c.Properties[i]
		schema := object{{"title", titleOf(p)}}
		if note := noteOf(p); note != "" {
			schema = schema.with(member{"description", note})
		}
		if p.Fixed || !c.Editable {
			schema = schema.with(member{"readOnly", true})
		}
		properties = append(properties, member{p.Name, nullable(schema.with(typeOf(p)...))})
	}
	members := []member{
		{"type", words("Feature")}, {"id", identitySchema(c)}, {"geometry", geometriesOf(c)},
		{"properties", loose(nil, properties...).with(member{"additionalProperties", false})},
	}
	link := member{"links", listOf(ref("schemas", "link"))}
	page := loose([]string{"type", "features", "links", "numberReturned", "timeStamp"}, member{"type", words("FeatureCollection")}, member{"cautions", text()},
		member{"features", listOf(structure(members...))}, link,
		member{"numberReturned", whole()}, member{"numberMatched", whole()}, member{"timeStamp", moment0()})
	file := loose([]string{"type", "features", "timeStamp"}, member{"type", words("FeatureCollection")}, member{"cautions", text()},
		member{"features", listOf(structure(members...))}, member{"timeStamp", moment0()})
	one := withMember(structure(append(members, link)...), member{"cautions", text()})
	return object{
		{"feature." + c.ID, one},
		{"features." + c.ID, page.with(member{"additionalProperties", false})},
		{"export." + c.ID, file.with(member{"additionalProperties", false})},
	}
}

// weekSchema is that of the week under a tree.
func weekSchema() object {
	week := func() object {
		return listOf(number()).with(member{"minItems", inventory.HoursInWeek}, member{"maxItems", inventory.HoursInWeek})
	}
	moment := func() object {
		return structure(member{"people", number()}, member{"hour", whole()}, member{"name", text()})
	}
	return structure(
		member{"site", text()}, member{"time_zone", text()}, member{"tree_id", whole()}, member{"tag", nullable(text())}, member{"source_id", nullable(text())},
		member{"species", nullable(text())}, member{"part", words("whole tree", "crown", "limb")}, member{"cut_id", nullable(whole())}, member{"first_hour", text()},
		member{"people_in_the_open", week()}, member{"people_in_vehicles", week()}, member{"people_sheltered", week()}, member{"vehicles", week()},
		member{"peak", moment()}, member{"busiest", moment()},
		member{"mean", structure(member{"people_in_the_open", number()}, member{"people_in_vehicles", number()}, member{"people_sheltered", number()}, member{"vehicles", number()})},
		member{"occupied_share", number()},
		member{"quietest", nullable(structure(member{"hour", whole()}, member{"name", text()}, member{"until", text()}, member{"hours", whole()}, member{"person_hours", number()}))},
		member{"profile", text()}, member{"profile_digest", text()}, member{"as_of", object{{"type", "string"}, {"format", "date"}}},
		member{"note", text()}, member{"cautions", text()}, member{"links", listOf(ref("schemas", "link"))},
	).with(member{"additionalProperties", false})
}
