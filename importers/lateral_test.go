package importers_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
)

// An edit classes a cut by the lateral rule as an import does: straight at the
// table, through the view, and by giving the lateral afterwards.
func TestLateralRuleOfEveryPath(t *testing.T) {
	w := newTown(t)
	w.load(file{text: table("tag", "1", "2")})
	var rows, values, later []string
	for _, kind := range []string{"", "reduction", "heading", "topping", "stub", "flush"} {
		for _, diameter := range []string{"", "60", "30", "7.3"} {
			for _, lateral := range []string{"", "0", "9.9", "10", "10.1", "19.999999", "20", "20.000001", "2.4333333333333333", "14"} {
				if kind == "" && (diameter == "" || lateral == "") {
					continue // held, and refused: it has no kind
				}
				if diameter == "7.3" && (strings.HasPrefix(lateral, "20") || lateral == "19.999999") {
					continue // more than twice as thick as the cut
				}
				id := fmt.Sprintf("%s/%s/%s", kind, diameter, lateral)
				rows = append(rows, fmt.Sprintf("%s,1,%s,%s,%s", id, kind, diameter, lateral))
				null := func(s string) string {
					if s == "" {
						return "NULL"
					}
					return s
				}
				values = append(values, fmt.Sprintf("('2', '%s', nullif('%s', ''), %s::float8, %s::float8)", id, kind, null(diameter), null(lateral)))
				if kind != "" {
					later = append(later, fmt.Sprintf("UPDATE gis.cuts SET lateral_diameter_cm = %s WHERE tag = '2' AND source_id = '%s/late'", null(lateral), id))
				}
			}
		}
	}
	c := w.load(file{role: inventory.RoleCuts, name: "cuts.csv", text: "id,tree_tag,kind,diameter_cm,lateral_cm\n" + strings.Join(rows, "\n") + "\n"})
	if c.Added != int64(len(rows)) {
		t.Fatalf("%d of %d imported: %v", c.Added, len(rows), w.held())
	}
	w.exec(`INSERT INTO gis.cuts (tag, source_id, kind, diameter_cm, lateral_diameter_cm) VALUES ` + strings.Join(values, ","))
	w.exec(`INSERT INTO gis.cuts (tag, source_id, kind, diameter_cm) SELECT '2', source_id || '/late', split_part(source_id, '/', 1), nullif(split_part(source_id, '/', 2), '')::float8
		FROM gis.cuts WHERE tag = '1' AND source_id NOT LIKE '/%'`)
	w.exec(strings.Join(later, ";"))
	of := func(where string) []string {
		return w.rows(`SELECT replace(c.source_id, '/late', '') AS id, kind, given_kind FROM cuts c JOIN trees t USING (client_id, tree_id) WHERE ` + where + ` ORDER BY 1`)
	}
	imported := of(`tag = '1'`)
	if edited := of(`tag = '2' AND c.source_id NOT LIKE '%/late'`); !slices.Equal(imported, edited) {
		t.Errorf("imported and edited differ:\n%s\n\n%s", strings.Join(imported, "\n"), strings.Join(edited, "\n"))
	}
	named := slices.DeleteFunc(slices.Clone(imported), func(r string) bool { return strings.HasPrefix(r, "/") })
	if late := of(`c.source_id LIKE '%/late'`); !slices.Equal(named, late) {
		t.Errorf("imported and edited later differ:\n%s\n\n%s", strings.Join(named, "\n"), strings.Join(late, "\n"))
	}
	if !slices.Contains(imported, "reduction/60/10|heading|reduction") || !slices.Contains(imported, "heading/60/20|reduction|heading") || !slices.Contains(imported, "topping/60/10|topping|∅") {
		t.Error("the rule classes nothing")
	}
}
