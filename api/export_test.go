package api

import (
	"context"
	"net/http"

	"github.com/go-chi/chi/v5"

	"github.com/underbough/underbough/inventory"
)

// Served lists the collections of the server's client; where it cannot find out
// which questions were saved, the usual ones.
func (s *Server) Served(ctx context.Context) []inventory.Collection {
	list, err := s.served(ctx)
	if err != nil {
		list = inventory.Collections
	}
	return list
}

// Definition is the API definition of some collections.
func (s *Server) Definition(ctx context.Context, base string, list []inventory.Collection) ([]byte, error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, base+"/api", nil)
	if err != nil {
		return nil, err
	}
	return plainJSON(s.definition(r, list))
}

// Routes lists the method and the pattern of each route.
func (s *Server) Routes(fn func(method, pattern string)) error {
	return chi.Walk(s.router, func(method, pattern string, _ http.Handler, _ ...func(http.Handler) http.Handler) error {
		fn(method, pattern)
		return nil
	})
}

// Classes are the conformance classes that are declared.
func (s *Server) Classes() []string { return s.classes() }
