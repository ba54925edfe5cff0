package main

import (
	"fmt"
	"time"
)

// best is the best single statement we know for the sum of people under each
// crown: both tables projected beforehand, GiST, only pairs that meet, the
// clipping spared where a disc or a target lies wholly inside the other, and
// parallel workers. The buffer of 32 corners is PostGIS's own idea of a disc.
const best = `
CREATE TABLE sql_people AS
SELECT t.tree_id, sum(CASE
	WHEN g.area AND ST_Contains(g.geom, t.disc) THEN pi() * t.r ^ 2 * g.density
	WHEN g.area THEN ST_Area(ST_Intersection(t.disc, g.geom)) * g.density
	WHEN ST_Contains(t.disc, g.geom) THEN ST_Length(g.geom) * g.density
	ELSE ST_Length(ST_Intersection(t.disc, g.geom)) * g.density END) AS people
FROM (SELECT tree_id, geom, r, ST_Buffer(geom, r, 8) AS disc FROM sql_trees) t
JOIN sql_targets g ON ST_DWithin(t.geom, g.geom, t.r)
GROUP BY t.tree_id`

// exposures runs the full computation and the statement.
func (b *bench) exposures(program string, sql bool) error {
	if _, err := b.process(program, "import", b.targetsFile(), "--site", "bench", "--as", "targets"); err != nil {
		return err
	}
	if err := b.exec(`VACUUM ANALYZE trees`, `VACUUM ANALYZE targets`, `CHECKPOINT`); err != nil {
		return err
	}
	fmt.Printf("\nfull run: exposure, likelihood, harm and rating of every tree, written back\n")
	var ours []measured
	for range b.runs {
		// The data have not changed, so the run has to be asked for.
		if err := b.exec(`INSERT INTO touched (client_id, site_id) SELECT client_id, site_id FROM sites`); err != nil {
			return err
		}
		m, err := b.process(program, "rank", "--limit", "1")
		if err != nil {
			return err
		}
		fmt.Printf("  ours     %v\n", m)
		ours = append(ours, m)
	}
	var overlaps int64
	if err := b.conn.QueryRow(b.ctx, `SELECT overlap_count FROM runs ORDER BY generation DESC LIMIT 1`).Scan(&overlaps); err != nil {
		return err
	}
	fmt.Printf("  overlaps %d, two zones a tree\n", overlaps)
	var floors []measured
	for range b.runs {
		wall, err := b.floor()
		if err != nil {
			return err
		}
		fmt.Printf("  floor    %6.2f s wall (the same rows read and written, nothing computed)\n", wall.Seconds())
		floors = append(floors, measured{wall: wall})
	}
	fmt.Printf("  ratio of medians: we take %.2f times as long as the floor\n", median(ours).Seconds()/median(floors).Seconds())
	if !sql {
		if b.editsEach == 0 {
			return nil
		}
		if err := b.project(); err != nil {
			return err
		}
		// Edits by hand only need something to keep up to date.
		if err := b.exec(`CREATE TABLE sql_people AS SELECT tree_id, 0::float8 AS people FROM sql_trees`); err != nil {
			return err
		}
		return b.edits(b.editsEach)
	}
	prepared, wall, err := b.statement()
	if err != nil {
		return err
	}
	fmt.Printf("  SQL      %6.2f s wall (crown only; after %.2f s of projecting and indexing, not counted)\n", wall.Seconds(), prepared.Seconds())
	fmt.Printf("  ratio to our median: SQL takes %.1f times as long\n", wall.Seconds()/median(ours).Seconds())
	if err := b.agree(); err != nil || b.editsEach == 0 {
		return err
	}
	return b.edits(b.editsEach)
}

// statement prepares the projected tables and times that and the statement.
func (b *bench) statement() (prepared, wall time.Duration, err error) {
	begin := time.Now()
	if err := b.project(); err != nil {
		return 0, 0, err
	}
	prepared = time.Since(begin)
	start := time.Now()
	err = b.exec(best)
	return prepared, time.Since(start), err
}

// project makes the tables that the statement works on.
func (b *bench) project() error {
	return b.exec(
		`SET max_parallel_workers_per_gather = 2; SET max_parallel_workers = 8; SET work_mem = '256MB'; SET parallel_setup_cost = 0; SET parallel_tuple_cost = 0; SET min_parallel_table_scan_size = 0; SET jit = off`,
		`CREATE TABLE sql_trees AS SELECT tree_id, ST_Transform(geometry, 32632) AS geom, crown_radius_m AS r, height_m AS h FROM trees`,
		`CREATE TABLE sql_targets AS SELECT target_id, ST_Transform(geometry, 32632) AS geom, ST_Dimension(geometry) = 2 AS area,
			CASE WHEN ST_Dimension(geometry) = 2 THEN people_present / ST_Area(geometry::geography)
			     ELSE people_per_hour / 3600 / 1.2 END AS density FROM targets`,
		`CREATE INDEX ON sql_targets USING gist (geom)`,
		`VACUUM ANALYZE sql_trees`, `VACUUM ANALYZE sql_targets`)
}

// agree compares both results: row by row against the statement, and on a
// sample against a disc of 1,024 corners, which is what the truth is taken from.
func (b *bench) agree() error {
	const floor = 0.001 // people; below it a sliver's relative error says nothing
	var rows, within int64
	var largest float64
	err := b.conn.QueryRow(b.ctx, `
		WITH pair AS (
			SELECT coalesce(s.people, 0) a, e.people b FROM exposures e JOIN sites USING (client_id, generation) LEFT JOIN sql_people s USING (tree_id))
		SELECT count(*), count(*) FILTER (WHERE abs(a - b) <= 0.02 * greatest(a, b) OR greatest(a, b) < $1), coalesce(max(abs(a - b) / nullif(greatest(a, b), 0)) FILTER (WHERE greatest(a, b) >= $1), 0) FROM pair`,
		floor).Scan(&rows, &within, &largest)
	if err != nil {
		return err
	}
	fmt.Printf("\nagreement with the statement (32 corners): %d rows, %d within 2 %% or below %v people, largest difference %.2f %%\n", rows, within, floor, largest*100)
	var n int64
	var mean float64
	// The disc is drawn on a plane about each tree, so that the projection's
	// scale plays no part.
	err = b.conn.QueryRow(b.ctx, `
		WITH sample AS MATERIALIZED (
			SELECT tree_id, s.r, t.geometry, '+proj=aeqd +lat_0=' || ST_Y(t.geometry) || ' +lon_0=' || ST_X(t.geometry) || ' +datum=WGS84 +units=m' AS plane
			FROM (SELECT * FROM sql_trees ORDER BY md5(tree_id::text) LIMIT 3000) s JOIN trees t USING (tree_id)),
		fine AS (
			SELECT s.tree_id, sum(g.density * CASE WHEN g.area THEN ST_Area(c.clip) ELSE ST_Length(c.clip) END) AS people
			FROM sample s
			JOIN targets w ON w.geometry && ST_Expand(s.geometry, s.r / 60000)
			JOIN sql_targets g USING (target_id)
			CROSS JOIN LATERAL (SELECT ST_Intersection(ST_Buffer('POINT(0 0)'::geometry, s.r, 256), ST_SetSRID(ST_Transform(w.geometry, s.plane), 0)) AS clip) c
			GROUP BY s.tree_id),
		pair AS (SELECT f.people a, e.people b FROM fine f JOIN exposures e USING (tree_id) JOIN sites USING (client_id, generation) WHERE greatest(f.people, e.people) >= $1)
		SELECT count(*), coalesce(avg(abs(a - b) / greatest(a, b)), 0), coalesce(max(abs(a - b) / greatest(a, b)), 0) FROM pair`, floor).Scan(&n, &mean, &largest)
	if err != nil {
		return err
	}
	fmt.Printf("agreement with a disc of 1,024 corners on a sample: %d trees with %v people or more, mean difference %.1e, largest %.1e\n", n, floor, mean, largest)
	return nil
}
