package api

import (
	"net/http"
	"slices"

	"github.com/underbough/underbough/inventory"
)

// asked makes the operation of a path that is read, with the parameter f where
// its answer has forms.
func asked(path, id, tag, summary string, parameters []parameter, answers ...answering) operation {
	return operation{path: path, id: id, tag: tag, summary: summary, answers: answers, parameters: append(parameters, formParameter(answers))}
}

// answered pairs the JSON form of an answer with a schema among the components,
// and HTML with none.
func answered(form, schema string) []answering {
	return []answering{{form: form, schema: ref("schemas", schema)}, {form: typeHTML, schema: text()}}
}

const (
	tagService  = "Service"
	tagQuestion = "Questions"
	tagTiles    = "Tiles"
	tagWork     = "Work"
	tagImport   = "Files"
	tagHealth   = "Health"
)

// tags groups the operations, in the order that pages show them in.
func tags(list []inventory.Collection) []object {
	out := []object{{{"name", tagService}, {"description", "What describes the service."}}}
	for i := range list {
		c := &list[i]
		out = append(out, object{{"name", tagOf(c)}, {"description", c.Note}})
	}
	return append(out, object{{"name", tagTiles}, {"description", "Vector tiles of all layers together, and what tells how to draw them."}},
		object{{"name", tagQuestion}, {"description", "Questions that the engine answers."}},
		object{{"name", tagWork}, {"description", "From the ranking to what is cut: specifications, programmes, jobs and what is printed of them."}},
		object{{"name", tagImport}, {"description", "Loading files of records, and what loading holds back; where editing is on."}},
		object{{"name", tagHealth}, {"description", "For those who keep the service running."}})
}

// tagOf heads the operations of a collection. The titles of saved questions may
// be any, and twice the same.
func tagOf(c *inventory.Collection) string {
	if c.Of != "" {
		return "Question " + c.ID
	}
	return c.Title
}

// commonOperations describe the service.
func (s *Server) commonOperations() []operation {
	return []operation{
		asked("/", "getLandingPage", tagService, "What is here", nil, answered(typeJSON, "landingPage")...),
		asked("/api", "getDefinition", tagService, "The definition of this service", nil, answered(typeOpenAPI, "definition")...),
		asked("/conformance", "getConformance", tagService, "The classes of standards that are conformed to", nil, answered(typeJSON, "conformance")...),
		asked("/functions", "getFunctions", tagService, "The functions that a filter may use", nil, answered(typeJSON, "functions")...),
		asked("/collections", "getCollections", tagService, "The collections", shared("as_of"), answered(typeJSON, "collections")...),
	}
}

// collectionOperations are the ways to ask one collection.
func (s *Server) collectionOperations(c *inventory.Collection) []operation {
	path, title, tag := "/collections/"+c.ID, c.Title, tagOf(c)
	crs := []string{"Content-Crs"}
	items := asked(path+"/items", "getItems."+c.ID, tag, "Features of "+title, s.itemsParameters(c), answered(typeGeoJSON, "features."+c.Base())...)
	items.headers = crs
	items.note = "Pages follow each other by the link next; a walk through them neither skips nor repeats what stays, whatever is edited meanwhile."
	item := asked(path+"/items/{featureId}", "getItem."+c.ID, tag, "One feature of "+title,
		append([]parameter{pathParameter("featureId", "The id of a feature.", identitySchema(c))}, s.itemParameters()...), answered(typeGeoJSON, "feature."+c.Base())...)
	item.headers = crs
	item.problems = append(item.problems, http.StatusPreconditionFailed)
	export := asked(path+"/export", "export."+c.ID, tag, "All features of "+title+" that are asked for, without pages", s.exportParameters(c),
		answering{form: typeGeoJSON, schema: ref("schemas", "export."+c.Base())}, answering{form: typeGeoJSONSeq, schema: text()}, answering{form: typeCSV, schema: text()})
	export.headers = crs
	out := []operation{
		asked(path, "getCollection."+c.ID, tag, "What is known of "+title, shared("as_of"), answered(typeJSON, "collection")...),
		asked(path+"/queryables", "getQueryables."+c.ID, tag, "What a filter on "+title+" may speak of", nil, answered(typeSchema, "jsonSchema")...),
		asked(path+"/sortables", "getSortables."+c.ID, tag, "What "+title+" can be sorted by", nil, answered(typeSchema, "jsonSchema")...),
		asked(path+"/schema", "getSchema."+c.ID, tag, "The properties of "+title, nil, answered(typeSchema, "jsonSchema")...),
		asked(path+"/schema/feature", "getFeatureSchema."+c.ID, tag, "A feature of "+title+" as GeoJSON", nil, answered(typeSchema, "jsonSchema")...),
		items, item, export,
	}
	out = append(out, s.editOperations(c)...)
	out = append(out, s.historyOperations(c)...)
	if hasTiles(c) {
		out = append(out, s.tileOperations(c)...)
	}
	return out
}

// itemParameters are those of one feature, whatever its collection.
func (s *Server) itemParameters() []parameter {
	return shared("crs", "properties", "as_of")
}

// questionOperations are the questions besides the collections.
func (s *Server) questionOperations() []operation {
	list := func(schema string, forms ...string) []answering {
		var out []answering
		for _, form := range forms {
			switch form {
			case typeJSON:
				out = append(out, answering{form: form, schema: ref("schemas", "rows."+schema)})
			case typeGeoJSON:
				out = append(out, answering{form: form, schema: ref("schemas", "features."+schema)})
			default:
				out = append(out, answering{form: form, schema: text()})
			}
		}
		return out
	}
	sweeping := func(o operation) operation {
		o.problems = append(o.problems, http.StatusUnprocessableEntity)
		return o
	}
	out := []operation{
		sweeping(asked("/ranking", "getRanking", tagQuestion, "The trees in the order in which to climb them", rankingParameters(), list("ranking", rankingForms...)...)),
		sweeping(asked("/what-if", "getWhatIf", tagQuestion, "How trees would rank if things were otherwise; nothing is stored",
			append(shared("site", "as_of"), parameter{name: "change", note: "What is supposed, such as: tree T1 removed, cut 5 shortened 30%, target 7 people_per_hour=40. Repeat it for more.",
				required: true, schema: listOf(text()).with(member{"minItems", 1}, member{"maxItems", maxChanges}), explode: true}, byParameter),
			list("moves", whatIfForms...)...)),
		asked("/explain", "getExplanation", tagQuestion, "One tree's sum, opened down to each overlap", shared("site", "tag", "as_of"), answering{form: typeJSON, schema: ref("schemas", "explanation")}),
		asked("/hours", "getHours", tagQuestion, "The week under a tree, hour by hour", hoursParameters(),
			answering{form: typeJSON, schema: ref("schemas", "week")}, answering{form: typeCSV, schema: text()}),
		asked("/hours.svg", "getHoursChart", tagQuestion, "The week under a tree as a chart", hoursParameters(), answering{form: typeSVG, schema: text()}),
		sweeping(asked("/hours/trees", "getTreeWeeks", tagQuestion, "The weeks under many trees at once, those with the most harm",
			append(shared("site", "bbox", "filter", "filter-lang", "filter-crs", "as_of"), parameter{name: "limit", note: "How many trees at most.", schema: wholeFrom(1, maxTreeWeeks).with(member{"default", maxTreeWeeks})}),
			answering{form: typeJSON, schema: ref("schemas", "weeks")})),
		sweeping(asked("/hours/places", "getPlaceWeeks", tagQuestion, "The weeks of many places at once", shared("site", "bbox", "as_of"), answering{form: typeJSON, schema: ref("schemas", "weeks")})),
		asked("/places/{place}", "getPlace", tagQuestion, "One place with its week and all trees that reach it",
			append([]parameter{pathParameter("place", "The number of a target.", wholeFrom(1, 1<<53-1))}, shared("as_of")...), answering{form: typeJSON, schema: ref("schemas", "place")}),
		sweeping(asked("/places", "getPlaces", tagQuestion, "The places with what is on them and the trees over them", placesParameters(), list("places", placeForms...)...)),
		sweeping(asked("/grid", "getGrid", tagQuestion, "The exposure by hexagons or squares", gridParameters(), list("grid", gridForms...)...)),
		asked("/rankings", "getRankings", tagQuestion, "The rankings that were kept", shared("site"), list("records", recordForms...)...),
		asked("/rankings/{ranking}", "getKeptRanking", tagQuestion, "A kept ranking with its rows", []parameter{rankingParameter}, list("kept", keptForms...)...),
		asked("/rankings/{ranking}/compare/{other}", "compareRankings", tagQuestion, "Who moved between two kept rankings, and why",
			[]parameter{rankingParameter, pathParameter("other", "The number of the later ranking.", wholeFrom(1, 1<<53-1))}, list("compared", recordForms...)...),
		sweeping(asked("/rankings/{ranking}/check", "checkRanking", tagQuestion, "Makes a kept ranking again, a full run over the site, and compares every byte",
			[]parameter{rankingParameter}, answering{form: typeJSON, schema: ref("schemas", "checked")})),
	}
	return slices.Concat(out, s.savedOperations(), s.fileOperations())
}

// fileOperations are pages and signs of life: they have no parameters at all.
func (s *Server) fileOperations() []operation {
	page := operation{path: "/map", id: "getMap", tag: tagQuestion, summary: "The map page", note: "It reads from its address what it is to show.",
		parameters: []parameter{{name: "shown", note: "What the page is to show, in the words of its own links.", explode: true, schema: object{{"type", "object"}, {"additionalProperties", text()}}}}, answers: []answering{{form: typeHTML, schema: text()}}}
	part := operation{path: "/map/{part}", id: "getMapPart", tag: tagQuestion, summary: "A part of the map page",
		parameters: []parameter{pathParameter("part", "The name of the part.", text())}, answers: []answering{{form: "*/*", schema: object{{"type", "string"}, {"format", "binary"}}}}}
	out := []operation{page, part}
	for _, o := range [][3]string{{"/healthz", "getHealth", "Whether the process is alive"}, {"/readyz", "getReadiness", "Whether the database answers and has our tables"}} {
		out = append(out, operation{path: o[0], id: o[1], tag: tagHealth, summary: o[2], answers: []answering{{form: typeJSON, schema: ref("schemas", "health")}}})
	}
	return out
}
