package api

import (
	"encoding/json"
	"net/http"
)

// sendTagged answers with a document whose tag is that of its bytes.
func (s *Server) sendTagged(w http.ResponseWriter, r *http.Request, v any) error {
	body, err := json.Marshal(v)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", typeJSON)
	if s.unchanged(w, r, s.etag(r, typeJSON, string(body)), false) {
		return nil
	}
	return writeBody(w, r, append(body, '\n'))
}

// writeCreated answers with what was made.
func writeCreated(w http.ResponseWriter, v any) error {
	return writeMade(w, http.StatusCreated, v)
}

func writeMade(w http.ResponseWriter, status int, v any) error {
	body, err := json.Marshal(v)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", typeJSON)
	w.Header().Set("Cache-Control", "no-cache")
	w.WriteHeader(status)
	_, err = w.Write(append(body, '\n'))
	return err
}
