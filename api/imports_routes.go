package api

import (
	"fmt"
	"io"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"

	"github.com/underbough/underbough/inventory"
)

// uploadTypes are the media types that files come in. What a file is, it tells by
// itself.
var uploadTypes = []string{"application/octet-stream", typeCSV, typeGeoJSON, typeJSON, typeGeoJSONSeq, "application/gzip"}

// importRoutes are the paths of files to be loaded and of what loading held back.
func (u *uploads) routes(r chi.Router, get func(string, handler)) {
	takes := func(method, path string, h handler) {
		r.Method(method, path, u.answer(h))
		r.Method(http.MethodOptions, path, u.answer(u.handleOptions))
	}
	takes(http.MethodPost, "/imports", u.handleUpload)
	get("/imports/{import}", u.handleUploaded)
	r.Method(http.MethodDelete, "/imports/{import}", u.answer(u.handleForget))
	takes(http.MethodPost, "/imports/{import}/try", u.runner(true))
	get("/imports/{import}/run", u.handleRun)
	r.Method(http.MethodPost, "/imports/{import}/run", u.answer(u.runner(false)))
	r.Method(http.MethodDelete, "/imports/{import}/run", u.answer(u.handleStop))
	get("/quarantine", u.handleQuarantine)
	takes(http.MethodPost, "/quarantine/readmit", u.handleReadmit)
	takes(http.MethodPost, "/quarantine/drop", u.handleDrop)
}

// importMethods are what a path of files allows; empty for other paths.
func (s *Server) importMethods(parts []string) string {
	if s.uploads == nil {
		return ""
	}
	switch {
	case len(parts) == 1 && parts[0] == "imports",
		len(parts) == 3 && parts[0] == "imports" && parts[2] == "try",
		len(parts) == 2 && parts[0] == "quarantine" && (parts[1] == "readmit" || parts[1] == "drop"):
		return http.MethodOptions + ", POST"
	case len(parts) == 2 && parts[0] == "imports":
		return allowed + ", DELETE"
	case len(parts) == 3 && parts[0] == "imports" && parts[2] == "run":
		return allowed + ", POST, DELETE"
	}
	return ""
}

// importAnswer is a file that was sent.
type importAnswer struct {
	Import string `json:"import"`
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	ImportLook
	Links []link `json:"links"`
}

func (u *uploads) shape(r *http.Request, one *upload) importAnswer {
	at := u.base(r) + "/imports/" + one.id
	return importAnswer{Import: one.id, Name: one.name, Bytes: one.bytes, ImportLook: *one.look, Links: []link{{Href: at, Rel: "self", Type: typeJSON}}}
}

// handleUpload keeps a file.
func (u *uploads) handleUpload(w http.ResponseWriter, r *http.Request) error {
	p, _, err := u.beginWork(w, r, "name")
	if err != nil {
		return err
	}
	given := r.Header.Get("Content-Type")
	if media, _, err := mime.ParseMediaType(given); err != nil || !slices.Contains(uploadTypes, media) {
		w.Header().Set("Accept-Post", strings.Join(uploadTypes, ", "))
		return &statusError{http.StatusUnsupportedMediaType, fmt.Sprintf("Content-Type is %.60q: expected application/octet-stream, or one of %s", given, strings.Join(uploadTypes[1:], ", "))}
	}
	if err := plainlyCoded(w, r); err != nil {
		return err
	}
	name, err := uploadName(p["name"])
	if err != nil {
		return err
	}
	one, err := u.receive(w, r, name)
	if err != nil {
		return err
	}
	w.Header().Set("Location", u.base(r)+"/imports/"+one.id)
	return writeCreated(w, u.shape(r, one))
}

// begin looks whether a request may, and finds the file that it is about.
func (u *uploads) begin(w http.ResponseWriter, r *http.Request, known ...string) (one *upload, actor string, err error) {
	p, actor, err := u.beginWork(w, r, known...)
	if err != nil {
		return nil, "", err
	}
	if len(known) > 0 {
		if _, err := negotiate(r, p, typeJSON); err != nil {
			return nil, "", err
		}
	}
	one, err = u.find(chi.URLParam(r, "import"))
	return one, actor, err
}

// handleUploaded says what a file is and what is proposed to be read from it.
func (u *uploads) handleUploaded(w http.ResponseWriter, r *http.Request) error {
	one, _, err := u.begin(w, r, "f")
	if err != nil {
		return err
	}
	w.Header().Set("Cache-Control", "no-store")
	return writeJSON(w, r, u.shape(r, one))
}

func (u *uploads) handleForget(w http.ResponseWriter, r *http.Request) error {
	one, _, err := u.begin(w, r)
	if err != nil {
		return err
	}
	u.forget(one)
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// runner begins to try or to load a file.
func (u *uploads) runner(dry bool) handler {
	return func(w http.ResponseWriter, r *http.Request) error {
		one, actor, err := u.begin(w, r)
		if err != nil {
			return err
		}
		f, err := readFields(w, r)
		if err != nil {
			return err
		}
		plan, err := readPlan(f, one.look)
		if err != nil {
			return err
		}
		plan.Actor, plan.DryRun = actor, dry
		if err := one.read(func(f io.Reader) error { return u.config.Importer.Check(f, one.name, plan) }); err != nil {
			return err
		}
		if _, err := u.start(one, plan); err != nil {
			return err
		}
		w.Header().Set("Location", u.base(r)+"/imports/"+one.id+"/run")
		state, _ := u.state(one, u.base(r))
		return writeMade(w, http.StatusAccepted, state)
	}
}

// handleRun says how far the last run of a file is, or what came of it.
func (u *uploads) handleRun(w http.ResponseWriter, r *http.Request) error {
	one, _, err := u.begin(w, r, "f")
	if err != nil {
		return err
	}
	state, ok := u.state(one, u.base(r))
	if !ok {
		return inventory.Errorf(inventory.NotFound, "%s has been neither tried nor loaded yet", one.name)
	}
	w.Header().Set("Cache-Control", "no-store")
	return writeJSON(w, r, state)
}

// handleStop stops a run, and answers when it has left everything as it was, or
// has just ended.
func (u *uploads) handleStop(w http.ResponseWriter, r *http.Request) error {
	one, _, err := u.begin(w, r)
	if err != nil {
		return err
	}
	u.stop(one)
	state, ok := u.state(one, u.base(r))
	if !ok {
		return inventory.Errorf(inventory.NotFound, "%s has been neither tried nor loaded yet", one.name)
	}
	return writeJSON(w, r, state)
}

// numbersOf reads a list of whole numbers, such as the ids of held rows.
func numbersOf(f *fields, name string) []int64 {
	var out []int64
	for i, v := range f.list(name) {
		n, ok := v.(literalNumber)
		id, err := strconv.ParseInt(string(n), 10, 64)
		if !ok || err != nil || id < 1 {
			f.wrong(fmt.Sprintf("%s[%d]", name, i), "is %s: expected the id of a held row", kindOfJSON(v))
		}
		out = append(out, id)
	}
	return out
}
