package postgres

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

const jobSelect = `j.job_id, j.client_id, j.site_id, j.tree_id, coalesce(j.tag, ''), coalesce(j.programme_id, 0), j.specification_id, p.body, j.visit, j.year, j.package, j.work,
	j.state, j.must, j.gates, j.hours, j.cost, j.dose, j.open_days, j.quietest, j.harm_before, j.harm_predicted, j.harm_after, j.completion,
	ST_X(coalesce(t.geometry, j.geometry)), ST_Y(coalesce(t.geometry, j.geometry)), j.version, j.changed_at, j.changed_by, j.urgent, coalesce(t.status, ''),
	coalesce((SELECT min(v.at) FROM job_events v WHERE v.client_id = j.client_id AND v.job_id = j.job_id), j.changed_at)`

// jobFrom joins what a job's columns are read from.
func jobFrom(src source) string {
	return ` FROM ` + src.from("jobs", "j") + ` JOIN specifications p ON p.client_id = j.client_id AND p.specification_id = j.specification_id
	LEFT JOIN ` + src.from("trees", "t") + ` ON t.client_id = j.client_id AND t.tree_id = j.tree_id`
}

func scanJob(row pgx.CollectableRow) (inventory.Job, error) {
	var j inventory.Job
	var body, gates, completion []byte
	var after *float64
	var at orb.Point
	err := row.Scan(&j.ID, &j.Client, &j.Site, &j.Tree, &j.Tag, &j.Programme, &j.SpecificationID, &body, &j.Visit, &j.Year, &j.Package, &j.Work,
		&j.State, &j.Must, &gates, &j.Hours, &j.Cost, &j.Dose, &j.Open, &j.Quietest, &j.HarmBefore, &j.HarmPredicted, &after, &completion,
		&at[0], &at[1], &j.Version, &j.ChangedAt, &j.ChangedBy, &j.Urgent, &j.TreeStatus, &j.MadeAt)
	if err != nil {
		return j, err
	}
	j.Specification, j.HarmAfter, j.Point = body, opt(after), at
	if err := json.Unmarshal(gates, &j.Gates); err != nil {
		return j, fmt.Errorf("gates of job %d: %w", j.ID, err)
	}
	if completion != nil {
		j.Completion = &inventory.Completion{}
		if err := json.Unmarshal(completion, j.Completion); err != nil {
			return j, fmt.Errorf("completion of job %d: %w", j.ID, err)
		}
	}
	return j, nil
}

// FindJobs returns jobs by year, package, tag and number.
func (db *DB) FindJobs(ctx context.Context, q inventory.JobQuery) (list []inventory.Job, err error) {
	src := sourceOf(ctx, q.Client)
	err = db.reading(ctx, func(tx pgx.Tx) error {
		list, err = findJobs(ctx, tx, src, q)
		return err
	})
	return list, err
}

func findJobs(ctx context.Context, tx pgx.Tx, src source, q inventory.JobQuery) ([]inventory.Job, error) {
	limit := any(nil)
	if q.Limit > 0 {
		limit = q.Limit
	}
	rows, err := tx.Query(ctx, `SELECT `+jobSelect+jobFrom(src)+`
		WHERE j.client_id = $1 AND ($2 = 0 OR j.site_id = $2) AND ($3::bigint[] IS NULL OR j.job_id = ANY($3)) AND ($4::text[] IS NULL OR j.state = ANY($4))
			AND ($5 = 0 OR j.year = $5) AND ($6 = '' OR j.package = $6) AND ($7 = 0 OR j.programme_id = $7) AND ($8 = 0 OR j.tree_id = $8)
			AND ($10::bigint[] IS NULL OR j.tree_id = ANY($10))
		ORDER BY j.year, j.package COLLATE "C", j.tag COLLATE "C" NULLS LAST, j.visit, j.job_id LIMIT $9`,
		q.Client, int64(q.Site), q.IDs, textsOrNil(q.States), q.Year, q.Package, int64(q.Programme), int64(q.Tree), limit, q.Trees)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, scanJob)
}

// textsOrNil is nil, which stands for any, where a list is empty.
func textsOrNil[T ~string](list []T) []string {
	if len(list) == 0 {
		return nil
	}
	return texts(list)
}

// JobEvents returns the steps of jobs in their order.
func (db *DB) JobEvents(ctx context.Context, client inventory.ClientID, jobs []int64) (list []inventory.JobEvent, err error) {
	err = db.reading(ctx, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT job_id, at, by, coalesce(from_state, ''), to_state, reason FROM job_events
			WHERE client_id = $1 AND job_id = ANY($2) AND at <= $3 ORDER BY event_id`, client, jobs, until(ctx))
		if err != nil {
			return err
		}
		list, err = pgx.CollectRows(rows, pgx.RowToStructByPos[inventory.JobEvent])
		return err
	})
	return list, err
}

// ChangeJob changes one job and what goes with it, in one transaction; others who
// change it wait. version is the one that the change was made from; the change is
// refused with ErrChanged where the job is at another. actor is who the history
// names.
func (db *DB) ChangeJob(ctx context.Context, client inventory.ClientID, id inventory.JobID, actor string, version inventory.Opt[int], change func(*inventory.Job) (*inventory.JobChange, error)) (*inventory.Job, error) {
	var changed *inventory.Job
	err := db.inTx(ctx, pgx.TxOptions{}, func(tx pgx.Tx) error {
		if err := setActor(ctx, tx, actor); err != nil {
			return err
		}
		if _, err := tx.Exec(ctx, `SELECT FROM jobs WHERE client_id = $1 AND job_id = $2 FOR UPDATE`, client, id); err != nil {
			return err
		}
		one := inventory.JobQuery{Client: client, IDs: []int64{int64(id)}}
		list, err := findJobs(ctx, tx, source{client: client}, one)
		if err != nil {
			return err
		}
		if len(list) == 0 {
			return inventory.Errorf(inventory.NotFound, "there is no job %d", id)
		}
		j, before := &list[0], list[0].State
		if version.OK && version.V != j.Version {
			return inventory.Errorf(inventory.Conflict, "job %d is at version %d, and the change was made from %d: look at it again: %w", id, j.Version, version.V, inventory.ErrChanged)
		}
		with, err := change(j)
		if err != nil {
			return err
		}
		if with == nil {
			with = &inventory.JobChange{}
		}
		if with.Effects != nil {
			if err := applyWork(ctx, tx, j, with.Effects); err != nil {
				return err
			}
		}
		if with.Visit != nil {
			if err := addWorkVisit(ctx, tx, j, *with.Visit, fmt.Sprintf("check:%d", j.Version)); err != nil {
				return err
			}
		}
		if with.Effects != nil && with.Effects.Removed {
			if err := withdrawOthers(ctx, tx, j, actor); err != nil {
				return err
			}
		}
		if err := writeJob(ctx, tx, j); err != nil {
			return err
		}
		if before != j.State || with.Reason != "" {
			if err := addEvent(ctx, tx, j, before, actor, with.Reason); err != nil {
				return err
			}
		}
		if list, err = findJobs(ctx, tx, source{client: client}, one); err != nil {
			return err
		}
		changed = &list[0]
		return nil
	})
	return changed, err
}

// withdrawOthers gives up what else was planned on a tree that was taken down.
func withdrawOthers(ctx context.Context, tx pgx.Tx, j *inventory.Job, actor string) error {
	_, err := tx.Exec(ctx, `
		WITH open AS (SELECT job_id, state FROM jobs WHERE client_id = $1 AND tree_id = $2 AND job_id <> $3 AND state IN ('proposed', 'approved', 'in hand') FOR UPDATE),
		gone AS (UPDATE jobs SET state = 'withdrawn' WHERE client_id = $1 AND job_id IN (SELECT job_id FROM open))
		INSERT INTO job_events (client_id, job_id, by, from_state, to_state, reason) SELECT $1, job_id, $4, state, 'withdrawn', $5 FROM open`,
		j.Client, j.Tree, j.ID, actor, fmt.Sprintf("the tree was taken down by job %d", j.ID))
	return err
}

func addEvent(ctx context.Context, tx pgx.Tx, j *inventory.Job, from inventory.JobState, by, reason string) error {
	_, err := tx.Exec(ctx, `INSERT INTO job_events (client_id, job_id, by, from_state, to_state, reason) VALUES ($1, $2, coalesce(nullif($3, ''), actor()), nullif($4, ''), $5, $6)`,
		j.Client, j.ID, by, from, j.State, reason)
	return err
}

func writeJob(ctx context.Context, tx pgx.Tx, j *inventory.Job) error {
	gates, err := jsonList(j.Gates)
	if err != nil {
		return err
	}
	var completion []byte
	var on *time.Time
	var by *string
	defects := 0
	if j.Completion != nil {
		if completion, err = json.Marshal(j.Completion); err != nil {
			return err
		}
		on, by, defects = &j.Completion.On, &j.Completion.By, len(j.Completion.Standing())
	}
	var after *float64
	if j.HarmAfter.OK {
		after = &j.HarmAfter.V
	}
	_, err = tx.Exec(ctx, `UPDATE jobs SET state = $3, year = $4, package = $5, gates = $6, completion = $7, done_on = $8, done_by = $9, defects = $10, harm_after = $11, must = $12, urgent = $13, open_days = $14
		WHERE client_id = $1 AND job_id = $2`, j.Client, j.ID, j.State, j.Year, j.Package, gates, completion, on, by, defects, after, j.Must, j.Urgent, j.Open)
	return err
}

// jsonList writes a list as JSON, an empty one where it is nil.
func jsonList[T any](list []T) ([]byte, error) {
	if list == nil {
		list = []T{}
	}
	return json.Marshal(list)
}

// SetHarmAfter keeps what was computed of trees once their work had been checked.
func (db *DB) SetHarmAfter(ctx context.Context, client inventory.ClientID, actor string, harm map[inventory.JobID]float64) error {
	return db.inTx(ctx, pgx.TxOptions{}, func(tx pgx.Tx) error {
		if err := setActor(ctx, tx, actor); err != nil {
			return err
		}
		ids, figures := make([]int64, 0, len(harm)), make([]float64, 0, len(harm))
		for id, h := range harm {
			ids, figures = append(ids, int64(id)), append(figures, h)
		}
		_, err := tx.Exec(ctx, `UPDATE jobs j SET harm_after = n.harm FROM unnest($2::bigint[], $3::float8[]) n(id, harm)
			WHERE j.client_id = $1 AND j.job_id = n.id`, client, ids, figures)
		return err
	})
}

// Propose makes the jobs of a programme, with their specifications. Jobs of the
// site that were proposed before and that nobody agreed to yet are withdrawn.
func (db *DB) Propose(ctx context.Context, site inventory.Site, programme inventory.ProgrammeID, jobs []inventory.NewJob, actor string) (withdrawn int, err error) {
	err = db.inTx(ctx, pgx.TxOptions{}, func(tx pgx.Tx) error {
		if err := setActor(ctx, tx, actor); err != nil {
			return err
		}
		var digest string
		var proposed *time.Time
		err := tx.QueryRow(ctx, `SELECT practice_digest, proposed_at FROM programmes WHERE client_id = $1 AND programme_id = $2 AND site_id = $3 FOR UPDATE`,
			site.Client, programme, site.ID).Scan(&digest, &proposed)
		if errors.Is(err, pgx.ErrNoRows) {
			return inventory.Errorf(inventory.NotFound, "there is no programme %d of site %q", programme, site.Name)
		}
		if err != nil {
			return err
		}
		if proposed != nil {
			return inventory.Errorf(inventory.Conflict, "the jobs of programme %d were made on %s: make a new programme to plan again", programme, proposed.UTC().Format(time.DateOnly))
		}
		// One at a time for a site: the jobs of another would be withdrawn unseen.
		if _, err := tx.Exec(ctx, `SELECT FROM sites WHERE client_id = $1 AND site_id = $2 FOR NO KEY UPDATE`, site.Client, site.ID); err != nil {
			return err
		}
		reason := fmt.Sprintf("replaced by programme %d", programme)
		done, err := tx.Exec(ctx, `
			WITH old AS (UPDATE jobs SET state = 'withdrawn' WHERE client_id = $1 AND site_id = $2 AND state = 'proposed' AND programme_id IS NOT NULL RETURNING job_id)
			INSERT INTO job_events (client_id, job_id, by, from_state, to_state, reason) SELECT $1, job_id, $3, 'proposed', 'withdrawn', $4 FROM old`,
			site.Client, site.ID, actor, reason)
		if err != nil {
			return err
		}
		withdrawn = int(done.RowsAffected())
		if err := addJobs(ctx, tx, site, programme, jobs, digest, actor); err != nil {
			return err
		}
		_, err = tx.Exec(ctx, `UPDATE programmes SET proposed_at = clock_timestamp() WHERE client_id = $1 AND programme_id = $2`, site.Client, programme)
		return err
	})
	return withdrawn, err
}

// addJobs copies jobs in, their specifications first. Numbers are taken ahead, so
// that rows can refer to one another.
func addJobs(ctx context.Context, tx pgx.Tx, site inventory.Site, programme inventory.ProgrammeID, jobs []inventory.NewJob, practiceDigest, actor string) error {
	var bodies [][]any
	at := make(map[inventory.TreeID]int64)
	ids, err := takeNumbers(ctx, tx, "specifications", "specification_id", len(jobs))
	if err != nil {
		return err
	}
	for i := range jobs {
		j := &jobs[i]
		if j.Body == nil {
			continue
		}
		id, ok := at[j.Tree]
		if !ok {
			id = ids[i]
			at[j.Tree] = id
			bodies = append(bodies, []any{int32(site.Client), id, int64(site.ID), int64(j.Tree), string(j.Body), practiceDigest, actor})
		}
		j.SpecificationID = inventory.SpecificationID(id)
	}
	if _, err := tx.CopyFrom(ctx, pgx.Identifier{"specifications"}, []string{"client_id", "specification_id", "site_id", "tree_id", "body", "practice_digest", "made_by"}, pgx.CopyFromRows(bodies)); err != nil {
		return err
	}
	if ids, err = takeNumbers(ctx, tx, "jobs", "job_id", len(jobs)); err != nil {
		return err
	}
	for i := range jobs {
		jobs[i].ID = inventory.JobID(ids[i])
	}
	b := &pgx.Batch{}
	for i := range jobs {
		j := &jobs[i]
		gates, err := jsonList(j.Gates)
		if err != nil {
			return err
		}
		b.Queue(`INSERT INTO jobs (client_id, job_id, site_id, tree_id, tag, programme_id, specification_id, visit, year, package, work, must, urgent, gates, hours, cost, dose,
				open_days, quietest, harm_before, harm_predicted, geometry)
			VALUES ($1, $2, $3, $4, nullif($5, ''), nullif($6::bigint, 0), $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, ST_SetSRID(ST_Point($22, $23), 4326))`,
			site.Client, j.ID, site.ID, j.Tree, j.Tag, programme, j.SpecificationID, j.Visit, j.Year, j.Package, j.Work, j.Must, j.Urgent, gates, j.Hours, j.Cost, j.Dose,
			j.Open, j.Quietest, j.HarmBefore, j.HarmPredicted, j.Point[0], j.Point[1])
	}
	if err := tx.SendBatch(ctx, b).Close(); err != nil {
		return err
	}
	reason := ""
	if programme != 0 {
		reason = fmt.Sprintf("programme %d", programme)
	}
	_, err = tx.Exec(ctx, `INSERT INTO job_events (client_id, job_id, by, to_state, reason) SELECT $1, id, $3, 'proposed', $4 FROM unnest($2::bigint[]) WITH ORDINALITY n(id, place) ORDER BY place`,
		site.Client, ids, actor, reason)
	return err
}

// takeNumbers takes n numbers of a table's key.
func takeNumbers(ctx context.Context, tx pgx.Tx, table, key string, n int) ([]int64, error) {
	rows, err := tx.Query(ctx, `SELECT nextval(pg_get_serial_sequence($1, $2)) FROM generate_series(1, $3)`, table, key, n)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowTo[int64])
}

// AddJob makes one job by hand, with its specification.
func (db *DB) AddJob(ctx context.Context, site inventory.Site, j *inventory.NewJob, p *practice.Practice, actor string) error {
	return db.inTx(ctx, pgx.TxOptions{}, func(tx pgx.Tx) error {
		if err := setActor(ctx, tx, actor); err != nil {
			return err
		}
		if err := savePractice(ctx, tx, site.Client, p); err != nil {
			return err
		}
		list := []inventory.NewJob{*j}
		err := addJobs(ctx, tx, site, 0, list, p.Digest, actor)
		*j = list[0]
		return err
	})
}
