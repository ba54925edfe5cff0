package api_test

import (
	"encoding/base64"
	"slices"
	"strings"
	"testing"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// A page of another site cannot edit through the browser of someone who can reach
// the service.
func TestPagesOfOthersCannotEdit(t *testing.T) {
	s := serve(t, func(c *api.Config) { c.Edit, c.EditOrigins = true, []string{"https://editor.example"} })
	port := s.web.URL[strings.LastIndex(s.web.URL, ":"):]
	for _, c := range []struct {
		name    string
		status  int
		headers []string
	}{
		{"no browser", 201, nil},
		{"own page", 201, []string{"Origin", s.web.URL}},
		{"listed page", 201, []string{"Origin", "https://editor.example"}},
		{"another site", 403, []string{"Origin", "https://elsewhere.example"}},
		{"the listed host by another scheme", 403, []string{"Origin", "http://editor.example"}},
		{"another port of this host", 403, []string{"Origin", "http://127.0.0.1:1"}},
		{"a page without origin", 403, []string{"Origin", "null"}},
		{"a name made to point here", 403, []string{"Host", "rebound.example" + port, "Origin", "http://rebound.example" + port}},
		{"the same without origin", 403, []string{"Host", "rebound.example" + port}},
		{"a name that ends like ours", 403, []string{"Host", "localhost.rebound.example" + port}},
		{"localhost", 201, []string{"Host", "localhost" + port, "Origin", "http://localhost" + port}},
		{"the address of IPv6", 201, []string{"Host", "[::1]" + port}},
	} {
		r := s.send(t, "POST", "/collections/trees/items", geoJSON, tree, c.headers...)
		if r.status != c.status {
			t.Errorf("%s: %d %s", c.name, r.status, r.body)
		}
	}
	public := serveOn(t, s, func(c *api.Config) { c.Edit, c.PublicURL = true, "https://trees.example/gis" })
	public.send(t, "POST", "/collections/trees/items", geoJSON, tree, "Host", "trees.example", "Origin", "https://trees.example").want(t, 201)
	public.send(t, "POST", "/collections/trees/items", geoJSON, tree, "Host", "other.example", "Origin", "https://trees.example").want(t, 403, "--public-url")
	public.send(t, "POST", "/collections/trees/items", geoJSON, tree, "Host", "trees.example", "Origin", "http://trees.example").want(t, 403)
}

func TestEditKeys(t *testing.T) {
	s := serve(t, func(c *api.Config) {
		c.Edit, c.EditKeys = true, []api.EditKey{{Name: "Ruta", Key: "0123456789abcdef-r"}, {Name: "Jonas", Key: "0123456789abcdef-j"}}
	})
	basic := func(password string) string {
		return "Basic " + base64.StdEncoding.EncodeToString([]byte("anyone:"+password))
	}
	patch := func(authorization string) reply {
		t.Helper()
		var headers []string
		if authorization != "" {
			headers = []string{"Authorization", authorization}
		}
		return s.send(t, "PATCH", "/collections/trees/items/4", mergePatch, `{"properties":{"species":"`+authorization+`"}}`, headers...)
	}
	for _, bad := range []string{"", "Bearer", "Bearer 0123456789abcdef", "Bearer 0123456789abcdef-R", basic(""), basic("Ruta"), "Digest 0123456789abcdef-r", "0123456789abcdef-r"} {
		r := patch(bad)
		r.want(t, 401, "key")
		if got := r.header.Values("WWW-Authenticate"); len(got) != 2 || !strings.HasPrefix(got[0], "Bearer ") || !strings.HasPrefix(got[1], "Basic ") {
			t.Error(got)
		}
	}
	if h := pgtest.Query(t, s.url, `SELECT count(*) FROM history`); h[0] != "0" {
		t.Error("someone without a key has edited")
	}
	patch("Bearer 0123456789abcdef-r").want(t, 200)
	patch(basic("0123456789abcdef-j")).want(t, 200)
	if got := pgtest.Query(t, s.url, `SELECT actor FROM history ORDER BY history_id`); !slices.Equal(got, []string{"Ruta", "Jonas"}) {
		t.Error(got)
	}
	if r := s.get(t, "/collections/trees/items/4"); r.status != 200 {
		t.Error("reading asks for a key")
	}
	for _, log := range s.log.all(t) {
		for k, v := range log {
			if text, ok := v.(string); ok && strings.Contains(text, "0123456789abcdef") {
				t.Errorf("the log tells a key in %s", k)
			}
		}
	}
}

func TestEditConfig(t *testing.T) {
	key := func(name, key string) api.Config { return api.Config{EditKeys: []api.EditKey{{Name: name, Key: key}}} }
	for _, c := range []api.Config{
		{EditOrigins: []string{"editor.example"}}, {EditOrigins: []string{"https://editor.example/path"}}, {EditOrigins: []string{"*"}},
		key("", "0123456789abcdef"), key("a", "short"), key("a", ""),
		{EditKeys: []api.EditKey{{Name: "a", Key: "0123456789abcdef"}, {Name: "b", Key: "0123456789abcdef"}}},
	} {
		if err := c.Validate(); err == nil {
			t.Errorf("%+v passes", c)
		}
	}
}
