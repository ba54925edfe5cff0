package api

import (
	"net/http"

	"github.com/underbough/underbough/inventory"
)

// importSchemas are those of files and of held rows, where they are taken.
func (s *Server) importSchemas() object {
	if s.uploads == nil {
		return nil
	}
	return object{
		{"import", documentSchema[importAnswer]()},
		{"importRun", documentSchema[importRunAnswer]()},
		{"importCounts", documentSchema[importCounts]()},
		{"held", documentSchema[heldAnswer]()},
		{"dropped", documentSchema[dropAnswer]()},
	}
}

var importParameter = pathParameter("import", "A file, as the Location of its upload names it.", text())

// importOperations are the ways to load a file and to settle what was held of it.
func (s *Server) importOperations() []operation {
	if s.uploads == nil {
		return nil
	}
	document := func(status int, name string) answering {
		return answering{status: status, form: typeJSON, schema: ref("schemas", name)}
	}
	keyed := func(o operation, problems ...int) operation {
		o.tag, o.secured = tagImport, len(s.config.EditKeys) > 0
		o.problems = append(problems, http.StatusUnauthorized, http.StatusForbidden, http.StatusMethodNotAllowed)
		return o
	}
	read := func(path, id, summary string, parameters []parameter, answers ...answering) operation {
		return keyed(asked(path, id, tagImport, summary, parameters, answers...))
	}
	sent := func(o operation) operation {
		return keyed(o, http.StatusConflict, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType, http.StatusUnprocessableEntity)
	}
	body := func(schema object) object {
		return object{{"required", true}, {"content", object{{typeJSON, object{{"schema", schema.with(member{"additionalProperties", false})}}}}}}
	}
	files := object{}
	for _, form := range uploadTypes {
		files = files.with(member{form, object{{"schema", bytesSchema()}}})
	}
	one := []parameter{importParameter}
	run := func(path, id, summary string) operation {
		return sent(operation{method: http.MethodPost, path: path, id: id, summary: summary, parameters: one, body: body(planSchema()),
			answers: []answering{document(http.StatusAccepted, "importRun")}, headers: []string{"Location"}})
	}
	return []operation{
		sent(operation{method: http.MethodPost, path: "/imports", id: "sendFile", summary: "Send a file to be loaded; nothing is loaded by that",
			parameters: []parameter{{name: "name", note: "The name of the file, under which its records are known.", required: true, schema: text()}},
			body:       object{{"required", true}, {"content", files}}, answers: []answering{document(http.StatusCreated, "import")}, headers: []string{"Location"}}),
		read("/imports/{import}", "getImport", "A file's columns with sample values, and what is proposed to be read from each", one, document(0, "import")),
		keyed(operation{method: http.MethodDelete, path: "/imports/{import}", id: "forgetFile", summary: "Forget a file; stops what is being done with it", parameters: one, answers: []answering{{status: http.StatusNoContent}}}),
		run("/imports/{import}/try", "tryImport", "Read a file by a mapping, and write nothing"),
		read("/imports/{import}/run", "getRun", "How far the last try or load of a file is, or what came of it", one, document(0, "importRun")),
		run("/imports/{import}/run", "runImport", "Load a file by a mapping, all of it or nothing"),
		keyed(operation{method: http.MethodDelete, path: "/imports/{import}/run", id: "stopImport", summary: "Stop what is being done with a file; nothing is left half done", parameters: one, answers: []answering{document(0, "importRun")}}),
		read("/quarantine", "getHeld", "The records that loading held back, with what is wrong", append(shared("site", "limit"), parameter{name: "file", note: "Only of this file.", schema: text()}),
			document(0, "held"), answering{form: typeCSV, schema: text()}),
		sent(operation{method: http.MethodPost, path: "/quarantine/readmit", id: "readmit", summary: "Load held rows again, corrected or as they are", body: body(readmitSchema()), answers: []answering{document(0, "importCounts")}}),
		sent(operation{method: http.MethodPost, path: "/quarantine/drop", id: "dropHeld", summary: "Settle held rows that nobody wants; they are kept", body: body(structure(member{"ids", listOf(whole())})), answers: []answering{document(0, "dropped")}}),
	}
}

func planSchema() object {
	rule := loose([]string{"field"}, member{"field", text()}, member{"from", text()}, member{"unit", text()}, member{"value", text()},
		member{"values", listOf(structure(member{"from", text()}, member{"to", text()}))}, member{"max", number()})
	return loose([]string{"as", "site"},
		member{"as", words(inventory.Roles...)}, member{"site", text()}, member{"time_zone", text()},
		member{"mapping", listOf(rule).with(member{"description", "All that is read; what is proposed where it is left out"})},
		member{"where", listOf(structure(member{"column", text()}, member{"values", listOf(text())}))},
		member{"layer", text()}, member{"longitude", text()}, member{"latitude", text()}, member{"wkt", text()},
		member{"max_km", number().with(member{"minimum", 0}, member{"default", defaultMaxKM})})
}

func readmitSchema() object {
	return loose(nil,
		member{"rows", listOf(loose([]string{"id"}, member{"id", whole()}, member{"row", text()}, member{"values", listOf(structure(member{"name", text()}, member{"value", text()}))}))},
		member{"all", boolean()}, member{"site", text()}, member{"file", text()}, member{"max_km", number()})
}
