package api

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"regexp"
	"strings"
)

// Each resource that describes or gives features has an HTML form: one layout,
// no scripts, and everything that comes from data goes through html/template's
// escaping.

//go:embed pages/*.html
var pageFiles embed.FS

// pageTemplates are the pages by name, each within the layout.
var pageTemplates = func() map[string]*template.Template {
	layout := template.Must(template.New("layout.html").Funcs(template.FuncMap{"join": strings.Join}).ParseFS(pageFiles, "pages/layout.html"))
	files, err := fs.Glob(pageFiles, "pages/*.html")
	if err != nil {
		panic(err) // only of a malformed pattern
	}
	pages := map[string]*template.Template{}
	for _, file := range files {
		if name := strings.TrimSuffix(path.Base(file), ".html"); name != "layout" {
			pages[name] = template.Must(template.Must(layout.Clone()).ParseFS(pageFiles, file))
		}
	}
	return pages
}()

// pagePolicy lets pages use their one style and nothing else.
var pagePolicy = func() string {
	layout, err := pageFiles.ReadFile("pages/layout.html")
	if err != nil {
		panic(err) // it is embedded
	}
	style := regexp.MustCompile(`(?s)<style>(.*?)</style>`).FindSubmatch(layout)[1]
	sum := sha256.Sum256(style)
	return "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'self'; img-src data:; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}()

// htmlPage is what the layout shows.
type htmlPage struct {
	Title    string
	Base     string
	Trail    []step // from the landing page down to this one's parent
	Others   []link // the other forms of the page
	Cautions string // where someone could act on what is shown
	Data     any    // what the page itself shows
}

// step is one page above.
type step struct{ Href, Title string }

// describing is an answer under way that is held whole and has more than one
// form.
type describing struct {
	s     *Server
	w     http.ResponseWriter
	r     *http.Request
	form  string
	forms []string
	tag   string // of the answer; without one it is made from the answer's bytes
}

// document reads a request for what has no parameters but its form.
func (s *Server) document(w http.ResponseWriter, r *http.Request, forms []string) (*describing, error) {
	p, err := parseParams(r, "f")
	if err != nil {
		return nil, err
	}
	form, err := negotiate(r, p, forms...)
	if err != nil {
		return nil, err
	}
	return &describing{s: s, w: w, r: r, form: form, forms: forms}, nil
}

// links begins the links of the answer: itself and its other forms.
func (d *describing) links() []link { return d.s.alternates(d.r, d.form, d.forms) }

// write answers with a JSON document.
func (d *describing) write(v any) error {
	body, err := plainJSON(v)
	if err != nil {
		return err
	}
	return d.send(append(body, '\n'))
}

// page answers with an HTML page.
func (d *describing) page(name string, p htmlPage) error {
	p.Base = d.s.base(d.r)
	if name != "landing" {
		p.Trail = append([]step{{p.Base + "/", "Underbough"}}, p.Trail...)
	}
	p.Others = d.links()[1:]
	var body bytes.Buffer
	if err := pageTemplates[name].Execute(&body, &p); err != nil {
		return err
	}
	d.w.Header().Set("Content-Security-Policy", pagePolicy)
	return d.send(body.Bytes())
}

// send answers with a body, or that the client has it already. What JSON has no
// room for, a header links.
func (d *describing) send(body []byte) error {
	h := d.w.Header()
	contentType(d.w, d.form)
	for _, l := range d.links()[1:] {
		h.Add("Link", "<"+l.Href+`>; rel="alternate"; type="`+l.Type+`"`)
	}
	if d.tag == "" && d.s.unchanged(d.w, d.r, d.s.etag(d.r, d.form, string(body)), false) {
		return nil
	}
	return writeBody(d.w, d.r, body)
}
