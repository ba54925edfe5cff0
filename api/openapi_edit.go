package api

import (
	"net/http"

	"github.com/underbough/underbough/inventory"
)

// editorParameter names who edits.
var editorParameter = parameter{name: "by", note: "Whom the history is to name; left out where a key says it.", schema: text()}

// editOperations are the ways to edit a collection, where editing is on.
func (s *Server) editOperations(c *inventory.Collection) []operation {
	if !s.config.Edit || !c.Editable || c.Of != "" {
		return nil
	}
	path, title := "/collections/"+c.ID+"/items", c.Title
	id := pathParameter("featureId", "The id of a feature.", identitySchema(c))
	match := parameter{name: "If-Match", in: "header", note: "The ETag of the feature as it was read: the edit is refused with 412 where it has changed since.", required: s.config.RequireMatch, schema: text()}
	none := parameter{name: "If-None-Match", in: "header", note: "The edit is refused with 412 where the feature is at one of these ETags, or with * where it is there.", schema: text()}
	contentCRS := parameter{name: "Content-Crs", in: "header", note: "The reference system of the coordinates sent, with or without angle brackets; longitude and latitude without it.", schema: text()}
	form := parameter{name: "f", note: "The form of the answer.", schema: words("json", "geojson")}
	sent := func(required bool, forms ...string) object {
		content := object{}
		for _, form := range forms {
			content = content.with(member{form, object{{"schema", ref("schemas", "edit."+c.ID)}}})
		}
		return object{{"required", required}, {"content", content}}
	}
	feature := ref("schemas", "feature."+c.ID)
	edit := func(method, path, id, summary string, parameters []parameter, body object, problems []int, answers ...answering) operation {
		problems = append(problems, http.StatusMethodNotAllowed, http.StatusConflict, http.StatusUnauthorized, http.StatusForbidden, http.StatusUnprocessableEntity)
		return operation{method: method, path: path, id: id, tag: title, summary: summary, parameters: append(parameters, editorParameter), body: body, problems: problems,
			answers: answers, headers: []string{"Content-Crs", "Location"}, secured: len(s.config.EditKeys) > 0}
	}
	const (
		tooLong  = http.StatusRequestEntityTooLarge
		noSuch   = http.StatusUnsupportedMediaType
		changed  = http.StatusPreconditionFailed
		required = http.StatusPreconditionRequired
	)
	return []operation{
		edit(http.MethodPost, path, "create."+c.ID, "Make a feature of "+title, []parameter{contentCRS, form}, sent(true, typeGeoJSON, typeJSON), []int{tooLong, noSuch},
			answering{status: http.StatusCreated, form: typeGeoJSON, schema: feature}),
		edit(http.MethodPut, path+"/{featureId}", "replace."+c.ID, "Replace all of a feature of "+title+" that can be edited", []parameter{id, match, none, contentCRS, form},
			sent(true, typeGeoJSON, typeJSON), []int{tooLong, noSuch, changed, required}, answering{form: typeGeoJSON, schema: feature}, answering{status: http.StatusNoContent}),
		edit(http.MethodPatch, path+"/{featureId}", "update."+c.ID, "Change what is named of a feature of "+title+" (RFC 7396)", []parameter{id, match, none, contentCRS, form},
			sent(true, typeMergePatch), []int{tooLong, noSuch, changed, required}, answering{form: typeGeoJSON, schema: feature}, answering{status: http.StatusNoContent}),
		edit(http.MethodDelete, path+"/{featureId}", "delete."+c.ID, "Take a feature of "+title+" away; its history stays", []parameter{id, match, none, form},
			nil, []int{changed, required}, answering{status: http.StatusNoContent}),
	}
}

// savedOperations are those on saved questions, which are collections besides.
func (s *Server) savedOperations() []operation {
	name := pathParameter("question", "The name of a saved question.", object{{"type", "string"}, {"pattern", "^[a-z0-9][a-z0-9_-]{0,63}$"}})
	one := asked("/questions/{question}", "getQuestion", tagQuestion, "A saved question; its features are a collection of the same name", []parameter{name}, answering{form: typeJSON, schema: ref("schemas", "question")})
	one.problems = append(one.problems, http.StatusPreconditionFailed)
	out := []operation{
		asked("/questions", "getQuestions", tagQuestion, "The saved questions", nil, answering{form: typeJSON, schema: ref("schemas", "questions")}),
		one,
	}
	if !s.config.Edit {
		return out
	}
	problems := []int{http.StatusUnauthorized, http.StatusForbidden, http.StatusMethodNotAllowed, http.StatusConflict, http.StatusPreconditionFailed, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType, http.StatusUnprocessableEntity}
	body := object{{"required", true}, {"content", object{{typeJSON, object{{"schema", ref("schemas", "edit.question")}}}}}}
	secured := len(s.config.EditKeys) > 0
	parameters := []parameter{name,
		{name: "If-Match", in: "header", note: "The ETag of the question as it was read: the request is refused with 412 where it has changed since, or is not there.", schema: text()},
		{name: "If-None-Match", in: "header", note: "With * the request is refused with 412 where there is a question of the name.", schema: text()}}
	return append(out,
		operation{method: http.MethodPut, path: "/questions/{question}", id: "saveQuestion", tag: tagQuestion, summary: "Save a question by a name, in the place of any other",
			parameters: parameters, body: body, problems: problems, answers: []answering{{status: http.StatusCreated}, {status: http.StatusNoContent}}, headers: []string{"Location"}, secured: secured},
		operation{method: http.MethodDelete, path: "/questions/{question}", id: "dropQuestion", tag: tagQuestion, summary: "Forget a saved question",
			parameters: parameters, problems: problems, answers: []answering{{status: http.StatusNoContent}}, secured: secured})
}

// editSchema is that of what is sent to make, replace or change a feature.
func editSchema(c *inventory.Collection) object {
	var properties []member
	for i := range c.Properties {
		if p := &c.Properties[i]; !p.Fixed {
			properties = append(properties, member{p.Name, nullable(typeOf(p))})
		}
	}
	return loose(nil, member{"type", words("Feature")}, member{"geometry", geometriesOf(c)}, member{"properties", nullable(loose(nil, properties...))})
}
