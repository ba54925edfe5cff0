//go:build clients

package clients_test

import (
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
)

// TestGDAL reads the service by the drivers of GDAL: OGC API - Features, GeoJSON
// and Mapbox Vector Tiles.
func TestGDAL(t *testing.T) {
	need(t, "ogrinfo", "ogr2ogr")
	s := serve(t)
	t.Run("lists", func(t *testing.T) { gdalLists(t, s) })
	t.Run("describes", func(t *testing.T) { gdalDescribes(t, s) })
	t.Run("pages", func(t *testing.T) { gdalPages(t, s) })
	t.Run("filters", func(t *testing.T) { gdalFilters(t, s) })
	t.Run("mixed geometries", func(t *testing.T) { gdalMixed(t, s) })
	t.Run("a page that breaks", func(t *testing.T) { gdalBroken(t, s) })
	t.Run("export", func(t *testing.T) { gdalExport(t, s) })
	t.Run("tile", func(t *testing.T) { gdalTile(t, s) })
}

func gdalLists(t *testing.T, s *service) {
	out := run(t, "ogrinfo", "-ro", "OAPIF:"+s.url)
	for _, c := range []string{"sites", "trees", "cuts", "visits", "targets", "counts", "zones", "overlaps"} {
		if !regexp.MustCompile(`(?m)^\d+: ` + c + ` \(title: `).MatchString(out) {
			t.Errorf("%s is not listed:\n%s", c, out)
		}
	}
}

// gdalDescribes asks for the summary of a layer, whose extent and count are of all
// of it, without reading it.
func gdalDescribes(t *testing.T, s *service) {
	for _, c := range []string{"trees", "cuts", "visits", "targets"} {
		s.asked() // forgets
		out := run(t, "ogrinfo", "-ro", "-so", "OAPIF:"+s.url+"/collections/"+c, c)
		asked := s.asked()
		if got, want := found(t, out, `Feature Count: (\d+)`)[0], s.one(t, "SELECT count(*) FROM "+c); got != want {
			t.Errorf("%s: GDAL counts %s features, expected %s", c, got, want)
		}
		if len(asked) > 8 {
			t.Errorf("%s: GDAL needs %d requests to count: %s…", c, len(asked), strings.Join(asked[:8], " "))
		}
		got := numbers(t, found(t, out, `Extent: \(([-\d.]+), ([-\d.]+)\) - \(([-\d.]+), ([-\d.]+)\)`)...)
		want := numbers(t, strings.Split(s.one(t, "SELECT ST_XMin(e), ST_YMin(e), ST_XMax(e), ST_YMax(e) FROM (SELECT ST_Extent(geometry) e FROM gis."+c+") x"), "|")...)
		for i := range want {
			if math.Abs(got[i]-want[i]) > 1e-6 {
				t.Errorf("%s: GDAL has the extent %v, expected %v", c, got, want)
				break
			}
		}
		if !strings.Contains(out, `ID["EPSG",4326]`) || !strings.Contains(out, "Data axis to CRS axis mapping: 2,1") {
			t.Errorf("%s: expected longitude and latitude on WGS 84:\n%.2000s", c, out)
		}
	}
}

// found returns what a pattern's groups match.
func found(t *testing.T, text, pattern string) []string {
	t.Helper()
	m := regexp.MustCompile(pattern).FindStringSubmatch(text)
	if m == nil {
		t.Fatalf("there is no %s in\n%.3000s", pattern, text)
	}
	return m[1:]
}

func numbers(t *testing.T, texts ...string) (list []float64) {
	t.Helper()
	for _, s := range texts {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, v)
	}
	return list
}

// everyTree is what a GIS must have of each tree, in the order that GDAL writes
// tables in.
const everyTree = `SELECT ST_X(geometry), ST_Y(geometry), tree_id, tag, species, dbh_cm, planted_year FROM gis.trees`

// gdalPages reads every tree, by pages of 10 as GDAL asks for by itself and by
// larger ones, into a GeoPackage.
func gdalPages(t *testing.T, s *service) {
	want := blank(s.sql(t, everyTree))
	if len(want) != 20_000 {
		t.Fatalf("%d trees", len(want))
	}
	for _, size := range []string{"", "1000"} {
		file := filepath.Join(t.TempDir(), "trees.gpkg")
		args := []string{"-f", "GPKG", file, "OAPIF:" + s.url + "/collections/trees", "trees"}
		if size != "" {
			args = append(args, "-oo", "PAGE_SIZE="+size)
		}
		// The service's ids are those of the features in the file, which must be
		// unique there.
		run(t, "ogr2ogr", append(args, "-preserve_fid", "-mapFieldType", "StringList=String")...)
		got := table(t, run(t, "ogr2ogr", "-f", "CSV", "/vsistdout/", file, "-lco", "GEOMETRY=AS_XY", "-lco", "STRING_QUOTING=IF_NEEDED",
			"-sql", "SELECT CAST(fid AS TEXT) AS tree_id, tag, species, dbh_cm, planted_year, geom FROM trees"))
		same(t, "pages of "+size, got, want)
	}
}

// blank writes null as CSV does.
func blank(rows []string) []string {
	for i, r := range rows {
		rows[i] = strings.ReplaceAll(r, "∅", "")
	}
	return rows
}

// gdalFilters asks for some of a layer in the ways that ogrinfo has.
func gdalFilters(t *testing.T, s *service) {
	box := []string{"25.2850", "54.6820", "25.2901", "54.6851"}
	within := "geometry && ST_MakeEnvelope(" + strings.Join(box, ",") + ", 4326)"
	spat := append([]string{"-spat"}, box...)
	for _, c := range []struct {
		layer string
		args  []string
		where string // in the words of the database
	}{
		{"trees", []string{"-where", "tag = 'B17'"}, "tag = 'B17'"},
		{"trees", []string{"-where", "species = 'Acer platanoides'"}, "species = 'Acer platanoides'"},
		{"trees", []string{"-where", "planted_year = 1999"}, "planted_year = 1999"},
		{"trees", []string{"-where", "height_m > 15"}, "height_m > 15"},
		{"trees", []string{"-where", "species IS NULL AND status <> 'alive'"}, "species IS NULL AND status <> 'alive'"},
		{"visits", []string{"-where", "visited_on >= '2024/06/01'"}, "visited_on >= '2024-06-01'"},
		{"visits", []string{"-where", "visited_on = '2022-03-06'"}, "visited_on = '2022-03-06'"},
		{"trees", spat, within},
		{"targets", spat, "ST_Intersects(geometry, ST_MakeEnvelope(" + strings.Join(box, ",") + ", 4326))"},
		{"trees", append([]string{"-where", "status = 'dead' AND planted_year < 1990"}, spat...), within + " AND status = 'dead' AND planted_year < 1990"},
		{"visits", append([]string{"-where", "visited_on < '2022/01/01'"}, spat...), within + " AND visited_on < '2022-01-01'"},
	} {
		key := map[string]string{"trees": "tree_id", "visits": "visit_id", "targets": "target_id"}[c.layer]
		out := run(t, "ogrinfo", slices.Concat([]string{"-ro", "-q", "-geom=NO", "-oo", "PAGE_SIZE=1000"}, c.args, []string{"OAPIF:" + s.url + "/collections/" + c.layer, c.layer})...)
		var ids []string
		for _, m := range regexp.MustCompile(`(?m)^OGRFeature\(\w+\):(\d+)$`).FindAllStringSubmatch(out, -1) {
			ids = append(ids, m[1])
		}
		same(t, c.layer+" "+strings.Join(c.args, " "), ids, s.sql(t, "SELECT "+key+" FROM gis."+c.layer+" WHERE "+c.where))
	}
}

// gdalMixed reads a layer of all types of geometry; PostGIS says whether they are
// those that are stored.
func gdalMixed(t *testing.T, s *service) {
	file := filepath.Join(t.TempDir(), "targets.gpkg")
	// GDAL takes the type of a layer from its first page.
	run(t, "ogr2ogr", "-f", "GPKG", file, "-nlt", "GEOMETRY", "-preserve_fid", "OAPIF:"+s.url+"/collections/targets", "targets")
	got := table(t, run(t, "ogr2ogr", "-f", "CSV", "/vsistdout/", file, "-lco", "GEOMETRY=AS_WKT", "-lco", "STRING_QUOTING=IF_NEEDED",
		"-sql", "SELECT CAST(fid AS TEXT) AS target_id, name, geom FROM targets"))
	var values []string
	for _, row := range got {
		cells := strings.Split(row, "|") // the shape, the id, the name
		values = append(values, fmt.Sprintf("(%s, '%s', ST_GeomFromText('%s', 4326))", cells[1], cells[2], cells[0]))
	}
	if n := s.one(t, "SELECT count(*) FROM targets"); n != fmt.Sprint(len(values)) {
		t.Fatalf("%d targets, expected %s", len(values), n)
	}
	for _, wrong := range s.sql(t, "SELECT t.target_id, t.name, ST_AsText(g.shape) FROM targets t LEFT JOIN (VALUES "+strings.Join(values, ",")+`) g(id, name, shape) ON g.id = t.target_id
		WHERE (g.name = t.name AND GeometryType(g.shape) = GeometryType(t.geometry) AND ST_NRings(g.shape) = ST_NRings(t.geometry) AND
			CASE WHEN GeometryType(t.geometry) = 'GEOMETRYCOLLECTION' THEN ST_AsText(g.shape) = ST_AsText(t.geometry) ELSE ST_Equals(g.shape, t.geometry) END) IS NOT TRUE`) {
		t.Error("GDAL has other than what is stored:", wrong)
	}
	if n := s.one(t, "SELECT count(DISTINCT GeometryType(geometry)) FROM targets"); n != "7" {
		t.Errorf("%s types of geometry are stored, expected all 7", n)
	}
}

// gdalBroken cuts the third page in half on its way: GDAL must say so, since what
// it has written by then looks whole.
func gdalBroken(t *testing.T, s *service) {
	to, err := url.Parse(s.url)
	if err != nil {
		t.Fatal(err)
	}
	var pages atomic.Int64
	proxy := httptest.NewServer(&httputil.ReverseProxy{
		Rewrite: func(r *httputil.ProxyRequest) {
			r.SetURL(to)
			r.Out.Host = r.In.Host // links lead through here
			r.Out.Header.Set("Accept-Encoding", "identity")
		},
		ModifyResponse: func(r *http.Response) error {
			if r.Request.URL.Query().Has("cursor") && pages.Add(1) == 2 {
				r.Body = &cut{r.Body, 300_000}
			}
			return nil
		},
		ErrorLog: quiet,
	})
	defer proxy.Close()
	file := filepath.Join(t.TempDir(), "trees.csv")
	said, err := exec.CommandContext(t.Context(), "ogr2ogr", "-f", "CSV", file, "OAPIF:"+proxy.URL+"/collections/trees", "trees", "-oo", "PAGE_SIZE=1000").CombinedOutput()
	if pages.Load() < 2 {
		t.Fatalf("%d pages went through the proxy: %s", pages.Load(), said)
	}
	if err == nil && !strings.Contains(string(said), "ERROR") {
		t.Errorf("GDAL takes a broken page for whole, and says: %s", said)
	}
	t.Logf("GDAL says: %.300s (%v)", said, err)
}

func gdalExport(t *testing.T, s *service) {
	want := blank(s.sql(t, everyTree))
	for _, source := range []string{"GeoJSON:" + s.url + "/collections/trees/export?f=geojson", "GeoJSONSeq:" + s.url + "/collections/trees/export?f=geojsonseq"} {
		got := table(t, run(t, "ogr2ogr", "-f", "CSV", "/vsistdout/", source, "-lco", "GEOMETRY=AS_XY", "-lco", "STRING_QUOTING=IF_NEEDED", "-dialect", "OGRSQL",
			"-sql", "SELECT FID AS tree_id, tag, species, dbh_cm, planted_year FROM "+layerOf(t, source)))
		same(t, source, got, want)
	}
}

// layerOf is the name that GDAL gives the only layer of a source.
func layerOf(t *testing.T, source string) string {
	return `"` + found(t, run(t, "ogrinfo", "-ro", "-q", source), `(?m)^1: (\S+)`)[0] + `"`
}
