package api

import (
	"fmt"
	"net/http"
	"strings"

	"github.com/underbough/underbough/inventory"
)

// group is the operations under one heading of the page that tells how to ask.
type group struct {
	Name, Note string
	Operations []operationShown
}

type operationShown struct {
	Method, Path, Summary, Note string
	Forms                       []string
	Parameters                  []parameterShown
}

type parameterShown struct {
	Name, Type, Note string
	Required         bool
	Words            []string
}

// groups lists the operations for the page, under the tags of the definition.
func (s *Server) groups(list []inventory.Collection) []group {
	var out []group
	for _, tag := range tags(list) {
		g := group{Name: fmt.Sprint(tag.get("name")), Note: fmt.Sprint(tag.get("description"))}
		for _, o := range s.operations(list) {
			if o.tag == g.Name {
				g.Operations = append(g.Operations, o.shown())
			}
		}
		out = append(out, g)
	}
	return out
}

func (o *operation) shown() operationShown {
	out := operationShown{Method: o.method, Path: o.path, Summary: o.summary, Note: o.note}
	if out.Method == "" {
		out.Method = http.MethodGet
	}
	for _, a := range o.answers {
		if a.form != "" {
			out.Forms = append(out.Forms, a.form)
		}
	}
	for _, p := range o.parameters {
		if p.shared {
			p = sharedParameter(p.name)
		}
		row := rowOf(p.name, p.schema)
		out.Parameters = append(out.Parameters, parameterShown{Name: p.name, Type: row.Type, Note: strings.TrimSuffix(p.note, "."), Required: p.required, Words: row.Words})
	}
	return out
}

// sharedParameter finds a shared parameter; it is an error of ours where there
// is none, which the definition's test finds.
func sharedParameter(name string) parameter {
	for _, p := range sharedParameters {
		if p.name == name {
			return p
		}
	}
	panic("no parameter " + name)
}
