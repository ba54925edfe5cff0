package api

import (
	"net/http"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
)

// historySchema is that of a feature's change log.
func historySchema() object {
	value := func() object {
		return object{{"description", "As the feature serves it; null for none"}, {"nullable", true}}
	}
	change := structure(member{"property", text()}, member{"title", text()}, member{"from", value()}, member{"to", value()})
	entry := structure(member{"version", whole()}, member{"change", words(question.Added, question.Changed, question.Deleted, question.Restored)},
		member{"at", moment0()}, member{"by", text()}, member{"changes", listOf(change)})
	return structure(member{"collection", text()}, member{"id", whole()}, member{"deleted", boolean()}, member{"entries", listOf(entry)},
		member{"numberReturned", whole()}, member{"links", listOf(ref("schemas", "link"))})
}

// deletedSchema is that of what was deleted lately.
func deletedSchema() object {
	one := structure(member{"id", whole()}, member{"name", text()}, member{"version", whole()}, member{"at", moment0()}, member{"by", text()}, member{"links", listOf(ref("schemas", "link"))})
	return structure(member{"collection", text()}, member{"site", text()}, member{"since", moment0()}, member{"deleted", listOf(one)},
		member{"numberReturned", whole()}, member{"links", listOf(ref("schemas", "link"))})
}

// historyOperations are the ways to ask who changed a feature and to go back.
func (s *Server) historyOperations(c *inventory.Collection) []operation {
	if c.Of != "" || !keepsHistory(c) {
		return nil
	}
	path := "/collections/" + c.ID + "/items/{featureId}/history"
	id := pathParameter("featureId", "The id of a feature, which may be deleted.", identitySchema(c))
	out := []operation{asked(path, "getHistory."+c.ID, c.Title, "Who changed a feature of "+c.Title+", when, and from what to what; the latest first",
		append([]parameter{id}, shared("limit", "cursor")...), answered(typeJSON, "history")...)}
	if putsBack(c) {
		out = append(out, asked("/collections/"+c.ID+"/deleted", "getDeleted."+c.ID, c.Title, "What was deleted of "+c.Title+" in the last 31 days and is not back; the latest first",
			shared("site", "limit"), answered(typeJSON, "deleted")...))
	}
	if !s.config.Edit || !putsBack(c) {
		return out
	}
	match := parameter{name: "If-Match", in: "header", note: "The ETag of the feature as it was read; none for one that is deleted.", schema: text()}
	body := object{{"required", true}, {"content", object{{typeJSON, object{{"schema", structure(member{"version", wholeFrom(1, 1<<31-1)})}}}}}}
	return append(out, operation{method: http.MethodPost, path: path, id: "putBack." + c.ID, tag: c.Title, secured: len(s.config.EditKeys) > 0,
		summary:    "Put a feature of " + c.Title + " back to one of its versions; one that was deleted gets its number again, and what was deleted with it",
		parameters: []parameter{id, match, editorParameter, {name: "f", note: "The form of the answer.", schema: words("json", "geojson")}}, body: body,
		answers: []answering{{form: typeGeoJSON, schema: ref("schemas", "feature."+c.ID)}, {status: http.StatusNoContent}}, headers: []string{"Content-Crs", "Location"},
		problems: []int{http.StatusMethodNotAllowed, http.StatusConflict, http.StatusUnauthorized, http.StatusForbidden, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType,
			http.StatusPreconditionFailed, http.StatusPreconditionRequired, http.StatusUnprocessableEntity}})
}
