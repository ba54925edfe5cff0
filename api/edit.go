package api

import (
	"errors"
	"math/rand/v2"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/crs"
	"github.com/underbough/underbough/inventory/question"
)

// Editing by OGC API - Features - Part 4 (20-002, a draft): POST makes a feature,
// PUT replaces one, PATCH changes what it names, DELETE takes one away. Each is
// one transaction with the exposures that follow from it.

const featureFour = specs + "ogcapi-features-4/1.0/conf/"

// editClasses lists the classes of Part 4 that this server conforms to.
func (s *Server) editClasses() []string {
	if !s.config.Edit {
		return nil
	}
	classes := []string{featureFour + "create-replace-delete", featureFour + "update", featureFour + "features"}
	if s.config.RequireMatch {
		// The class says that an edit without If-Match is refused.
		classes = append(classes, featureFour+"optimistic-locking-etags")
	}
	return classes
}

const (
	typeMergePatch = "application/merge-patch+json"
	acceptPost     = typeGeoJSON + ", " + typeJSON
)

// methods are what a path allows.
func (s *Server) methods(r *http.Request) string {
	parts := strings.Split(strings.Trim(r.URL.Path, "/"), "/")
	if methods := s.workMethods(parts); methods != "" {
		return methods
	}
	if methods := s.importMethods(parts); methods != "" {
		return methods
	}
	if s.config.Edit && len(parts) == 2 && parts[0] == "questions" {
		return allowed + ", PUT, DELETE"
	}
	if s.config.Edit && len(parts) > 2 && parts[0] == "collections" && parts[2] == "items" {
		if c, err := inventory.GetCollection(parts[1]); err == nil && c.Editable {
			switch len(parts) {
			case 3:
				return allowed + ", POST"
			case 4:
				return allowed + ", PUT, PATCH, DELETE"
			case 5:
				if parts[4] == "history" && putsBack(c) {
					return allowed + ", POST"
				}
			}
		}
	}
	return allowed
}

// putsBack reports whether features go back to earlier versions. Sites do not:
// what was computed of one belongs to it.
func putsBack(c *inventory.Collection) bool { return c.Editable && c.ID != "sites" }

// errMatchRequired refuses an edit that does not say what it was made from.
var errMatchRequired = &statusError{http.StatusPreconditionRequired, "this service takes no edit without If-Match: read the feature first and send its ETag, so that nobody's edit is lost"}

// editing is a request that edits, once it is known to be allowed.
type editing struct {
	*Server
	w     http.ResponseWriter
	r     *http.Request
	edit  inventory.Edit
	given string // the feature as the path names it
	// match says that the request has If-Match, any that it is for whatever version
	// is there.
	match, any bool
}

// beginEdit looks at what an edit needs before its body is read. The history names
// whose key it is, or whom the parameter by does.
func (s *Server) beginEdit(w http.ResponseWriter, r *http.Request, kind inventory.EditKind) (*editing, error) {
	c, err := s.collectionOf(r)
	if err != nil {
		return nil, err
	}
	if methods := s.methods(r); !strings.Contains(methods, r.Method) {
		return nil, s.notAllowed(w, r, methods)
	}
	actor, err := s.writer(w, r)
	if err != nil {
		return nil, err
	}
	p, err := parseParams(r, "f", "by")
	if err != nil {
		return nil, err
	}
	if by := strings.TrimSpace(p["by"]); by != "" {
		var fault string
		if actor, fault = s.named(actor, by); fault != "" {
			return nil, &parameterError{"by", fault}
		}
	}
	e := &editing{Server: s, w: w, r: r, given: chi.URLParam(r, "feature")}
	e.edit = inventory.Edit{Client: s.config.Client, Collection: c, Kind: kind, Actor: actor}
	if kind == inventory.Create {
		return e, nil
	}
	e.edit.Versions, e.match = versionsOf(r.Header.Values("If-Match"))
	e.any = e.edit.Versions == nil
	if !e.match && s.config.RequireMatch && kind != inventory.PutBack { // what is deleted has no ETag
		return nil, errMatchRequired
	}
	id, text, ok := question.ParseFeatureID(c, e.given)
	if !ok || text != "" {
		return nil, e.outcome(inventory.Errorf(inventory.NotFound, "there is no feature %.60q in %s", e.given, c.ID))
	}
	e.edit.ID = id
	unless, all := taggedVersions(r.Header.Values("If-None-Match"), true)
	e.edit.Unless = unless
	if all {
		if _, _, err := e.current(); err != nil {
			return nil, e.outcome(err)
		}
		return nil, &statusError{http.StatusPreconditionFailed, "If-None-Match excludes any feature, and there is one here: the service gives features their ids itself, and POST makes a new one"}
	}
	return e, nil
}

func (s *Server) notAllowed(w http.ResponseWriter, r *http.Request, methods string) error {
	w.Header().Set("Allow", methods)
	why := "only " + methods + " are"
	if !s.edits(methods) {
		why = "it is read only"
		if !s.config.Edit {
			why += " (serve --edit allows edits)"
		}
	}
	return &statusError{http.StatusMethodNotAllowed, r.Method + " is not possible here: " + why}
}

// versionsOf reads the versions that If-Match names, nil for any; false where
// there is no If-Match.
func versionsOf(fields []string) (versions []int64, given bool) {
	if len(fields) == 0 {
		return nil, false
	}
	versions, any := taggedVersions(fields, false)
	if !any && versions == nil {
		versions = []int64{} // none matches
	}
	return versions, true
}

// outcome is the error of an edit as HTTP has it.
func (e *editing) outcome(err error) error {
	switch {
	case errors.Is(err, inventory.ErrChanged) && !e.any:
		return &statusError{http.StatusPreconditionFailed, err.Error()}
	case errors.Is(err, inventory.ErrUnchanged):
		return &statusError{http.StatusPreconditionFailed, err.Error()}
	case inventory.KindOf(err) == inventory.NotFound && e.match:
		return &statusError{http.StatusPreconditionFailed, err.Error() + ": If-Match asks for one"}
	}
	return err
}

// make makes the edit.
func (e *editing) make() error {
	id, err := e.config.Store.EditFeature(e.r.Context(), e.edit, e.config.Profile)
	if err == nil {
		e.edit.ID = id
	}
	return err
}

// makeWhole makes an edit that sends a whole feature; header names the media types
// that it may be sent in.
func (e *editing) makeWhole(header string) error {
	sent, err := e.body(header, typeGeoJSON, typeJSON)
	if err != nil {
		return err
	}
	if err := e.takeFeature(sent); err != nil {
		return err
	}
	if err := e.make(); err != nil {
		return e.outcome(err)
	}
	return nil
}

// handleCreate makes a feature.
func (s *Server) handleCreate(w http.ResponseWriter, r *http.Request) error {
	e, err := s.beginEdit(w, r, inventory.Create)
	if err != nil {
		return err
	}
	if err := e.makeWhole("Accept-Post"); err != nil {
		return err
	}
	w.Header().Set("Location", e.address())
	return e.answer(http.StatusCreated)
}

// handleReplace replaces all of a feature that can be edited.
func (s *Server) handleReplace(w http.ResponseWriter, r *http.Request) error {
	e, err := s.beginEdit(w, r, inventory.Replace)
	if err != nil {
		return err
	}
	if err := e.makeWhole("Accept"); err != nil {
		return err
	}
	return e.answer(http.StatusOK)
}

// attempts is how often a patch is worked out when others keep editing the feature
// meanwhile. Each time one of those who want it gets through, so that this is also
// how many may come at once.
const attempts = 100

// handleMerge changes what a merge patch names (RFC 7396).
func (s *Server) handleMerge(w http.ResponseWriter, r *http.Request) error {
	e, err := s.beginEdit(w, r, inventory.Merge)
	if err != nil {
		return err
	}
	patch, err := e.body("Accept-Patch", typeMergePatch)
	if err != nil {
		return err
	}
	for attempt := 1; ; attempt++ {
		onCurrent, err := e.takePatch(patch)
		if err != nil {
			return err
		}
		err = e.make()
		switch {
		case err == nil:
			return e.answer(http.StatusOK)
		case onCurrent && e.any && attempt < attempts && errors.Is(err, inventory.ErrChanged):
			// The patch is for whatever is there: it is worked out anew, at odd moments,
			// so that those who wait do not keep meeting.
			select {
			case <-r.Context().Done():
				return r.Context().Err()
			case <-time.After(rand.N(10 * time.Millisecond)):
			}
		default:
			return e.outcome(err)
		}
	}
}

// handleDelete takes a feature away; its history stays.
func (s *Server) handleDelete(w http.ResponseWriter, r *http.Request) error {
	e, err := s.beginEdit(w, r, inventory.Delete)
	if err != nil {
		return err
	}
	if err := e.make(); err != nil {
		return e.outcome(err)
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// address is where the feature is, without any parameters: clients take what
// follows the last slash for its id.
func (e *editing) address() string {
	return e.base(e.r) + "/collections/" + e.edit.Collection.ID + "/items/" + strconv.FormatInt(e.edit.ID, 10)
}

// current returns the feature as GET answers with it, to the byte, and its
// version.
func (e *editing) current() (body []byte, version int64, err error) {
	c, id := e.edit.Collection, strconv.FormatInt(e.edit.ID, 10)
	get := e.r.Clone(e.r.Context())
	get.URL = &url.URL{Path: "/collections/" + c.ID + "/items/" + id}
	links := append(e.alternates(get, typeGeoJSON, itemForms), e.itemLinks(get, c, id)...)
	return e.feature(e.r.Context(), inventory.FeatureQuery{Client: e.config.Client, Collection: c}, lonLat, id, links)
}

// answer answers with the feature as it is now.
func (e *editing) answer(status int) error {
	body, version, err := e.current()
	if err != nil {
		// The edit is made, whatever has become of the feature since.
		e.r.Context().Value(exchangeKey{}).(*exchange).cause = err
		if status == http.StatusOK {
			status = http.StatusNoContent
		}
		e.w.WriteHeader(status)
		return nil
	}
	h := e.w.Header()
	h.Set("Content-Type", typeGeoJSON)
	writeContentCRS(e.w, crs.CRS84)
	// What is answered is the feature at this address, and so is the tag.
	h.Set("Content-Location", e.address())
	h.Set("ETag", `"`+featureTag(version, body)+`"`)
	h.Set("Cache-Control", "no-cache")
	h.Set("Content-Length", strconv.Itoa(len(body)+1))
	e.w.WriteHeader(status)
	_, err = e.w.Write(append(body, '\n'))
	return err
}
