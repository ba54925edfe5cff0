package paper

import (
	"bytes"
	"embed"
	"html/template"
	"strings"
	"time"
)

//go:embed pages/*.html
var pageFiles embed.FS

// sheets are the documents by name, each within the layout.
var sheets = func() map[string]*template.Template {
	layout := template.Must(template.New("layout.html").Funcs(template.FuncMap{"table": newTable}).ParseFS(pageFiles, "pages/layout.html"))
	all := map[string]*template.Template{}
	for _, name := range []string{"crew", "report"} {
		all[name] = template.Must(template.Must(layout.Clone()).ParseFS(pageFiles, "pages/"+name+"*.html"))
	}
	return all
}()

func execute(name string, v *sheet) ([]byte, error) {
	var b bytes.Buffer
	if err := sheets[name].Execute(&b, v); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// sheet is what the layout shows.
type sheet struct {
	Title    string
	Kind     string // what it is, above the title
	Lines    []string
	Basis    []fact
	Cautions []string
	Data     any
}

// countTable is a table of counts.
type countTable struct {
	Caption, First string
	Rows           []counted
}

func newTable(caption, first string, rows []counted) countTable {
	return countTable{caption, first, rows}
}

// fact is a name and what it says.
type fact struct{ Name, Text string }

// facts lists what a sheet rests on.
func (b *Basis) facts() []fact {
	list := []fact{{"Client", plain(b.Client)}, {"Site", plain(b.Site.Name)}, {"Records as of", day(b.AsOf)}, {"Made", b.issued()}}
	list = append(list, fact{"Exposure profile", digestWords(b.ProfileName, b.ProfileDigest)}, fact{"Pruning practice", digestWords(b.PracticeName, b.PracticeDigest)})
	kept := list[:0]
	for _, f := range list {
		if f.Text != "" {
			kept = append(kept, f)
		}
	}
	return kept
}

// issued says when and by whom, on the clocks of the site.
func (b *Basis) issued() string {
	if b.IssuedAt.IsZero() {
		return ""
	}
	text := b.clock(b.IssuedAt).Format("2 January 2006, 15:04 MST")
	if b.IssuedBy != "" {
		text += ", by " + plain(b.IssuedBy)
	}
	return text
}

func (b *Basis) clock(t time.Time) time.Time {
	if zone, err := time.LoadLocation(b.Site.TimeZone); err == nil {
		return t.In(zone)
	}
	return t.UTC()
}

func digestWords(name, digest string) string {
	if name == "" && digest == "" {
		return ""
	}
	return strings.TrimSpace(plain(name) + " (SHA-256 " + shortDigest(digest) + "…)")
}
