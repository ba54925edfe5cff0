package api

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"

	"github.com/underbough/underbough/api/sheets"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
)

// WorkStore is what work on trees is read from and kept in.
type WorkStore interface {
	question.JobStore
	question.SpecificationStore
	sheets.Store
	SaveAppraisal(ctx context.Context, site inventory.Site, k *inventory.KeptAppraisal) error
	AddPhoto(ctx context.Context, client inventory.ClientID, p *inventory.Photo) error
	FindPhotos(ctx context.Context, client inventory.ClientID, jobs []int64) ([]inventory.Photo, error)
	GetPhoto(ctx context.Context, client inventory.ClientID, job inventory.JobID, id inventory.PhotoID) (*inventory.Photo, error)
}

// workBasis is what work on a site is planned on.
func (s *Server) workBasis(ctx context.Context, site inventory.Site) *question.Basis {
	return &question.Basis{Site: site, Profile: s.config.Profile, Practice: s.config.Practice, AsOf: s.now(ctx)}
}

// workMethods are what a path of work allows; empty for other paths. Paths that
// only take something cannot be read.
func (s *Server) workMethods(parts []string) string {
	const takes = http.MethodOptions
	reads := ""
	switch {
	case len(parts) == 1 && slices.Contains([]string{"specification", "programmes", "jobs", "appraisals"}, parts[0]):
		reads = allowed
	case len(parts) == 3 && parts[0] == "programmes" && parts[2] == "jobs",
		len(parts) == 3 && parts[0] == "jobs" && slices.Contains([]string{"state", "gates", "urgent", "completion", "check", "photos"}, parts[2]):
		reads = takes
	default:
		return ""
	}
	if s.config.Edit {
		reads += ", " + http.MethodPost
	}
	return reads
}

// acceptedPost are the media types that a path takes with POST.
func acceptedPost(path string) string {
	switch {
	case strings.HasPrefix(path, "/collections/") && strings.HasSuffix(path, "/items"):
		return acceptPost
	case strings.HasSuffix(path, "/photos"):
		return strings.Join(photoTypes, ", ")
	case path == "/imports":
		return strings.Join(uploadTypes, ", ")
	}
	return typeJSON
}

// beginWork looks at what a request that changes work needs before its body is
// read: whether it may, and its parameters. actor is the name of its key.
func (s *Server) beginWork(w http.ResponseWriter, r *http.Request, known ...string) (p params, actor string, err error) {
	if methods := s.methods(r); !strings.Contains(methods, r.Method) {
		return nil, "", s.notAllowed(w, r, methods)
	}
	if actor, err = s.writer(w, r); err != nil {
		return nil, "", err
	}
	p, err = parseParams(r, known...)
	return p, actor, err
}

// mostName is how long the name of a person may be, bytes.
const mostName = 200

// by is who does something: whose key it is where keys are asked for, else whom
// the request names.
func (s *Server) by(actor string, f *fields) string {
	given := strings.TrimSpace(f.text("by").V)
	name, fault := s.named(actor, given)
	if fault != "" {
		f.wrong("by", "%s", fault)
	}
	return name
}

func (s *Server) named(actor, given string) (name, fault string) {
	switch keys := len(s.config.EditKeys) > 0; {
	case keys && given != "" && given != actor:
		return "", "is " + strconv.Quote(given) + ", and the key is of " + strconv.Quote(actor) + ": leave by out, the key says who it is"
	case keys:
		return actor, ""
	case given == "":
		return "", "is missing: say who does this"
	case len(given) > mostName:
		return "", "is longer than 200 bytes: give a name"
	}
	return given, ""
}

// pathNumber reads a number that a path names something by.
func pathNumber(r *http.Request, name string) (int64, error) {
	given := chi.URLParam(r, name)
	n, err := strconv.ParseInt(given, 10, 64)
	if err != nil || n < 1 || strconv.FormatInt(n, 10) != given {
		return 0, inventory.Errorf(inventory.NotFound, "there is no %s %.60q", name, given)
	}
	return n, nil
}

// jobVersion reads from which version of a job a request is made (If-Match), and
// refuses one that was made from another than it is at. Without the header any
// will do, unless the service insists.
func (s *Server) jobVersion(r *http.Request, id inventory.JobID) (from inventory.Opt[int], err error) {
	versions, match := versionsOf(r.Header.Values("If-Match"))
	unless, none := taggedVersions(r.Header.Values("If-None-Match"), true)
	switch {
	case !match && s.config.RequireMatch:
		return from, &statusError{http.StatusPreconditionRequired, "this service changes no job without If-Match: read the job first and send its ETag, so that nobody's step is lost"}
	case !match && !none && unless == nil:
		return from, nil
	}
	list, err := s.config.Store.FindJobs(r.Context(), inventory.JobQuery{Client: s.config.Client, IDs: []int64{int64(id)}})
	if err != nil {
		return from, err
	}
	failed := func(text string) error {
		return &statusError{http.StatusPreconditionFailed, text}
	}
	if len(list) == 0 {
		if match {
			return from, failed("there is no job " + strconv.FormatInt(int64(id), 10) + ": If-Match asks for one")
		}
		return from, nil // which is told of where it is missed
	}
	at := list[0].Version
	if match && versions != nil && !slices.Contains(versions, int64(at)) {
		return from, failed("the job is at version " + strconv.Itoa(at) + ", which If-Match does not name: read it again")
	}
	if none || slices.Contains(unless, int64(at)) {
		return from, failed("the job is at version " + strconv.Itoa(at) + ", which If-None-Match excludes")
	}
	if match && versions == nil {
		return from, nil // for whatever is there
	}
	return inventory.Some(at), nil
}

// stepped is the error of a change of a job as HTTP has it.
func stepped(err error) error {
	if errors.Is(err, inventory.ErrChanged) {
		return &statusError{http.StatusPreconditionFailed, err.Error()}
	}
	return err
}

// sweepTrees makes sure that a site is not too large for what goes through all of
// its trees and keeps them in memory, and waits for its turn. Call done at the end.
func (s *Server) sweepTrees(ctx context.Context, site inventory.Site) (done func(), err error) {
	run, err := s.bringUpToDate(ctx, site)
	if err != nil {
		return nil, err
	}
	if run.Trees > maxPlannedTrees {
		return nil, tooLarge("site", "%d standing trees; work is planned here for up to %d", run.Trees, maxPlannedTrees)
	}
	return s.waitToSweep(ctx)
}

// maxPlannedTrees is how many trees are held in memory at most to plan work.
const maxPlannedTrees = 100_000

// workRoutes are the paths of work on trees.
func (s *Server) workRoutes(r chi.Router, get func(string, handler)) {
	get("/specification", s.asOf(s.handleSpecification))
	get("/drawing.svg", s.asOf(s.handleDrawing))
	get("/reduction", s.handleReduction)
	get("/practice", s.handlePractice)
	get("/appraisals", s.asOf(s.handleAppraisals))
	get("/programmes", s.asOf(s.handleProgrammes))
	get("/programmes/{programme}", s.handleProgramme)
	get("/programmes/{programme}/items", s.handleProgrammeItems)
	get("/jobs", s.asOf(s.handleJobs))
	get("/jobs/{job}", s.asOf(s.handleJob))
	get("/jobs/{job}/photos/{photo}", s.handlePhoto)
	get("/due", s.asOf(s.handleDue))
	get("/work/effect", s.asOf(s.handleEffect))
	get("/crew-sheet", s.handleCrewSheet)
	get("/bid-sheet", s.handleBidSheet)
	get("/report", s.handleReport)
	for path, h := range map[string]handler{"/specification": s.handleChangeSpecification, "/appraisals": s.handleAppraise, "/programmes": s.handleMakeProgramme, "/jobs": s.handleAddJob} {
		r.Method(http.MethodPost, path, s.answer(h))
	}
	for path, h := range map[string]handler{
		"/programmes/{programme}/jobs": s.handlePropose, "/jobs/{job}/state": s.handleMoveJob, "/jobs/{job}/gates": s.handleClearGate, "/jobs/{job}/urgent": s.handleUrgent,
		"/jobs/{job}/completion": s.handleComplete, "/jobs/{job}/check": s.handleCheckJob, "/jobs/{job}/photos": s.handleAddPhoto,
	} {
		r.Method(http.MethodPost, path, s.answer(h))
		r.Method(http.MethodOptions, path, s.answer(s.handleOptions))
	}
}
