package main

import (
	"bytes"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// exported is one export of all trees.
type exported struct {
	took, first time.Duration // whole, and until the first byte of its body
	bytes       int64
	grown       int64 // how much more memory the server took at most
}

func (e exported) String() string {
	return fmt.Sprintf("%6.2f s, %6.1f MB at %6.1f MB/s, first byte after %5.1f ms, %3d MB more in memory", e.took.Seconds(), float64(e.bytes)/1e6,
		float64(e.bytes)/1e6/e.took.Seconds(), e.first.Seconds()*1000, e.grown>>20)
}

// exporter is one that all trees are asked of.
type exporter struct {
	name, path string
	server     *server
	list       []exported
}

// exports measures all trees as GeoJSON: ours, the floor and ogr2ogr with the same
// columns.
func (b *bench) exports(ours, floor *server) error {
	fmt.Printf("\nexport of %d trees as GeoJSON, one client\n", b.trees)
	sources := []*exporter{
		{name: "ours", path: "/collections/trees/export", server: ours},
		{name: "floor", path: "/go/export", server: floor},
	}
	for i := range b.runs {
		for _, s := range sources {
			var wait func() error
			if b.profiles != "" && i == 0 {
				wait = s.server.profile(filepath.Join(b.profiles, strings.ReplaceAll(fmt.Sprintf("%d export %s.pprof", b.trees, s.name), " ", "-")), max(1, b.trees/400_000))
			}
			e, err := s.server.export(s.path)
			if err != nil {
				return fmt.Errorf("export, %s: %w", s.name, err)
			}
			if wait != nil {
				if err := wait(); err != nil {
					return err
				}
			}
			fmt.Printf("  %-22s %v\n", s.name, e)
			s.list = append(s.list, e)
		}
	}
	mine, bare := sources[0].median(), sources[1].median()
	fmt.Printf("  ratio of medians: %.2f of the floor (0.90 wanted)\n", bare.Seconds()/mine.Seconds())
	if !b.ogr {
		return nil
	}
	return b.ogrExports(mine)
}

// ogrExports lets ogr2ogr write the same rows: codes and sets as numbers, without
// the metres of what is under the crown, which is the least work for it; and all
// that the service serves, which SQL has to put into words.
func (b *bench) ogrExports(mine time.Duration) error {
	p, err := newBare(b.ctx, b.url)
	if err != nil {
		return err
	}
	defer p.pool.Close()
	file := filepath.Join(b.dir, "trees-export.geojson")
	for _, words := range []bool{false, true} {
		list, name := []string{"t.tree_id AS id", "t.geometry"}, "ogr2ogr, codes"
		for _, f := range p.fields {
			column := f.column
			switch {
			case words:
				name, column = "ogr2ogr, words", f.served
			case f.name == "over":
				column = "e.over"
			case column == "e.amounts":
				continue
			}
			list = append(list, column+" AS "+f.name)
		}
		m, err := b.process("ogr2ogr", "-f", "GeoJSON", file, "PG:"+b.dsn(), "-sql", "SELECT "+strings.Join(list, ", ")+p.from+" ORDER BY t.tree_id", "-nln", "trees")
		if err != nil {
			return err
		}
		size := int64(0)
		if info, err := os.Stat(file); err == nil {
			size = info.Size()
		}
		fmt.Printf("  %-22s %v, %.1f MB written\n", name, m, float64(size)/1e6)
		fmt.Printf("  %-22s takes %.1f times as long as our median (8 wanted)\n", "", m.wall.Seconds()/mine.Seconds())
		if err := os.Remove(file); err != nil {
			return err
		}
	}
	return nil
}

func (s *exporter) median() time.Duration {
	sorted := slices.SortedFunc(slices.Values(s.list), func(a, b exported) int { return int(a.took - b.took) })
	return sorted[len(sorted)/2].took
}

// export asks for all and throws it away as it comes.
func (s *server) export(path string) (e exported, err error) {
	before, _ := s.memory()
	if err := s.resetMost(); err != nil {
		return e, err
	}
	start := time.Now()
	c, err := net.Dial("tcp", s.at[0])
	if err != nil {
		return e, err
	}
	defer c.Close()
	// Without keeping the connection the end of the answer is its end.
	if _, err := fmt.Fprintf(c, "GET %s HTTP/1.0\r\nHost: %s\r\n\r\n", path, s.at[0]); err != nil {
		return e, err
	}
	buf, head, last := make([]byte, 256<<10), true, byte(0)
	for {
		n, err := c.Read(buf)
		if head && n > 0 {
			status, rest, ended := strings.Cut(string(buf[:n]), "\r\n\r\n")
			if !strings.Contains(status, " 200 ") || !ended {
				return e, fmt.Errorf("answered: %.300s", buf[:n])
			}
			head = false
			if n = copy(buf, rest); n == 0 {
				continue
			}
		}
		if e.bytes == 0 && n > 0 {
			e.first = time.Since(start)
		}
		e.bytes += int64(n)
		if text := bytes.TrimSpace(buf[:n]); len(text) > 0 {
			last = text[len(text)-1]
		}
		if err == io.EOF {
			break
		}
		if err != nil {
			return e, err
		}
	}
	e.took = time.Since(start)
	if last != '}' {
		return e, fmt.Errorf("%s was cut off after %d bytes", path, e.bytes)
	}
	_, most := s.memory()
	e.grown = max(0, most-before)
	return e, nil
}
