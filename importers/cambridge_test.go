package importers_test

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/underbough/underbough/importers"
	"github.com/underbough/underbough/inventory"
)

// cambridge returns the folder of the open data of the City of Cambridge,
// Massachusetts, which is kept beside the repository and not in it.
func cambridge(t *testing.T) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for ; dir != filepath.Dir(dir); dir = filepath.Dir(dir) {
		data := filepath.Join(dir, "..", "shared", "data", "cambridge")
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			if _, err := os.Stat(data); err != nil {
				t.Skipf("the open data is not here: %v", err)
			}
			return data
		}
	}
	t.Fatal("no go.mod above the test")
	return ""
}

func read(t *testing.T, dir, name string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

var onlyTrees = []importers.Where{{Column: "SiteType", Values: []string{"Tree"}}}

// The counts are those that the description of the data gives, and those of an
// independent count of the file with a JSON reader.
func TestCambridgeTrees(t *testing.T) {
	dir := cambridge(t)
	w := newTown(t)
	f := file{
		name: "trees.geojson.gz", text: read(t, dir, "trees.geojson.gz"), km: importers.DefaultMaxKM,
		rules: []string{"dbh=Diameter:in", "source_id=TreeId"}, where: onlyTrees,
	}
	c := w.load(f)
	if c.Read != 39808 || c.LeftOut != 8511 || c.Read-c.LeftOut != 31297 || c.Added != c.Read-c.LeftOut-c.Quarantined {
		t.Errorf("%+v", c)
	}
	held := w.rows(`SELECT row_text::jsonb->'properties'->>'Diameter' FROM quarantine WHERE field = 'Diameter' ORDER BY 1`)
	if len(held) != 2 {
		t.Errorf("held for their diameter: %q, want the two typos", held)
	}
	w.is(`SELECT count(*) FROM quarantine WHERE field NOT IN ('Diameter', 'TreeId', 'geometry')`, "0")
	w.unmoved(func() {
		again := w.load(f)
		if again.Unchanged != c.Added || again.Quarantined != c.Quarantined || again.LeftOut != c.LeftOut {
			t.Errorf("again: %+v", again)
		}
	})

	f.where, f.site = nil, "all"
	c = w.load(f)
	if c.Read != 39808 || c.LeftOut != 0 || c.Added != c.Read-c.Quarantined {
		t.Errorf("without a filter: %+v", c)
	}
	const all = `FROM quarantine JOIN sites USING (client_id, site_id) WHERE name = 'all'`
	// 53 ids on 116 rows: the first of each is loaded.
	w.is(`SELECT field, count(*) `+all+` GROUP BY field ORDER BY field`, "Diameter|2", "TreeId|63", "geometry|2")
	w.is(`SELECT count(DISTINCT row_text::jsonb->'properties'->>'TreeId') `+all+` AND field = 'TreeId'`, "53")
	w.is(`SELECT count(*) `+all+` AND field = 'geometry' AND reason LIKE '%beside 0,0%'`, "2")
	// What no field takes stands in extra, so that nothing of the source is lost.
	w.is(`SELECT (SELECT count(*) FROM trees JOIN sites USING (client_id, site_id) WHERE name = 'all' AND extra->>'SiteType' = 'Tree')
		+ (SELECT count(*) `+all+` AND row_text::jsonb->'properties'->>'SiteType' = 'Tree')`, "31297")

	t.Run("as CSV", func(t *testing.T) {
		f := f
		f.name, f.site, f.text = "trees.csv", "csv", read(t, dir, "trees-midcambridge.csv")
		c := w.load(f)
		// 22 rows repeat an id, as a CSV reader counts them.
		if c.Read != 8959 || c.Quarantined != 22 || c.Added != c.Read-c.Quarantined {
			t.Errorf("%+v", c)
		}
		// Where both files have a tree, both give the same.
		w.is(`SELECT count(*) FILTER (WHERE a.dbh_m IS DISTINCT FROM b.dbh_m OR a.species IS DISTINCT FROM b.species OR NOT ST_DWithin(a.geometry, b.geometry, 1e-6)), count(*) > 8000
			FROM trees a JOIN trees b ON a.source_id = b.source_id AND a.site_id = (SELECT site_id FROM sites WHERE name = 'all') AND b.site_id = (SELECT site_id FROM sites WHERE name = 'csv')`, "0|t")
		f.where, f.site = onlyTrees, "filtered"
		if c := w.load(f); c.Read != 8959 || c.LeftOut != 1536 {
			t.Errorf("filtered: %+v, want the 1,536 rows left out that a CSV reader counts", c)
		}
	})
}

func TestCambridgeTargets(t *testing.T) {
	dir := cambridge(t)
	w := newTown(t)
	for _, l := range []struct {
		name, kind string
		features   int64
		invalid    int64 // as the description counts them with another engine; -1: not given
		held       int64 // lines of a single position, as a JSON reader counts them
	}{
		{"ParkingLots", "parking", 1533, 9, 0}, {"PublicFootpaths", "walkway", 471, 23, 0}, {"Roads", "road", 205, 11, 0}, {"Porches", "building", 4838, -1, 0},
		{"BusShelters", "transit_stop", 68, -1, 0}, {"Playgrounds", "playground", 67, -1, 0}, {"Centerlines", "road", 2643, -1, 0}, {"SidewalkCenterlines", "walkway", 13412, -1, 59},
	} {
		f := file{role: inventory.RoleTargets, kind: l.kind, layer: l.name, name: l.name, km: importers.DefaultMaxKM, text: read(t, dir, l.name+".geojson.gz")}
		c := w.load(f)
		if c.Read != l.features || c.Added != c.Read-l.held || c.Quarantined != l.held {
			t.Errorf("%s: %+v, want %d features, %d held", l.name, c, l.features, l.held)
		}
		// The description counts in projected coordinates; in longitude and latitude
		// one road more crosses itself.
		if l.invalid >= 0 && c.Repaired != l.invalid && !(l.name == "Roads" && c.Repaired == l.invalid+1) {
			t.Errorf("%s: %d repaired, want the %d that are invalid", l.name, c.Repaired, l.invalid)
		}
		w.is(`SELECT count(repair) FROM targets WHERE layer = '`+l.name+`'`, fmt.Sprint(c.Repaired))
		again := w.load(f)
		if again.Unchanged != c.Added || again.Repaired != c.Repaired {
			t.Errorf("%s again: %+v", l.name, again)
		}
	}
	// A hole of too few positions, which no geometry can hold, is named in the
	// repair; of all else the original is there.
	w.is(`SELECT count(*) FILTER (WHERE NOT ST_IsValid(geometry)), count(*) FILTER (WHERE repair IS NOT NULL AND geometry_as_read IS NULL AND repair NOT LIKE '%left out') FROM targets`, "0|0")
	w.is(`SELECT count(*) FROM history`, "0")
}
