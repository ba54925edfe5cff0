// Package viewer embeds the map page. Its source is src, built by npm into
// dist; without Node the program builds too, and the page says what is
// missing.
package viewer

import "embed"

// The pattern holds with and without a built dist beside dist-missing.html.
//
//go:embed dist*
var files embed.FS

// Page returns the page itself, and whether it has been built.
func Page() (page []byte, built bool) {
	if page, err := files.ReadFile("dist/index.html"); err == nil {
		return page, true
	}
	page, err := files.ReadFile("dist-missing.html")
	if err != nil {
		panic(err) // it is embedded
	}
	return page, false
}

// File returns a part of the page by name.
func File(name string) ([]byte, error) { return files.ReadFile("dist/" + name) }
