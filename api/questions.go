package api

import (
	"context"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/filter"
	"github.com/underbough/underbough/inventory/question"
)

// A saved question is a filter kept by name. It is served as a collection of its
// own, and kept and forgotten here.

// questions lists the saved questions as the collections they are served as.
func (s *Server) questions(ctx context.Context) ([]inventory.Collection, error) {
	list, err := s.config.Store.FindQuestions(ctx, s.config.Client)
	if err != nil {
		return nil, err
	}
	return question.Collections(list), nil
}

// savedQuestion is the shape of a saved question.
type savedQuestion struct {
	Name       string `json:"name"`
	Title      string `json:"title"`
	Collection string `json:"collection"`
	Filter     string `json:"filter"`
	FilterLang string `json:"filter-lang"`
	ChangedAt  string `json:"changed_at"`
	ChangedBy  string `json:"changed_by"`
	Links      []link `json:"links"`
}

type savedQuestions struct {
	Questions []savedQuestion `json:"questions"`
	Links     []link          `json:"links"`
}

func (s *Server) shapeOfQuestion(r *http.Request, q *inventory.SavedQuestion) savedQuestion {
	base := s.base(r)
	return savedQuestion{
		Name: q.Name, Title: q.Title, Collection: q.Collection, Filter: q.Filter, FilterLang: "cql2-text",
		ChangedAt: q.ChangedAt.UTC().Format(instantLayout), ChangedBy: q.ChangedBy,
		Links: []link{
			{Href: base + "/questions/" + q.Name, Rel: "self", Type: typeJSON},
			{Href: base + "/collections/" + q.Name, Rel: "collection", Type: typeJSON},
			{Href: base + "/collections/" + q.Name + "/items", Rel: "items", Type: typeGeoJSON},
		},
	}
}

// handleQuestions lists the saved questions.
func (s *Server) handleQuestions(w http.ResponseWriter, r *http.Request) error {
	if err := onlyJSON(r); err != nil {
		return err
	}
	list, err := s.config.Store.FindQuestions(r.Context(), s.config.Client)
	if err != nil {
		return err
	}
	out := savedQuestions{Questions: []savedQuestion{}, Links: []link{{Href: s.self(r), Rel: "self", Type: typeJSON}}}
	for i := range list {
		out.Questions = append(out.Questions, s.shapeOfQuestion(r, &list[i]))
	}
	return writeJSON(w, r, out)
}

// handleQuestion answers with one saved question.
func (s *Server) handleQuestion(w http.ResponseWriter, r *http.Request) error {
	if err := onlyJSON(r); err != nil {
		return err
	}
	list, err := s.config.Store.FindQuestions(r.Context(), s.config.Client)
	if err != nil {
		return err
	}
	name := chi.URLParam(r, "question")
	at := slices.IndexFunc(list, func(q inventory.SavedQuestion) bool { return q.Name == name })
	if at < 0 {
		return noQuestion(name)
	}
	tag := questionTag(&list[at])
	if err := checkMatch(r, tag); err != nil {
		return err
	}
	if s.unchanged(w, r, tag, false) {
		return nil
	}
	return writeJSON(w, r, s.shapeOfQuestion(r, &list[at]))
}

func noQuestion(name string) error {
	return inventory.Errorf(inventory.NotFound, "there is no saved question %.60q", name)
}

// questionTag names a saved question as it was last changed. Whoever changes one
// waits for others, so that no two changes are of one microsecond.
func questionTag(q *inventory.SavedQuestion) string {
	return strconv.FormatInt(q.ChangedAt.UnixMicro(), 36)
}

// agreed looks at the preconditions of a request to change a question.
func agreed(r *http.Request, now *inventory.SavedQuestion) error {
	if now == nil {
		return checkPreconditions(r, inventory.Opt[string]{})
	}
	return checkPreconditions(r, inventory.Some(questionTag(now)))
}

// questionBytes is the most that a saved question takes.
const questionBytes = 1 << 20

// handleSaveQuestion keeps the question of a request's body by the name in its
// path, in the place of any other.
func (s *Server) handleSaveQuestion(w http.ResponseWriter, r *http.Request) error {
	actor, err := s.changesQuestions(w, r)
	if err != nil {
		return err
	}
	if media, _, _ := strings.Cut(r.Header.Get("Content-Type"), ";"); strings.TrimSpace(strings.ToLower(media)) != typeJSON {
		return &statusError{http.StatusUnsupportedMediaType, "a question is sent as " + typeJSON}
	}
	body, err := readBody(w, r, questionBytes)
	if err != nil {
		return err
	}
	q, err := readQuestion(chi.URLParam(r, "question"), body)
	if err != nil {
		return err
	}
	q.ChangedBy = actor
	if err := question.CheckQuestion(q); err != nil {
		return err
	}
	added := false
	kept, err := s.config.Store.ChangeQuestion(r.Context(), s.config.Client, q.Name, func(now *inventory.SavedQuestion) (*inventory.SavedQuestion, error) {
		added = now == nil
		return q, agreed(r, now)
	})
	if err != nil {
		return err
	}
	w.Header().Set("ETag", `"`+questionTag(kept)+`"`)
	if added {
		w.Header().Set("Location", s.base(r)+"/questions/"+q.Name)
		w.WriteHeader(http.StatusCreated)
		return nil
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// readQuestion reads title, collection (trees where it is left out), filter and
// filter-lang.
func readQuestion(name string, body []byte) (*inventory.SavedQuestion, error) {
	tree, err := readJSON(body)
	if err != nil {
		return nil, err
	}
	members, ok := tree.(map[string]any)
	if !ok {
		return nil, invalid("expected an object with filter and, if need be, title, collection and filter-lang")
	}
	q := &inventory.SavedQuestion{Name: name, Collection: "trees"}
	lang := "cql2-text"
	for member, v := range members {
		to, ok := map[string]*string{"title": &q.Title, "collection": &q.Collection, "filter-lang": &lang, "filter": &q.Filter}[member]
		if !ok {
			if slices.Contains([]string{"name", "changed_at", "changed_by", "links"}, member) {
				continue // as this service has sent it
			}
			return nil, invalid("member %.60q: expected some of title, collection, filter, filter-lang", member)
		}
		if member == "filter" {
			if _, isText := v.(string); !isText {
				q.Filter = string(appendTree(nil, v))
				continue
			}
		}
		text, ok := v.(string)
		if !ok {
			return nil, invalid("member %q: expected a text, found %s", member, kindOfJSON(v))
		}
		*to = text
	}
	switch lang {
	case "cql2-text":
	case "cql2-json":
		e, err := filter.ParseJSON([]byte(q.Filter))
		if err != nil {
			return nil, filterError(err)
		}
		q.Filter = filter.Text(e)
	default:
		return nil, invalid("filter-lang %.60q: expected cql2-text or cql2-json", lang)
	}
	return q, nil
}

// handleDropQuestion forgets a saved question.
func (s *Server) handleDropQuestion(w http.ResponseWriter, r *http.Request) error {
	if _, err := s.changesQuestions(w, r); err != nil {
		return err
	}
	name := chi.URLParam(r, "question")
	_, err := s.config.Store.ChangeQuestion(r.Context(), s.config.Client, name, func(now *inventory.SavedQuestion) (*inventory.SavedQuestion, error) {
		if err := agreed(r, now); err != nil || now != nil {
			return nil, err
		}
		return nil, noQuestion(name)
	})
	if err != nil {
		return err
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// changesQuestions reports who changes saved questions, if a request may.
func (s *Server) changesQuestions(w http.ResponseWriter, r *http.Request) (actor string, err error) {
	if methods := s.methods(r); !strings.Contains(methods, r.Method) {
		return "", s.notAllowed(w, r, methods)
	}
	if _, err := parseParams(r); err != nil {
		return "", err
	}
	return s.writer(w, r)
}
