package api

import (
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/underbough/underbough/inventory"
)

// The definition of the service as an OpenAPI 3.0 document: what clients look
// for stands where they look for it (components.parameters.limit, a concrete
// path for each collection, each property's parameter spelled out).

var definitionForms = []string{typeOpenAPI, typeHTML}

// handleDefinition serves the definition of the service.
func (s *Server) handleDefinition(w http.ResponseWriter, r *http.Request) error {
	d, err := s.document(w, r, definitionForms)
	if err != nil {
		return err
	}
	list, err := s.served(r.Context())
	if err != nil {
		return err
	}
	if d.form == typeHTML {
		return d.page("api", htmlPage{Title: "How to ask", Data: s.groups(list)})
	}
	return d.write(s.definition(r, list))
}

func (s *Server) definition(r *http.Request, list []inventory.Collection) object {
	return object{
		{"openapi", "3.0.3"},
		{"info", object{
			{"title", "Underbough"},
			{"description", description},
			{"version", "1.0.0"},
			{"license", object{{"name", "Apache-2.0"}, {"url", "https://www.apache.org/licenses/LICENSE-2.0"}}},
		}},
		{"servers", []object{{{"url", s.base(r)}}}},
		{"tags", tags(list)},
		{"paths", s.paths(list)},
		{"components", object{
			{"securitySchemes", object{
				{"bearer", object{{"type", "http"}, {"scheme", "bearer"}, {"description", "A key that lets edit"}}},
				{"basic", object{{"type", "http"}, {"scheme", "basic"}, {"description", "The same key as the password"}}},
			}},
			{"parameters", s.parameters()},
			{"headers", headers},
			{"responses", problemResponses()},
			{"schemas", s.componentSchemas()},
		}},
	}
}

// operation is one way to ask the service.
type operation struct {
	method, path string // GET where no method is named
	id, tag      string
	summary      string
	note         string
	parameters   []parameter
	body         object // of the request; nil for none
	answers      []answering
	problems     []int // statuses answered with a problem document besides the usual ones
	headers      []string
	secured      bool // it needs a key
}

// answering is an answer in one of its forms.
type answering struct {
	status int // 200 where 0
	form   string
	schema object // nil for what has no content
}

// parameter is one parameter of an operation.
type parameter struct {
	name     string
	in       string // query where empty
	note     string
	required bool
	schema   object
	explode  bool
	shared   bool // written once, among the components
}

func (p *parameter) object() object {
	in, style := p.in, "form"
	if in == "" {
		in = "query"
	}
	if in != "query" {
		style = "simple"
	}
	return object{
		{"name", p.name}, {"in", in}, {"description", p.note}, {"required", p.required},
		{"schema", p.schema}, {"style", style}, {"explode", p.explode},
	}
}

// operations lists all that can be asked.
func (s *Server) operations(list []inventory.Collection) []operation {
	out := s.commonOperations()
	for i := range list {
		out = append(out, s.collectionOperations(&list[i])...)
	}
	return slices.Concat(out, s.tileOperations(nil), s.matrixOperations(), s.questionOperations(), s.workOperations(), s.importOperations())
}

// paths writes the operations by their path, in order.
func (s *Server) paths(list []inventory.Collection) object {
	var out object
	at := map[string]int{}
	for _, o := range s.operations(list) {
		i, ok := at[o.path]
		if !ok {
			i = len(out)
			at[o.path] = i
			out = append(out, member{o.path, object{}})
		}
		method := o.method
		if method == "" {
			method = http.MethodGet
		}
		out[i].value = out[i].value.(object).with(member{strings.ToLower(method), o.object()})
	}
	return out
}

func (o *operation) object() object {
	parameters := []object{}
	for i := range o.parameters {
		p := &o.parameters[i]
		if p.shared {
			parameters = append(parameters, ref("parameters", p.name))
		} else {
			parameters = append(parameters, p.object())
		}
	}
	out := object{{"operationId", o.id}, {"tags", []string{o.tag}}, {"summary", o.summary}}
	if o.note != "" {
		out = out.with(member{"description", o.note})
	}
	out = out.with(member{"parameters", parameters})
	if o.body != nil {
		out = out.with(member{"requestBody", o.body})
	}
	if o.secured {
		out = out.with(member{"security", []object{{{"bearer", []string{}}}, {{"basic", []string{}}}}})
	}
	return out.with(member{"responses", o.responses()})
}

// responses lists what is answered: the forms of a good answer, that nothing has
// changed, and what goes wrong.
func (o *operation) responses() object {
	good := map[int]object{}
	for _, a := range o.answers {
		status := a.status
		if status == 0 {
			status = http.StatusOK
		}
		content := good[status]
		if a.schema != nil {
			content = content.with(member{a.form, object{{"schema", a.schema}}})
		}
		good[status] = content
	}
	var statuses []int
	for status := range good {
		statuses = append(statuses, status)
	}
	slices.Sort(statuses)
	out := object{}
	for _, status := range statuses {
		answer := object{{"description", http.StatusText(status)}, {"headers", o.headerRefs()}}
		if len(good[status]) > 0 {
			answer = answer.with(member{"content", good[status]})
		}
		out = out.with(member{strconv.Itoa(status), answer})
	}
	if o.method == "" {
		out = out.with(member{"304", object{{"description", "The client has this already: its If-None-Match names the ETag of now"}}})
	}
	problems := append([]int{http.StatusBadRequest, http.StatusNotFound, http.StatusNotAcceptable, http.StatusInternalServerError, http.StatusServiceUnavailable}, o.problems...)
	slices.Sort(problems)
	for _, status := range slices.Compact(problems) {
		out = out.with(member{strconv.Itoa(status), ref("responses", problemName(status))})
	}
	return out
}

func (o *operation) headerRefs() object {
	out := object{}
	for _, name := range append([]string{"ETag", "Link"}, o.headers...) {
		out = out.with(member{name, ref("headers", name)})
	}
	return out
}

var headers = object{
	{"ETag", headerOf("Names the state of what is answered: give it in If-None-Match and, where it can be edited, in If-Match")},
	{"Link", headerOf("The other forms of this answer")},
	{"Content-Crs", headerOf("The reference system of the coordinates, in angle brackets")},
	{"Location", headerOf("Where the new feature is")},
	{"Allow", headerOf("The methods that are possible")},
	{"Accept-Patch", headerOf("The media type of a change")},
}

func headerOf(note string) object {
	return object{{"description", note}, {"schema", object{{"type", "string"}}}}
}

// problemStatuses are all that a problem document may tell of.
var problemStatuses = []int{400, 401, 403, 404, 405, 406, 409, 412, 413, 415, 422, 428, 500, 501, 503}

func problemName(status int) string {
	return "problem" + strconv.Itoa(status)
}

func problemResponses() object {
	out := object{}
	for _, status := range problemStatuses {
		out = out.with(member{problemName(status), object{
			{"description", http.StatusText(status)},
			{"content", object{{typeProblem, object{{"schema", ref("schemas", "problem")}}}}},
		}})
	}
	return out
}
