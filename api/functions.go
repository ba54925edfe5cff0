package api

import (
	"net/http"

	"github.com/underbough/underbough/inventory/filter"
)

// function is one of our own functions as CQL2 (21-065r2, class functions)
// describes it.
type function struct {
	Name        string     `json:"name"`
	Description string     `json:"description,omitempty"`
	Args        []argument `json:"args"`
	Returns     []string   `json:"returns"`
}

type argument struct {
	Title       string   `json:"title,omitempty"`
	Description string   `json:"description,omitempty"`
	Type        []string `json:"type"`
}

// handleFunctions lists the functions that filters may use.
func (s *Server) handleFunctions(w http.ResponseWriter, r *http.Request) error {
	d, err := s.document(w, r, describingForms)
	if err != nil {
		return err
	}
	list := functions()
	if d.form == typeHTML {
		return d.page("functions", htmlPage{Title: "Functions of filters", Data: list})
	}
	return d.write(struct {
		Functions []function `json:"functions"`
		Links     []link     `json:"links"`
	}{list, d.links()})
}

// functions are those of package filter in the standard's words.
func functions() []function {
	out := make([]function, len(filter.Functions))
	for i, f := range filter.Functions {
		out[i] = function{Name: f.Name, Description: f.Description, Args: make([]argument, len(f.Arguments)), Returns: []string{functionTypeOf(f.Returns)}}
		for k, a := range f.Arguments {
			out[i].Args[k] = argument{Title: a.Name, Description: a.Description, Type: []string{functionTypeOf(a.Type)}}
		}
	}
	return out
}

// functionTypeOf is the standard's word for a type of an argument.
func functionTypeOf(t filter.Type) string {
	switch t {
	case filter.NumberType:
		return "number"
	case filter.BoolType:
		return "boolean"
	case filter.DateType, filter.TimestampType, filter.IntervalType:
		return "datetime"
	case filter.GeometryType:
		return "geometry"
	}
	return "string"
}
