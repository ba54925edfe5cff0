package importers_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/underbough/underbough/importers"
	"github.com/underbough/underbough/inventory"
)

// crownAt writes a square crown of about 8 m a side about the tree that treeAt
// puts at i, as GeoJSON and as well-known text.
func crownAt(i int, bowTie bool) (geojson, wkt string) {
	lon, lat := 8.5+float64(i)*1e-4, 47.2
	corners := [][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}}
	if bowTie {
		corners[1], corners[2] = corners[2], corners[1]
	}
	var a, b []string
	for _, c := range append(corners, corners[0]) {
		x, y := fmt.Sprintf("%.7f", lon+c[0]*5e-5), fmt.Sprintf("%.7f", lat+c[1]*4e-5)
		a, b = append(a, "["+x+","+y+"]"), append(b, x+" "+y)
	}
	return `{"type":"Polygon","coordinates":[[` + strings.Join(a, ",") + `]]}`, "POLYGON ((" + strings.Join(b, ", ") + "))"
}

// areas is what the trees' crowns cover, square metres, by PostGIS.
const areas = `SELECT tag, GeometryType(crown), round(ST_Area(crown::geography)) FROM trees ORDER BY tag`

// Where 1e-4 degrees of longitude are 7.58 m and 8e-5 of latitude 8.90 m (the
// metre per degree of WGS 84 at 47.2°), a crown is 67 m² and its bow tie half.
func TestCrowns(t *testing.T) {
	for _, road := range []string{"straight in", "merged"} {
		t.Run(road, func(t *testing.T) {
			w := newTown(t)
			if road == "merged" {
				w.load(file{text: table("tag", "0"), site: "elsewhere"})
				w.exec(`DELETE FROM trees`)
				w.exec(`INSERT INTO trees (client_id, site_id, tag, status, geometry) VALUES (1, 1, 'z', 'removed', 'SRID=4326;POINT(8.5 47.2)')`)
			}
			plain, wkt := crownAt(1, false)
			bow, _ := crownAt(2, true)
			far, _ := crownAt(9, false)
			crown3, _ := crownAt(3, false)
			crown9, _ := crownAt(9, false)
			multi := strings.Replace(strings.Replace(crown9, "Polygon", "MultiPolygon", 1), "[[[", "[[[[", 1)
			multi = strings.Replace(multi, "]]]", "]]]]", 1)
			f := file{text: collection(
				treeAt(1, `"tag":"1","crown":`+plain),
				treeAt(2, `"tag":"2","crown":`+bow+`,"cuts":[{"kind":"stub"}]`),
				feature(`"tag":"3","lon":8.5003,"lat":"47.2"`, crown3), // drawn as its crown
				treeAt(4, `"tag":"4","crown":"broad"`),                 // another crown
				treeAt(5, `"tag":"5","crown":null`),
				treeAt(1, `"tag":"6","crown":"`+wkt+`"`),
				treeAt(9, `"tag":"7","crown":`+multi),
				// And those that cannot be.
				treeAt(4, `"tag":"b1","crown":`+far),
				feature(`"tag":"b2"`, crown3),
				treeAt(4, `"tag":"b3","crown":{"type":"Polygon","coordinates":[[[8.5,47.2],[8.502,47.2],[8.502,47.202],[8.5,47.2]]]}`),
				treeAt(4, `"tag":"b4","crown":{"type":"Polygon","coordinates":[[[8.5004,47.2],[8.50041,47.2],[8.5004,47.2],[8.5004,47.2]]]},"cuts":[{"kind":"stub"}]`),
				treeAt(4, `"tag":"b5","crown":{"type":"LineString","coordinates":[[8.5004,47.2],[8.50041,47.2]]}`),
				treeAt(4, `"tag":"b6","crown":{"type":"Polygon","coordinates":[[[8.5004,47.2],[8.50041,47.2],[8.5004,47.21]]]}`),
				feature(`"tag":"b7","lon":8.5003,"lat":"north"`, crown3),
				treeAt(4, `"tag":"b8","crown":"POLYGON ((8.5 47.2, 8.51"`),
			)}
			c := w.want(f, 15, 7, 0, 0, 0, 8)
			if c.Repaired != 1 || c.CutsAdded != 1 {
				t.Errorf("%+v", c)
			}
			want := []string{"1|POLYGON|67", "2|MULTIPOLYGON|34", "3|POLYGON|67", "4|∅|∅", "5|∅|∅", "6|POLYGON|67", "7|MULTIPOLYGON|67"}
			if road == "merged" {
				want = append(want, "z|∅|∅")
			}
			w.is(areas, want...)
			w.is(`SELECT tag, ST_AsText(geometry), extra->>'crown', extra->>'lon' FROM trees WHERE tag IN ('3', '4') ORDER BY 1`, "3|POINT(8.5003 47.2)|∅|8.5003", "4|POINT(8.5004 47.2)|broad|∅")
			w.is(`SELECT count(*) FROM trees WHERE NOT ST_IsValid(crown) OR version > 1`, "0")
			held := w.held()
			for i, want := range []string{
				"8|crown|the middle of the crown lies 38 m from the stem", "9|geometry|a Polygon: expected a Point; where it is the crown", "10|crown|the outline is 22",
				"11|crown|the shape covers no ground", "12|crown|a LineString: expected the outline", `13|crown|"Polygon": ring 1: the ring is not closed`,
				`14|lat|coordinate "north" is not a number`, "15|crown|well-known text",
			} {
				if i >= len(held) || !strings.HasPrefix(held[i], want) {
					t.Errorf("held: %q, want %s", held, want)
				}
			}
			w.unmoved(func() { w.want(f, 15, 0, 0, 7, 0, 8) })
			// A file without crowns takes none away, nor does an empty one.
			w.want(file{text: collection(treeAt(1, `"tag":"1","species":"Acer"`), treeAt(2, `"tag":"2","crown":null`))}, 2, 0, 1, 1, 0, 0)
			w.is(areas, want...)
			w.want(file{text: collection(treeAt(1, `"tag":"1","crown":`+crownOf(1, true)))}, 1, 0, 1, 0, 0, 0)
			w.is(`SELECT count(*) FROM history WHERE (before->>'crown')::geometry IS NOT NULL AND feature_id = (SELECT tree_id FROM trees WHERE tag = '1')`, "2")
		})
	}
}

func crownOf(i int, bowTie bool) string {
	g, _ := crownAt(i, bowTie)
	return g
}

func TestCrownColumns(t *testing.T) {
	w := newTown(t)
	_, first := crownAt(0, false)
	_, second := crownAt(1, false)
	w.want(file{text: "lon,lat,tag,geometry\n8.5,47.2,1,\"" + first + "\"\n8.5001,47.2,2,POINT (8.5001 47.2)\n8.5002,47.2,3,\n"}, 3, 3, 0, 0, 0, 0)
	w.want(file{text: "E,N,tag,outline\n8.5001,47.2,2,\"SRID=4326;" + second + "\"\n8.5001,47.2,4,broad\n", rules: []string{"crown=outline"},
		open: importers.OpenOptions{Longitude: "E", Latitude: "N"}}, 2, 0, 1, 0, 0, 1)
	w.is(areas, "1|POLYGON|67", "2|POLYGON|67", "3|∅|∅")
	w.want(file{text: collection(feature(`"tag":"5","E":8.5,"N":47.2`, crownOf(0, false))), open: importers.OpenOptions{Longitude: "E", Latitude: "N"}}, 1, 1, 0, 0, 0, 0)
	w.is(`SELECT ST_AsText(geometry) FROM trees WHERE tag = '5'`, "POINT(8.5 47.2)")
}

// Crowns of their own, as a flight over the town gives them.
func TestCrownsOfTreesThatAreThere(t *testing.T) {
	w := newTown(t)
	w.load(file{text: table("id,tag,status", "A,1,", "B,2,", "C,3,removed", "D,4,", "E,5,")})
	w.exec(`INSERT INTO trees (client_id, site_id, tag, geometry) VALUES (1, 1, '6', 'SRID=4326;POINT(8.500402 47.2)')`)
	f := file{role: inventory.RoleCrowns, text: collection(
		feature(`"tree_id":"A","seen":2025`, crownOf(0, false)),
		feature(`"tag":"2"`, crownOf(1, true)),
		feature(``, crownOf(3, false)),                                       // D stands within it
		feature(``, crownOf(4, false)),                                       // E and 6 do
		feature(``, crownOf(2, false)),                                       // C is gone
		feature(`"tag":"2"`, crownOf(1, false)),                              // the second of one tree
		feature(`"tag":"9"`, crownOf(4, false)),                              // no tree
		feature(`"tag":"5"`, crownOf(0, false)),                              // 30 m off
		feature(`"tag":"5"`, crownOf(9, false)),                              // 38 m off
		feature(`"tag":"5"`, `{"type":"Point","coordinates":[8.5004,47.2]}`), // no crown
	)}
	c := w.want(f, 10, 0, 3, 0, 0, 7)
	if c.Repaired != 1 {
		t.Errorf("%+v", c)
	}
	w.is(areas, "1|POLYGON|67", "2|MULTIPOLYGON|34", "3|∅|∅", "4|POLYGON|67", "5|∅|∅", "6|∅|∅")
	held := w.held()
	for i, want := range []string{
		"4|geometry|the crown names no tree, and 2 standing trees are within it", "5|geometry|the crown names no tree, and 0 standing trees", "6|tree|the crown of this tree is that of record 2 already",
		"7|tree|no tree of this site has the tag or source id 9", "8|geometry|the middle of the crown lies more than 30 m", "9|geometry|the middle of the crown lies more than 30 m", "10|geometry|a Point: expected the outline",
	} {
		if i >= len(held) || !strings.HasPrefix(held[i], want) {
			t.Errorf("held: %q, want %s", held, want)
		}
	}
	w.unmoved(func() { w.want(f, 10, 0, 0, 3, 0, 7) })
	w.is(`SELECT count(*) FROM history WHERE change = 'update' AND collection = 'trees'`, "3")
	if _, err := w.try(file{role: inventory.RoleCrowns, text: "tag\n1\n"}); err == nil || !strings.Contains(err.Error(), "no columns of coordinates") {
		t.Error(err)
	}
}
