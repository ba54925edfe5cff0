package api

import (
	"net/http"
	"strings"

	"github.com/underbough/underbough/inventory"
)

// mostKey is how long a key of a request may be, bytes.
const mostKey = 200

// requestKey reads the key that a client made for a request, so that sending it
// again, where the answer got lost, does nothing twice. It is a string of RFC 8941
// (3.3.3), as the IETF's draft of the header has it
// (draft-ietf-httpapi-idempotency-key-header-06, 2.1).
func requestKey(r *http.Request) (string, error) {
	given := r.Header.Values("Idempotency-Key")
	if len(given) == 0 {
		return "", nil
	}
	text := strings.Trim(given[0], " \t")
	key, ok := strings.CutPrefix(text, `"`)
	key, end := strings.CutSuffix(key, `"`)
	odd := func(c rune) bool { return c < ' ' || c > '~' || c == '"' || c == '\\' }
	if len(given) > 1 || !ok || !end || key == "" || len(key) > mostKey || strings.ContainsFunc(key, odd) {
		return "", invalid("Idempotency-Key is %.60q: expected one string in quotes of 1 to %d plain letters, such as \"8e03978e-40d5-43e8-bc93-6894a57f9324\"", text, mostKey)
	}
	return key, nil
}

// askedBefore reports whether a completion was recorded by the request with this
// key. A key that came with another body is refused (the draft, 2.7).
func (s *Server) askedBefore(r *http.Request, id inventory.JobID, key, sum string) (bool, error) {
	if key == "" {
		return false, nil
	}
	list, err := s.config.Store.FindJobs(r.Context(), inventory.JobQuery{Client: s.config.Client, IDs: []int64{int64(id)}})
	if err != nil || len(list) == 0 {
		return false, err
	}
	done := list[0].Completion.Of(key)
	if done == nil {
		return false, nil
	}
	if done.Request.SHA256 != sum {
		return false, &statusError{http.StatusUnprocessableEntity, "Idempotency-Key " + key + " came with another completion of this job before: make a new key for what is new"}
	}
	return true, nil
}
