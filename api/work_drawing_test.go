package api_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"
)

// TestDrawing asks for both views of a tree and holds them to being whole SVG that
// names the tree and can load nothing.
func TestDrawing(t *testing.T) {
	s := serve(t, nil)
	seen := map[string][]byte{}
	for _, path := range []string{"/drawing.svg?tag=T66", "/drawing.svg?tag=T66&view=side", "/drawing.svg?tag=T66&view=plan"} {
		r := s.get(t, path)
		if r.status != 200 || r.header.Get("Content-Type") != "image/svg+xml" || r.header.Get("X-Content-Type-Options") != "nosniff" || r.header.Get("Content-Security-Policy") != "default-src 'none'" {
			t.Fatal(path, r.status, r.header)
		}
		d := xml.NewDecoder(bytes.NewReader(r.body))
		for {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatal(path, err)
			}
			if e, ok := token.(xml.StartElement); ok && (e.Name.Local == "script" || e.Name.Local == "style") {
				t.Errorf("%s has an element %s", path, e.Name.Local)
			}
		}
		if !strings.Contains(string(r.body), "T66") {
			t.Errorf("%s does not name the tree", path)
		}
		seen[path] = r.body
		if again := s.get(t, path, "If-None-Match", r.header.Get("ETag")); again.status != 304 {
			t.Errorf("%s again: %d", path, again.status)
		}
	}
	if !bytes.Equal(seen["/drawing.svg?tag=T66"], seen["/drawing.svg?tag=T66&view=side"]) || bytes.Equal(seen["/drawing.svg?tag=T66"], seen["/drawing.svg?tag=T66&view=plan"]) {
		t.Error("the side is not what is drawn without view")
	}
	s.problem(t, "/drawing.svg?tag=T66&view=front", 400, "view")
	s.problem(t, "/drawing.svg", 400, "tag")
	s.problem(t, "/drawing.svg?tag=nobody", 404, "tag")
	s.problem(t, "/drawing.svg?tag=T7", 404, "tag") // a stump
}
