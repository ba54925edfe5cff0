package api_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/api"
)

type deletedList struct {
	Deleted []struct {
		ID, Version int64
		Name, By    string
		Links       []link
	}
}

func (d deletedList) String() string {
	var b strings.Builder
	for _, o := range d.Deleted {
		fmt.Fprintf(&b, "%d %s v%d by %s; ", o.ID, o.Name, o.Version, o.By)
	}
	return b.String()
}

// TestDeleted lists what was deleted and is not back, and who did it.
func TestDeleted(t *testing.T) {
	s := serve(t, func(c *api.Config) { c.Edit, c.Now = true, time.Now })
	at := "/collections/trees/deleted?site=Low+Quarter"
	list := func(path, want string) deletedList {
		t.Helper()
		got := parse[deletedList](t, s.got(t, path))
		if got.String() != want {
			t.Errorf("%s: %q, expected %q", path, got, want)
		}
		return got
	}
	list(at, "")
	item := func(id int) string { return fmt.Sprintf("/collections/trees/items/%d", id) }
	s.send(t, "PATCH", item(5)+"?by=Ona", mergePatch, `{"properties":{"height_m":14.25}}`).want(t, 200)
	s.send(t, "DELETE", item(5)+"?by=Ona", "", "").want(t, 204)
	s.send(t, "DELETE", item(6), "", "").want(t, 204)
	s.send(t, "DELETE", "/collections/targets/items/1", "", "").want(t, 204)
	got := list(at, "6 T6 v1 by service; 5 T5 v2 by Ona; ")
	list(at+"&limit=1", "6 T6 v1 by service; ")
	// It comes back by the version that is given, and may go again.
	log := rel(got.Deleted[1].Links, "version-history")
	s.send(t, "POST", log, plainJSON, fmt.Sprintf(`{"version":%d}`, got.Deleted[1].Version)).want(t, 200)
	list(at, "6 T6 v1 by service; ")
	s.send(t, "DELETE", item(5), "", "").want(t, 204)
	list(at, "5 T5 v3 by service; 6 T6 v1 by service; ")
	if n := len(parse[deletedList](t, s.got(t, "/collections/targets/deleted?site=Low+Quarter")).Deleted); n != 1 {
		t.Errorf("%d places", n)
	}
	for path, status := range map[string]int{"/collections/sites/deleted": 404, "/collections/zones/deleted": 404, "/collections/trees/deleted?site=Nowhere": 400, at + "&limit=x": 400} {
		if r := s.get(t, path); r.status != status {
			t.Errorf("%s: %d", path, r.status)
		}
	}
	// Of another year nothing is listed, nor to be brought back by a list.
	s.exec(t, `UPDATE history SET valid_to = valid_to - interval '40 days' WHERE feature_id = 6`)
	list(at, "5 T5 v3 by service; ")
}

// TestEditBy names whom the history is to, unless a key does.
func TestEditBy(t *testing.T) {
	s := serve(t, editing)
	at := "/collections/trees/items/5"
	s.send(t, "PATCH", at+"?by=Ona+%C5%BDvirbl%C4%97", mergePatch, `{"properties":{"height_m":14}}`).want(t, 200)
	s.send(t, "PATCH", at+"?by="+strings.Repeat("a", 201), mergePatch, `{"properties":{"height_m":15}}`).want(t, 400, "by", "200 bytes")
	if by := s.text(t, `SELECT changed_by FROM trees WHERE tree_id = 5`); by != "Ona Žvirblė" {
		t.Error(by)
	}
	// Planted next winter at the latest, by the service's clock (2026).
	s.send(t, "PATCH", at, mergePatch, `{"properties":{"planted_year":2027}}`).want(t, 200)
	s.send(t, "PATCH", at, mergePatch, `{"properties":{"planted_year":2028}}`).want(t, 400, "planted_year", "at most 2027")
}
