package api

import (
	"net/http"
	"slices"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/tiling"
)

// tileOperations are the ways to ask for tiles (OGC API - Tiles - Part 1,
// 20-057): of all layers together, or of one collection's.
func (s *Server) tileOperations(c *inventory.Collection) []operation {
	path, id, tag := "/tiles", "", tagTiles
	asked := func() []parameter {
		return append(shared("site", "as_of"), parameter{name: "collections", note: "Only these layers.", schema: listOf(words(layerIDs()...))})
	}
	title := "everything"
	if c != nil {
		path, id, tag, title = "/collections/"+c.ID+"/tiles", "."+c.ID, tagOf(c), c.Title
		asked = func() []parameter { return shared("site", "as_of", "filter", "filter-lang", "filter-crs") }
	}
	set := pathParameter("tileMatrixSetId", "The tile matrix set.", words(webMercatorQuad))
	place := func(name, note string) parameter {
		return pathParameter(name, note, object{{"type", "integer"}, {"minimum", 0}, {"maximum", 1<<tiling.MaxZoom - 1}})
	}
	describing := func(path, opID, summary, schema string, first ...parameter) operation {
		answers := answered(typeJSON, schema)
		return operation{path: path, id: opID + id, tag: tag, summary: summary, answers: answers, parameters: slices.Concat(first, asked(), []parameter{formParameter(answers)})}
	}
	tileJSON := describing(path+"/{tileMatrixSetId}/tilejson", "getTileJSON", "The tiles of "+title+" as TileJSON 3 describes them", "tileJSON", set)
	tileJSON.answers = tileJSON.answers[:1]
	tileJSON.parameters[len(tileJSON.parameters)-1] = formParameter(tileJSON.answers)
	tile := operation{path: path + "/{tileMatrixSetId}/{tileMatrix}/{tileRow}/{tileCol}", id: "getTile" + id, tag: tag,
		summary: "A vector tile of " + title, note: "The row goes before the column. 204 where nothing lies in the tile.",
		answers: []answering{{form: typeMVT, schema: object{{"type", "string"}, {"format", "binary"}}}, {status: 204},
			{status: http.StatusPartialContent, form: typeMVT, schema: object{{"type", "string"}, {"format", "binary"}}}},
		parameters: slices.Concat([]parameter{set, place("tileMatrix", "The level, 0 for the whole world."), place("tileRow", "The row, 0 in the north."), place("tileCol", "The column, 0 in the west.")},
			asked(), []parameter{{name: "f", note: "The form of the answer.", schema: words("mvt")}})}
	return []operation{
		describing(path, "getTilesets", "The tilesets of "+title, "tilesets"),
		describing(path+"/{tileMatrixSetId}", "getTileset", "What is known of the tiles of "+title, "tileset", set),
		tileJSON, tile,
	}
}

// hasTiles reports whether there are tiles of a collection.
func hasTiles(c *inventory.Collection) bool {
	return slices.ContainsFunc(inventory.TileLayers, func(l inventory.TileLayer) bool { return l.Collection != "" && l.Collection == c.Base() })
}

// matrixOperations are the tile matrix sets and the style, which are of no
// collection.
func (s *Server) matrixOperations() []operation {
	set := pathParameter("tileMatrixSetId", "The tile matrix set.", words(webMercatorQuad))
	style := operation{path: "/style.json", id: "getStyle", tag: tagTiles, summary: "A style of MapLibre that draws the tiles", answers: []answering{{form: typeJSON, schema: ref("schemas", "style")}}}
	style.parameters = append(shared("site", "as_of"), parameter{name: "collections", note: "Only these layers.", schema: listOf(words(layerIDs()...))}, formParameter(style.answers))
	return []operation{
		asked("/tileMatrixSets", "getTileMatrixSets", tagTiles, "The tile matrix sets that tiles are in", nil, answered(typeJSON, "tileMatrixSets")...),
		asked("/tileMatrixSets/{tileMatrixSetId}", "getTileMatrixSet", tagTiles, "A tile matrix set", []parameter{set}, answered(typeJSON, "tileMatrixSet")...),
		style,
	}
}

// tileSchemas are those of what describes tiles.
func tileSchemas() object {
	links := member{"links", listOf(ref("schemas", "link"))}
	position := func() object { return listOf(number()).with(member{"minItems", 2}, member{"maxItems", 2}) }
	head := []member{{"title", text()}, {"description", text()}, {"dataType", words("vector")}, {"crs", uri()}, {"tileMatrixSetURI", uri()}, {"mediaTypes", listOf(text())}, links}
	limits := structure(named(whole, "minTileRow maxTileRow minTileCol maxTileCol")...)
	layer := structure(append(named(text, "id title description dataType minTileMatrix maxTileMatrix"), member{"geometryDimension", whole()}, member{"propertiesSchema", object{{"type", "object"}}})...)
	matrix := structure(append(named(number, "scaleDenominator cellSize"), slices.Concat(named(whole, "tileWidth tileHeight matrixWidth matrixHeight"), named(text, "id cornerOfOrigin"), []member{{"pointOfOrigin", position()}})...)...)
	return object{
		{"tilesets", structure(links, member{"tilesets", listOf(structure(head...))})},
		{"tileset", withMember(structure(append(slices.Clone(head), member{"tileMatrixSetLimits", listOf(withMember(limits, member{"tileMatrix", text()}))}, member{"layers", listOf(layer)})...),
			member{"boundingBox", structure(member{"lowerLeft", position()}, member{"upperRight", position()}, member{"crs", uri()})},
			member{"centerPoint", structure(member{"coordinates", position()}, member{"crs", uri()}, member{"tileMatrix", text()})})},
		{"tileJSON", withMember(structure(member{"tilejson", words("3.0.0")}, member{"name", text()}, member{"description", text()}, member{"scheme", words("xyz")}, member{"version", text()},
			member{"tiles", listOf(text())}, member{"minzoom", whole()}, member{"maxzoom", whole()},
			member{"vector_layers", listOf(structure(member{"id", text()}, member{"description", text()}, member{"minzoom", whole()}, member{"maxzoom", whole()}, member{"fields", object{{"type", "object"}, {"additionalProperties", text()}}}))}),
			member{"bounds", listOf(number()).with(member{"minItems", 4}, member{"maxItems", 4})}, member{"center", listOf(number()).with(member{"minItems", 3}, member{"maxItems", 3})})},
		{"tileMatrixSets", structure(links, member{"tileMatrixSets", listOf(structure(append(named(text, "id title"), member{"uri", uri()}, member{"crs", uri()}, links)...))})},
		{"tileMatrixSet", structure(append(named(text, "id title"), member{"uri", uri()}, member{"crs", uri()}, member{"orderedAxes", listOf(text())}, member{"wellKnownScaleSet", uri()}, links, member{"tileMatrices", listOf(matrix)})...)},
		{"style", loose([]string{"version", "sources", "layers"}, member{"version", whole()}, member{"name", text()}, member{"sources", object{{"type", "object"}}}, member{"layers", listOf(object{{"type", "object"}})},
			member{"center", position()}, member{"zoom", number()})},
	}
}
