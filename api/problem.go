package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"

	"github.com/underbough/underbough/inventory"
)

// statusError is an error of HTTP itself, which the inventory has no kind for.
type statusError struct {
	status  int
	message string
}

func (e *statusError) Error() string { return e.message }

// problem is RFC 9457's account of an error.
type problem struct {
	Type      string `json:"type"`
	Title     string `json:"title"`
	Status    int    `json:"status"`
	Detail    string `json:"detail,omitempty"`
	Instance  string `json:"instance,omitempty"`
	Parameter string `json:"parameter,omitempty"` // the query parameter at fault
	Property  string `json:"property,omitempty"`  // the property of a feature that was sent, or geometry
}

// parameterError says which query parameter is wrong, and how.
type parameterError struct{ name, message string }

func (e *parameterError) Error() string { return "parameter " + e.name + ": " + e.message }

// parameterFault is an error of the inventory's that one query parameter brought
// about; what kind of error it is stays as it was.
type parameterFault struct {
	name string
	err  error
}

func (e *parameterFault) Error() string { return "parameter " + e.name + ": " + e.err.Error() }

func (e *parameterFault) Unwrap() error { return e.err }

// blame names the parameter at fault where the question cannot be asked or what
// it asks for is not there. Other faults are nobody's parameter.
func blame(name string, err error) error {
	switch inventory.KindOf(err) {
	case inventory.Invalid, inventory.NotFound:
		return &parameterFault{name, err}
	}
	return err
}

func paramError(name, given, expected string) error {
	return &parameterError{name, fmt.Sprintf("%q: %s", given, expected)}
}

// problemOf maps an error to what is answered. Faults of ours are told to the
// log, not to the client.
func problemOf(err error) problem {
	p := problem{Type: "about:blank", Detail: err.Error()}
	var status *statusError
	var parameter *parameterError
	switch {
	case errors.As(err, &status):
		p.Status = status.status
	case errors.As(err, &parameter):
		p.Status, p.Parameter = http.StatusBadRequest, parameter.name
	case errors.Is(err, context.DeadlineExceeded):
		p.Status, p.Detail = http.StatusServiceUnavailable, "the answer took too long: ask for less"
	default:
		switch inventory.KindOf(err) {
		case inventory.Invalid:
			p.Status = http.StatusBadRequest
		case inventory.NotFound:
			p.Status = http.StatusNotFound
		case inventory.Conflict:
			p.Status = http.StatusConflict
		case inventory.Unavailable:
			p.Status, p.Detail = http.StatusServiceUnavailable, "the database does not answer just now: try again"
		default:
			p.Status, p.Detail = http.StatusInternalServerError, "a fault of the service: its log says more"
		}
	}
	if p.Status < http.StatusInternalServerError {
		p.Property = inventory.FieldOf(err)
	}
	var fault *parameterFault
	if errors.As(err, &fault) {
		p.Parameter = fault.name
	}
	p.Title = http.StatusText(p.Status)
	return p
}

// writeProblem answers with an error. Nothing has been written yet.
func writeProblem(w http.ResponseWriter, r *http.Request, p problem) {
	p.Instance = r.URL.Path
	h := w.Header()
	h.Del("ETag")
	h.Set("Content-Type", typeProblem)
	h.Set("Cache-Control", "no-store")
	if p.Status == http.StatusNotAcceptable {
		h.Set("Vary", "Accept")
	}
	if p.Status == http.StatusServiceUnavailable {
		h.Set("Retry-After", "5")
	}
	w.WriteHeader(p.Status)
	if r.Method != http.MethodHead {
		json.NewEncoder(w).Encode(p) // a client that is gone needs no answer
	}
}
