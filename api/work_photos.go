package api

import (
	"bytes"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"path"
	"slices"
	"strings"
	"time"
	"unicode"

	"github.com/underbough/underbough/inventory"
)

// photoTypes are the media types that pictures are kept in.
var photoTypes = []string{"image/jpeg", "image/png", "image/webp"}

// photoBytes is the most that one picture takes; the database holds no more.
const photoBytes = 25 << 20

// photoType is the type that a picture's first bytes say: of JPEG (ISO/IEC
// 10918-1: SOI and a marker), PNG (ISO/IEC 15948, 5.2) and WebP (RFC 9649, 2.3 and 2.4).
func photoType(b []byte) string {
	switch {
	case bytes.HasPrefix(b, []byte("\xff\xd8\xff")):
		return "image/jpeg"
	case bytes.HasPrefix(b, []byte("\x89PNG\r\n\x1a\n")):
		return "image/png"
	case len(b) >= 16 && string(b[:4]) == "RIFF" && string(b[8:15]) == "WEBPVP8":
		return "image/webp"
	}
	return ""
}

// photoName is a file's name without any path, as it is kept.
func photoName(given, mediaType string) (string, error) {
	if given == "" {
		_, kind, _ := strings.Cut(mediaType, "/")
		return "photo." + kind, nil
	}
	name := path.Base(strings.ReplaceAll(given, `\`, "/"))
	if strings.ToValidUTF8(name, "") != name || strings.ContainsFunc(name, unicode.IsControl) || strings.Trim(name, ". ") == "" || name == "/" {
		return "", paramError("name", given, "expected the name of a file, such as before.jpg")
	}
	if len(name) > 200 {
		return "", paramError("name", name[:60]+"…", "expected 200 bytes at most")
	}
	return name, nil
}

// handleAddPhoto keeps a picture of a job.
func (s *Server) handleAddPhoto(w http.ResponseWriter, r *http.Request) error {
	p, actor, err := s.beginWork(w, r, "name", "by")
	if err != nil {
		return err
	}
	id, err := pathNumber(r, "job")
	if err != nil {
		return err
	}
	by, fault := s.named(actor, strings.TrimSpace(p["by"]))
	if fault == "" && (strings.ContainsRune(by, 0) || strings.ToValidUTF8(by, "") != by) {
		fault = "is no text in UTF-8"
	}
	if fault != "" {
		return &parameterError{"by", fault}
	}
	photo := &inventory.Photo{Job: inventory.JobID(id), By: by}
	if photo.MediaType, _, err = mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || !slices.Contains(photoTypes, photo.MediaType) {
		w.Header().Set("Accept-Post", strings.Join(photoTypes, ", "))
		return &statusError{http.StatusUnsupportedMediaType, fmt.Sprintf("Content-Type is %.60q: expected %s", r.Header.Get("Content-Type"), strings.Join(photoTypes, " or "))}
	}
	if err := plainlyCoded(w, r); err != nil {
		return err
	}
	if photo.Name, err = photoName(p["name"], photo.MediaType); err != nil {
		return err
	}
	if err := s.jobIsThere(r, photo.Job); err != nil {
		return err
	}
	// A picture from the street comes slowly: it has as long as the request has.
	http.NewResponseController(w).SetReadDeadline(time.Now().Add(s.config.RequestTimeout))
	if photo.Bytes, err = readBody(w, r, photoBytes); err != nil {
		return err
	}
	if kind := photoType(photo.Bytes); kind != photo.MediaType {
		if kind == "" {
			kind = "no picture that is known here"
		}
		return invalid("the body is %s by its first bytes, and Content-Type says %s: send the file as it is, as one of %s", kind, photo.MediaType, strings.Join(photoTypes, ", "))
	}
	if err := s.config.Store.AddPhoto(r.Context(), s.config.Client, photo); err != nil {
		return err
	}
	w.Header().Set("Location", s.photoAddress(r, photo))
	return writeCreated(w, s.photoAnswer(r, photo))
}

func (s *Server) photoAddress(r *http.Request, p *inventory.Photo) string {
	return fmt.Sprintf("%s/jobs/%d/photos/%d", s.base(r), p.Job, p.ID)
}

// jobIsThere spares a picture the way where there is no such job.
func (s *Server) jobIsThere(r *http.Request, id inventory.JobID) error {
	list, err := s.config.Store.FindJobs(r.Context(), inventory.JobQuery{Client: s.config.Client, IDs: []int64{int64(id)}})
	if err == nil && len(list) == 0 {
		io.CopyN(io.Discard, r.Body, droppedBytes) // so that the client reads why
		err = noJob(int64(id))
	}
	return err
}

// handlePhoto gives a picture as it was sent. Nobody changes one, so that clients
// keep it for good; it is a file to be saved and never a page of this service.
func (s *Server) handlePhoto(w http.ResponseWriter, r *http.Request) error {
	if _, err := parseParams(r); err != nil {
		return err
	}
	job, err := pathNumber(r, "job")
	if err != nil {
		return err
	}
	id, err := pathNumber(r, "photo")
	if err != nil {
		return err
	}
	p, err := s.config.Store.GetPhoto(r.Context(), s.config.Client, inventory.JobID(job), inventory.PhotoID(id))
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set("ETag", `"`+p.SHA256+`"`)
	h.Set("Cache-Control", "max-age=31536000, immutable")
	if tagListed(r.Header.Get("If-None-Match"), p.SHA256) {
		w.WriteHeader(http.StatusNotModified)
		return nil
	}
	h.Set("Content-Type", p.MediaType)
	h.Set("Content-Disposition", "attachment; filename*=UTF-8''"+strings.ReplaceAll(url.QueryEscape(p.Name), "+", "%20"))
	h.Set("Content-Security-Policy", "default-src 'none'; sandbox")
	return writeBody(w, r, p.Bytes)
}
