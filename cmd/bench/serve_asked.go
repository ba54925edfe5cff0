package main

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"strconv"
	"strings"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory/tiling"
)

// addRecords gives a tenth of the trees a cut, every second of them a topping, and
// a few thousand trees a visit; then brings the exposures up to date.
func (b *bench) addRecords() error {
	var cuts int
	if err := b.conn.QueryRow(b.ctx, `SELECT count(*) FROM cuts`).Scan(&cuts); err != nil || cuts > 0 {
		return err
	}
	if err := b.exec(
		`INSERT INTO cuts (client_id, site_id, tree_id, kind, made_year, diameter_m, regrowth_length_m)
		 SELECT client_id, site_id, tree_id, CASE WHEN tree_id % 20 = 3 THEN 'topping' ELSE 'stub' END, 2004 + tree_id % 19, 0.05 + tree_id % 10 * 0.01, 0.5 + tree_id % 30 * 0.1
		 FROM trees WHERE tree_id % 10 = 3`,
		`INSERT INTO visits (client_id, site_id, tree_id, visited_on, next_visit_on, note)
		 SELECT client_id, site_id, tree_id, date '2024-03-01' + (tree_id % 300)::int, date '2026-03-01' + (tree_id % 300)::int, 'seen from the ground'
		 FROM trees ORDER BY tree_id % 397, tree_id LIMIT 3000`); err != nil {
		return err
	}
	if _, err := b.process(b.program, "rank", "--limit", "1"); err != nil {
		return err
	}
	return b.exec(`VACUUM ANALYZE`, `CHECKPOINT`)
}

// places are where walks through the pages begin.
type places struct {
	cursors []string
	after   []int64 // the ids that they come after
}

// places walks through all trees once in large pages.
func (b *bench) places(ours *server) (*places, error) {
	p := &places{}
	for path := "/collections/trees/items?limit=10000&properties=version"; path != ""; {
		body, err := once(ours.at[0], path)
		if err != nil {
			return nil, err
		}
		if path = nextOf(body); path != "" {
			_, cursor, _ := strings.Cut(path, "cursor=")
			cursor, _, _ = strings.Cut(cursor, "&")
			p.cursors, p.after = append(p.cursors, cursor), append(p.after, lastID(body))
		}
	}
	if len(p.cursors) == 0 {
		return nil, fmt.Errorf("all trees are on one page: measure with more than 10,000")
	}
	return p, nil
}

// nextOf finds the path that a page's link to the next one leads to; empty on the
// last.
func nextOf(body []byte) string {
	end := bytes.LastIndex(body, []byte(`","rel":"next"`))
	if end < 0 {
		return ""
	}
	at := bytes.LastIndex(body[:end], []byte(`"http://`)) + len(`"http://`)
	slash := bytes.IndexByte(body[at:end], '/')
	return string(body[at+slash : end])
}

// lastID finds the id of a page's last feature, however it is spaced; 0 where it
// has none.
func lastID(body []byte) (id int64) {
	at := bytes.LastIndex(body, []byte(`"Feature"`))
	if at < 0 {
		return 0
	}
	rest := body[at:]
	rest = bytes.TrimLeft(rest[bytes.Index(rest, []byte(`"id"`))+len(`"id"`):], ": ")
	id, _ = strconv.ParseInt(string(rest[:bytes.IndexByte(rest, ',')]), 10, 64)
	return id
}

// pagesInARow is how many pages a client goes on before it begins elsewhere.
const pagesInARow = 10

// pages lets clients follow the links from page to page.
func (p *places) pages(first string) func(int) asker {
	return func(i int) asker {
		r, n := rand.New(rand.NewPCG(1, uint64(i))), 0
		return func(answer []byte) string {
			if n++; answer != nil && n%pagesInARow != 0 {
				if next := nextOf(answer); next != "" {
					return next
				}
			}
			return first + "&cursor=" + p.cursors[r.IntN(len(p.cursors))]
		}
	}
}

// barePages does the same where there are no links.
func (p *places) barePages(first string, limit int) func(int) asker {
	first = fmt.Sprintf("%s?limit=%d", first, limit)
	return func(i int) asker {
		r, n := rand.New(rand.NewPCG(1, uint64(i))), 0
		return func(answer []byte) string {
			after := int64(0)
			if n++; n%pagesInARow != 0 && bytes.Count(answer, []byte(`"Feature"`)) == limit {
				after = lastID(answer)
			}
			if after == 0 {
				after = p.after[r.IntN(len(p.after))]
			}
			return first + "&after=" + strconv.FormatInt(after, 10)
		}
	}
}

// single asks for one tree after the other.
func (b *bench) single(format string) func(int) asker {
	return func(i int) asker {
		r := rand.New(rand.NewPCG(2, uint64(i)))
		return func([]byte) string { return fmt.Sprintf(format, 1+r.IntN(b.trees)) }
	}
}

func always(path string) func(int) asker {
	return func(int) asker { return func([]byte) string { return path } }
}

// oneOf asks for any of some paths.
func oneOf(paths []string, before string) func(int) asker {
	return func(i int) asker {
		r := rand.New(rand.NewPCG(3, uint64(i)))
		return func([]byte) string { return before + paths[r.IntN(len(paths))] }
	}
}

// tiles writes the paths of tiles in the middle of the town, those that are town
// all over: so few that the service can keep them all at the same time. In a small
// town it is the one in the middle, whatever else is in it.
func (b *bench) tiles(z int, format string) (paths []string) {
	side := townSide(b.targets)
	middle := tiling.Cover(orb.Bound{Min: orb.Point{lon(side / 2), lat(side / 2)}, Max: orb.Point{lon(side / 2), lat(side / 2)}}, z)
	around := map[int]int{14: 1, 16: 4}[z]
	for x := middle.MinX - around; x <= middle.MinX+around; x++ {
		for y := middle.MinY - around; y <= middle.MinY+around; y++ {
			box := tiling.Tile{Z: z, X: x, Y: y}.Degrees(0)[0]
			if box.Min[0] > lon(0) && box.Max[0] < lon(side) && box.Min[1] > lat(0) && box.Max[1] < lat(side) {
				paths = append(paths, fmt.Sprintf(format, z, x, y))
			}
		}
	}
	if paths == nil {
		paths = append(paths, fmt.Sprintf(format, z, middle.MinX, middle.MinY))
	}
	return paths
}

// tagsOf asks for paths and keeps the tags of the answers.
func tagsOf(at string, paths []string) map[string]string {
	tags := make(map[string]string)
	c, err := dial(at)
	if err != nil {
		return tags
	}
	defer c.Close()
	for _, path := range paths {
		if _, _, err := c.get(path, ""); err == nil {
			tags[path] = c.header.Get("ETag")
		}
	}
	return tags
}
