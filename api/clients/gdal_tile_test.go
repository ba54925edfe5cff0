//go:build clients

package clients_test

import (
	"fmt"
	"io"
	"log"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

var quiet = log.New(io.Discard, "", 0)

// cut is a body that ends in an error after so many bytes.
type cut struct {
	io.ReadCloser
	left int
}

func (c *cut) Read(b []byte) (int, error) {
	if c.left == 0 {
		return 0, io.ErrUnexpectedEOF
	}
	n, err := c.ReadCloser.Read(b[:min(len(b), c.left)])
	c.left -= n
	return n, err
}

// gdalTile has GDAL decode tiles of the middle of the place, and compares what is
// in them with what PostGIS has in their squares. A tile has 4096 steps a side, and
// goes on a little beyond its edge.
func gdalTile(t *testing.T, s *service) {
	const tree = `tree_id || '|' || tag || '|' || coalesce(species, '') || '|' || status`
	far := decode(t, s, 14, 5207, 9342)
	trees := far.read(t, "trees", "mvt_id, tag, species, status")
	if n := len(trees); n < 4000 {
		t.Errorf("only %d trees in the tile", n)
	}
	between(t, "trees", trees, s.sql(t, `SELECT `+tree+` FROM trees WHERE ST_Within(ST_Transform(geometry, 3857), `+far.square(-1)+`)`),
		s.sql(t, `SELECT `+tree+` FROM trees WHERE ST_Within(ST_Transform(geometry, 3857), `+far.square(200)+`)`))
	// Each part of a target has the target's id.
	const target = `target_id || '|' || kind || '|' || name`
	parts := far.read(t, "targets", "mvt_id, kind, name")
	slices.Sort(parts)
	between(t, "targets", slices.Compact(parts), s.sql(t, `SELECT `+target+` FROM targets WHERE ST_Intersects(ST_Transform(geometry, 3857), `+far.square(-1)+`)`),
		s.sql(t, `SELECT `+target+` FROM targets WHERE ST_Intersects(ST_Transform(geometry, 3857), `+far.square(200)+`)`))

	near := decode(t, s, 17, 5207*8+3, 9342*8+4)
	const zone = `tree_id || '|' || tag || '|whole tree'`
	const standing = `SELECT ` + zone + ` FROM trees WHERE status IN ('alive', 'dead') AND ST_Within(ST_Transform(geometry, 3857), `
	between(t, "zones", near.read(t, "zones", "tree_id, tag, part", "part = 'whole tree'"), s.sql(t, standing+near.square(-1)+`)`), s.sql(t, standing+near.square(200)+`)`))
}

// between finds every one of inner in got, once, and nothing that is not in outer.
func between(t *testing.T, what string, got, inner, outer []string) {
	t.Helper()
	if len(inner) == 0 {
		t.Errorf("%s: the database has none there", what)
	}
	known := map[string]int{}
	for _, row := range got {
		if known[row]++; known[row] == 2 {
			t.Errorf("%s: %s is there twice", what, row)
		}
		if !slices.Contains(outer, row) {
			t.Errorf("%s: GDAL finds %s, which is not about there", what, row)
		}
	}
	for _, row := range inner {
		if known[row] == 0 {
			t.Errorf("%s: GDAL does not find %s", what, row)
		}
	}
}

// decoded is a tile in a file.
type decoded struct {
	z, row, column int
	file           string
}

func decode(t *testing.T, s *service, z, row, column int) decoded {
	t.Helper()
	d := decoded{z, row, column, filepath.Join(t.TempDir(), "tile.mvt")}
	if err := os.WriteFile(d.file, get(t, fmt.Sprintf("%s/tiles/WebMercatorQuad/%d/%d/%d", s.url, z, row, column)), 0o644); err != nil {
		t.Fatal(err)
	}
	return d
}

// square is the tile's in SQL, by PostGIS, so many units of EPSG:3857 larger.
func (d decoded) square(by int) string {
	return fmt.Sprintf("ST_Buffer(ST_TileEnvelope(%d, %d, %d), %d)", d.z, d.column, d.row, by)
}

// read returns fields of a layer of the tile.
func (d decoded) read(t *testing.T, layer, fields string, where ...string) []string {
	t.Helper()
	sql := "SELECT " + fields + " FROM " + layer
	for _, w := range where {
		sql += " WHERE " + w
	}
	return table(t, run(t, "ogr2ogr", "-f", "CSV", "/vsistdout/", "MVT:"+d.file, "-oo", fmt.Sprint("Z=", d.z), "-oo", fmt.Sprint("Y=", d.row), "-oo", fmt.Sprint("X=", d.column),
		"-oo", "CLIP=NO", "-lco", "STRING_QUOTING=IF_NEEDED", "-sql", sql))
}
