package main

import (
	"fmt"
	"os"
	"slices"
)

// imports loads the trees' file with ours and with ogr2ogr in turn, each into an
// empty table with its indexes made, and keeps ours.
func (b *bench) imports(program string) error {
	info, err := os.Stat(b.treesFile())
	if err != nil {
		return err
	}
	fmt.Printf("\nimport of %d trees from %d MB of GeoJSON, into an empty database, indexes included\n", b.trees, info.Size()>>20)
	var ours, theirs []measured
	for i := range b.runs {
		if err := b.exec(`DROP SCHEMA public CASCADE`, `DROP SCHEMA IF EXISTS gis CASCADE`, `CREATE SCHEMA public`, `CREATE EXTENSION postgis`); err != nil {
			return err
		}
		// The schema is made beforehand: only the import is measured.
		if _, err := b.process(program, "quarantine"); err != nil {
			return err
		}
		m, err := b.process(program, "import", b.treesFile(), "--site", "bench", "--as", "trees")
		if err != nil {
			return err
		}
		fmt.Printf("  ours     %v (validates, matches ids, four indexes and a foreign key)\n", m)
		ours = append(ours, m)
		if i%2 == 1 || !b.ogr {
			continue
		}
		if err := b.exec(`DROP TABLE IF EXISTS ogr_trees`, `CHECKPOINT`); err != nil {
			return err
		}
		m, err = b.process("ogr2ogr", "--config", "PG_USE_COPY", "YES", "-f", "PostgreSQL", "PG:"+b.dsn(), b.treesFile(), "-nln", "ogr_trees", "-lco", "GEOMETRY_NAME=geometry")
		if err != nil {
			return err
		}
		fmt.Printf("  ogr2ogr  %v (COPY, primary key, spatial index)\n", m)
		theirs = append(theirs, m)
		if err := b.exec(`DROP TABLE ogr_trees`, `CHECKPOINT`); err != nil {
			return err
		}
	}
	if !b.ogr {
		return nil
	}
	fmt.Printf("  ratio of medians: ogr2ogr takes %.1f times as long\n", median(theirs).Seconds()/median(ours).Seconds())
	return nil
}

// dsn is the connection in the form that GDAL reads.
func (b *bench) dsn() string {
	c := b.conn.Config()
	return fmt.Sprintf("host=%s port=%d dbname=%s user=%s", c.Host, c.Port, c.Database, c.User)
}

func median(list []measured) (d interface{ Seconds() float64 }) {
	sorted := slices.Clone(list)
	slices.SortFunc(sorted, func(a, b measured) int { return int(a.wall - b.wall) })
	return sorted[len(sorted)/2].wall
}
