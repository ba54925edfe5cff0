package api

import (
	"context"
	"net/http"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
)

type pastKey struct{}

// isPast reports whether a request asks for the inventory as it stood.
func isPast(ctx context.Context) bool { return ctx.Value(pastKey{}) != nil }

// now is the instant that a request is answered for.
func (s *Server) now(ctx context.Context) time.Time {
	if at, ok := ctx.Value(pastKey{}).(time.Time); ok {
		return at
	}
	return s.config.Now()
}

// pastInstant tells requests for different instants apart.
func (s *Server) pastInstant(ctx context.Context) string {
	if !isPast(ctx) {
		return ""
	}
	return "@" + s.now(ctx).UTC().Format(time.RFC3339Nano)
}

// asOf reads as_of for a handler that reads the inventory: an instant, or a day
// for the end of it (UTC). All that the handler asks is then answered as the
// inventory stood.
func (s *Server) asOf(h handler) handler {
	return func(w http.ResponseWriter, r *http.Request) error {
		given, ok := r.URL.Query()["as_of"]
		if !ok {
			return h(w, r)
		}
		if len(given) > 1 {
			return &parameterError{"as_of", "given more than once: give it once"}
		}
		at, err := inventory.ParseAsOf(given[0], s.config.Now())
		if err != nil {
			return &parameterError{"as_of", err.Error()}
		}
		ctx := context.WithValue(r.Context(), pastKey{}, at)
		return h(w, r.WithContext(s.config.Store.AsOf(ctx, at)))
	}
}

// computedFor makes sure that what a collection derives from computations is
// there for an instant in the past: it is not kept for all of them.
func (s *Server) computedFor(ctx context.Context, c *inventory.Collection) error {
	if !isPast(ctx) || c.Base() != "trees" {
		return nil
	}
	sites, err := s.config.Store.FindSites(ctx, s.config.Client)
	if err != nil {
		return err
	}
	for _, site := range sites {
		if _, err := s.bringUpToDate(ctx, site); err != nil {
			return err
		}
	}
	return nil
}

func (s *Server) features(ctx context.Context) *question.Features {
	return &question.Features{Store: s.config.Store, Profile: s.config.Profile, AsOf: s.now(ctx)}
}
