package api_test

import (
	"fmt"
	"html"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
)

// hrefs are the addresses in an HTML page.
var hrefs = regexp.MustCompile(`href="([^"]*)"`)

// TestHTMLClass goes through the abstract tests of the class html: each resource
// of the standards' classes has an HTML form that links what JSON links.
func TestHTMLClass(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	s.exec(t, `UPDATE trees SET species = '<script>alert("a")</script> & ''b''', extra = '{"note": "</td><img src=x onerror=alert(1)>"}' WHERE tree_id = 1;
		UPDATE sites SET name = 'Low <b>Quarter</b>'`)
	paths := append(slices.Clone(describingPaths), treeItems, treeItems+"/1", "/collections/overlaps/items", "/collections/sites/items")
	for _, path := range paths {
		t.Run("/conf/html/definition, content of "+path, func(t *testing.T) {
			for _, r := range []reply{s.get(t, path+"?f=html"), s.get(t, path, "Accept", "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8")} {
				page := string(r.body)
				if r.status != 200 || r.header.Get("Content-Type") != "text/html; charset=utf-8" || !strings.HasPrefix(page, "<!doctype html>") {
					t.Fatal(r.status, r.header.Get("Content-Type"))
				}
				policy := r.header.Get("Content-Security-Policy")
				if !strings.Contains(policy, "default-src 'none'") || strings.Contains(policy, "script-src") || strings.Contains(policy, "unsafe") {
					t.Error(policy)
				}
				for _, bad := range []string{"<script", "<img", "onerror=alert(1)>", "<b>", "style=\"", "ZgotmplZ"} {
					if strings.Contains(page, bad) {
						t.Errorf("the page has %q", bad)
					}
				}
				if strings.Count(page, "<h1>") != 1 || !strings.Contains(page, `<link rel="alternate" type="`) {
					t.Errorf("%.600s", page)
				}
			}
		})
	}
	t.Run("/conf/html/content: features carry their values and the cautions", func(t *testing.T) {
		for _, path := range []string{treeItems + "?limit=3&f=html", treeItems + "/1?f=html"} {
			page := html.UnescapeString(string(s.get(t, path).body))
			for _, want := range []string{"a qualified arborist inspects", `<script>alert("a")</script> & 'b'`, "1951"} {
				if !strings.Contains(page, want) {
					t.Errorf("%s does not say %s", path, want)
				}
			}
		}
		if page := string(s.get(t, "/collections/targets/items?f=html").body); strings.Contains(page, "arborist") {
			t.Error("targets carry cautions in HTML that they do not in GeoJSON")
		}
	})
	t.Run("/conf/html/content: pages follow each other", func(t *testing.T) {
		rows, pages := 0, 0
		for next := s.web.URL + treeItems + "?limit=100&f=html"; next != ""; pages++ {
			page := string(s.get(t, next).body)
			rows += strings.Count(page, "<tr><td>")
			next = ""
			if m := regexp.MustCompile(`href="([^"]*)" rel="next"`).FindStringSubmatch(page); m != nil {
				next = html.UnescapeString(m[1])
			}
		}
		if rows != 260 || pages != 3 {
			t.Errorf("%d rows on %d pages", rows, pages)
		}
	})
}

// TestCrawl follows every link of every document from the landing page on: each
// answers with the type that the link says. Addresses in HTML pages answer too.
func TestCrawl(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	s.keepRankings(t)
	s.keepProgramme(t)
	for _, name := range []string{"tall", "higher"} {
		q := inventory.SavedQuestion{Name: name, Title: "Tall trees", Collection: "trees", Filter: "height_m > 15"}
		if err := s.db.SaveQuestion(t.Context(), 1, q); err != nil {
			t.Fatal(err)
		}
	}
	variables := regexp.MustCompile(`\{\?[^}]*\}`)
	place := strings.NewReplacer("{place}", "1", "{tileMatrix}/{tileRow}/{tileCol}", fmt.Sprintf("%d/%d/%d", quarterTile.Z, quarterTile.Y, quarterTile.X))
	fill := func(href string) string {
		href = place.Replace(href)
		return variables.ReplaceAllStringFunc(href, func(v string) string {
			switch {
			case strings.Contains(v, "change"):
				return "?change=tree+T30+removed"
			case strings.Contains(v, "length_m"):
				return "?length_m=6&base_diameter_cm=20&lateral_diameter_cm=8&lateral_distance_m=4"
			case strings.Contains(v, "package"):
				return "?year=2028&package=Path"
			case strings.Contains(v, "tag"):
				return "?tag=T30"
			}
			return ""
		})
	}
	type visit struct{ href, form, from string }
	queue, seen := []visit{{s.web.URL + "/", "application/json", "the beginning"}}, map[string]bool{}
	for len(queue) > 0 && len(seen) < 2000 {
		v := queue[0]
		queue = queue[1:]
		if key := v.href + " " + v.form; seen[key] || !strings.HasPrefix(v.href, s.web.URL) {
			continue
		} else {
			seen[key] = true
		}
		r := s.get(t, v.href)
		if form := r.header.Get("Content-Type"); r.status != http.StatusOK || v.form != "" && !strings.HasPrefix(strings.ReplaceAll(form, " ", ""), strings.ReplaceAll(v.form, " ", "")) {
			t.Errorf("%s, linked from %s as %s: %d %s", v.href, v.from, v.form, r.status, form)
			continue
		}
		switch form, _, _ := strings.Cut(r.header.Get("Content-Type"), ";"); {
		case form == "text/html":
			for _, m := range hrefs.FindAllStringSubmatch(string(r.body), -1) {
				if href := html.UnescapeString(m[1]); strings.HasPrefix(href, s.web.URL) && !strings.Contains(v.href, "/items") {
					queue = append(queue, visit{href, "", v.href})
				}
			}
		case strings.HasSuffix(form, "json"):
			for _, l := range documentLinks(t, r.body) {
				if l.Type == "" && l.Rel != "" {
					t.Errorf("%s: link %s has no type", v.href, l.Href)
				}
				queue = append(queue, visit{fill(l.Href), l.Type, v.href})
			}
		}
	}
	if len(seen) < 100 || len(queue) > 0 {
		t.Errorf("%d documents seen, %d left", len(seen), len(queue))
	}
}

// documentLinks are the links anywhere in a document.
func documentLinks(t testing.TB, body []byte) []link {
	var out []link
	var look func(v any)
	look = func(v any) {
		switch v := v.(type) {
		case object:
			if list, ok := v["links"].([]any); ok {
				for _, l := range list {
					if l, ok := l.(object); ok && l["href"] != nil {
						text := func(name string) string { s, _ := l[name].(string); return s }
						out = append(out, link{Href: text("href"), Rel: text("rel"), Type: text("type")})
					}
				}
			}
			for _, m := range v {
				look(m)
			}
		case []any:
			for _, m := range v {
				look(m)
			}
		}
	}
	look(parse[any](t, body))
	return out
}
