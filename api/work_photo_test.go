package api_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"image"
	"image/jpeg"
	stdpng "image/png"
	"net/url"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// Pictures by the encoders of Go's standard library, and a WebP of one pixel as
// GDAL 3.6 writes it by libwebp.
var (
	picture   = image.NewGray(image.Rect(0, 0, 3, 2))
	pngPhoto  = encoded(func(b *bytes.Buffer) error { return stdpng.Encode(b, picture) })
	jpgPhoto  = encoded(func(b *bytes.Buffer) error { return jpeg.Encode(b, picture, nil) })
	webpPhoto = func() string {
		b, err := base64.StdEncoding.DecodeString("UklGRjgAAABXRUJQVlA4ICwAAACQAQCdASoBAAEAAgA0JaACdLoAA5gA/u7T34tikNzP/wpr/wpr/wpr/gAAAA==")
		if err != nil {
			panic(err)
		}
		return string(b)
	}()
)

func encoded(write func(*bytes.Buffer) error) string {
	var b bytes.Buffer
	if err := write(&b); err != nil {
		panic(err)
	}
	return b.String()
}

// What is sent is given back to the byte, as a file and never as a page.
func TestPhotos(t *testing.T) {
	s := serve(t, editing)
	for kind, body := range map[string]string{"image/png": pngPhoto, "image/jpeg": jpgPhoto, "image/webp": webpPhoto} {
		r := s.send(t, "POST", "/jobs/1/photos?by=Crew&name="+url.QueryEscape("C:\\tmp\\before & after ž.png"), kind, body)
		r.want(t, 201)
		p := parse[object](t, r.body)
		if p["name"] != "before & after ž.png" || p["by"] != "Crew" || p["media_type"] != kind || p["bytes"] != float64(len(body)) || p["sha256"] != fmt.Sprintf("%x", sha256.Sum256([]byte(body))) {
			t.Errorf("%s: %v", kind, p)
		}
		where := r.header.Get("Location")
		got := s.get(t, where)
		h := got.header
		if got.status != 200 || string(got.body) != body || h.Get("Content-Type") != kind || h.Get("X-Content-Type-Options") != "nosniff" || !strings.Contains(h.Get("Cache-Control"), "immutable") ||
			h.Get("Content-Disposition") != "attachment; filename*=UTF-8''before%20%26%20after%20%C5%BE.png" || !strings.Contains(h.Get("Content-Security-Policy"), "sandbox") {
			t.Errorf("%s: %d %d bytes, %v", kind, got.status, len(got.body), h)
		}
		if r := s.get(t, where, "If-None-Match", h.Get("ETag")); r.status != 304 {
			t.Error(r.status)
		}
		if r := s.do(t, "HEAD", where); r.status != 200 || len(r.body) != 0 || r.header.Get("Content-Length") != fmt.Sprint(len(body)) {
			t.Error(r.status, r.header)
		}
		// The same again is the same picture.
		again := s.send(t, "POST", "/jobs/1/photos?by=Other", kind, body)
		again.want(t, 201)
		if again.header.Get("Location") != where {
			t.Errorf("kept twice: %s and %s", where, again.header.Get("Location"))
		}
		// A picture is of its job alone.
		s.get(t, strings.Replace(where, "/jobs/1/", "/jobs/2/", 1)).want(t, 404)
	}
	photos := objects(s.json(t, "/jobs/1")["photos"])
	if len(photos) != 3 {
		t.Errorf("%d pictures", len(photos))
	}
	s.get(t, "/jobs/1/photos/1?size=small").want(t, 400, "no parameters")
	s.get(t, "/jobs/1/photos/x").want(t, 404)
	s.get(t, "/jobs/1/photos/99999").want(t, 404)
}

func TestPhotosRefused(t *testing.T) {
	s := serve(t, editing)
	const page = "<!doctype html><script>alert(1)</script>"
	svg := `<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>`
	for name, c := range map[string]struct {
		path, kind, body string
		status           int
		says             string
	}{
		"a page said to be a picture":     {"/jobs/1/photos?by=x", "image/png", page, 400, "first bytes"},
		"a page as what it is":            {"/jobs/1/photos?by=x", "text/html", page, 415, "image/jpeg"},
		"a drawing with a script":         {"/jobs/1/photos?by=x", "image/svg+xml", svg, 415, "image/jpeg"},
		"a drawing said to be a picture":  {"/jobs/1/photos?by=x", "image/webp", svg, 400, "first bytes"},
		"JPEG said to be PNG":             {"/jobs/1/photos?by=x", "image/png", jpgPhoto, 400, "image/jpeg"},
		"nothing":                         {"/jobs/1/photos?by=x", "image/png", "", 400, "first bytes"},
		"the beginning of a picture":      {"/jobs/1/photos?by=x", "image/png", pngPhoto[:5], 400, "first bytes"},
		"another file of RIFF":            {"/jobs/1/photos?by=x", "image/webp", "RIFF\x24\x00\x00\x00WAVEfmt \x10\x00", 400, "first bytes"},
		"no type":                         {"/jobs/1/photos?by=x", "", pngPhoto, 415, "image/jpeg"},
		"nobody":                          {"/jobs/1/photos", "image/png", pngPhoto, 400, "by"},
		"a name that is no file's":        {"/jobs/1/photos?by=x&name=..", "image/png", pngPhoto, 400, "name"},
		"a name with a line's end":        {"/jobs/1/photos?by=x&name=a%0Ab.png", "image/png", pngPhoto, 400, "name"},
		"a name that is no text":          {"/jobs/1/photos?by=x&name=a%FF.png", "image/png", pngPhoto, 400, "name"},
		"a name that is too long":         {"/jobs/1/photos?by=x&name=" + strings.Repeat("a", 201), "image/png", pngPhoto, 400, "name"},
		"a person of code 0":              {"/jobs/1/photos?by=%00", "image/png", pngPhoto, 400, "by"},
		"a job that is not there":         {"/jobs/999/photos?by=x", "image/png", pngPhoto, 404, "no job 999"},
		"more than a picture takes":       {"/jobs/1/photos?by=x", "image/png", pngPhoto + strings.Repeat("\x00", 25<<20), 413, "25 MiB"},
		"a parameter that nobody knows":   {"/jobs/1/photos?by=x&job=2", "image/png", pngPhoto, 400, "not known"},
		"a form with a picture within it": {"/jobs/1/photos?by=x", "multipart/form-data; boundary=b", "--b\r\n\r\n" + pngPhoto + "\r\n--b--", 415, "image/jpeg"},
	} {
		t.Run(name, func(t *testing.T) { s.send(t, "POST", c.path, c.kind, c.body).want(t, c.status, c.says) })
	}
	s.send(t, "POST", "/jobs/1/photos?by=x", "image/png", pngPhoto, "Content-Encoding", "gzip").want(t, 415)
	if n := pgtest.Query(t, s.url, `SELECT count(*) FROM photos`)[0]; n != "0" {
		t.Errorf("%s pictures are kept", n)
	}
}
