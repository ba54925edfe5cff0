package api

import (
	"context"
	"net/http"
	"time"
)

// handleHealth answers as long as the process does.
func (s *Server) handleHealth(w http.ResponseWriter, r *http.Request) error {
	w.Header().Set("Cache-Control", "no-store")
	return writeJSON(w, r, map[string]string{"status": "ok"})
}

// handleReady answers well where the database does and has our tables.
func (s *Server) handleReady(w http.ResponseWriter, r *http.Request) error {
	w.Header().Set("Cache-Control", "no-store")
	ctx, cancel := context.WithTimeout(r.Context(), 5*time.Second)
	defer cancel()
	if err := s.config.Store.Ping(ctx); err != nil {
		return err
	}
	if _, err := s.state(ctx); err != nil {
		return err
	}
	return writeJSON(w, r, map[string]string{"status": "ready"})
}
