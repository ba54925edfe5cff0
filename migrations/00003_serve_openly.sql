-- +goose Up

-- Sites are edited and read as of an instant like all else. What a run changes
-- of them is no edit.
ALTER TABLE sites
    ADD epsg       integer CHECK (epsg > 0),  -- projected reference system of the site; NULL = the UTM zone of its trees
    ADD version    integer NOT NULL DEFAULT 1,
    ADD changed_at timestamptz NOT NULL DEFAULT clock_timestamp(),
    ADD changed_by text NOT NULL DEFAULT session_user;
UPDATE sites SET changed_at = created_at;

CREATE TRIGGER sites_stamp BEFORE UPDATE ON sites FOR EACH ROW
    WHEN ((OLD.name, OLD.time_zone, OLD.epsg, OLD.boundary::text) IS DISTINCT FROM (NEW.name, NEW.time_zone, NEW.epsg, NEW.boundary::text))
    EXECUTE FUNCTION stamp_version();

-- +goose StatementBegin
CREATE FUNCTION note_site() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO history (client_id, collection, feature_id, version, change, before, valid_from, valid_to, actor)
    VALUES (OLD.client_id, 'sites', OLD.site_id, OLD.version, lower(TG_OP), to_jsonb(OLD) || jsonb_build_object('boundary', OLD.boundary::text),
        OLD.changed_at, CASE TG_OP WHEN 'UPDATE' THEN NEW.changed_at ELSE clock_timestamp() END, actor());
    RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER sites_update AFTER UPDATE ON sites FOR EACH ROW WHEN (OLD.version <> NEW.version) EXECUTE FUNCTION note_site();
CREATE TRIGGER sites_delete AFTER DELETE ON sites FOR EACH ROW EXECUTE FUNCTION note_site();

-- +goose StatementBegin
CREATE FUNCTION sites_at(client integer, at timestamptz) RETURNS SETOF sites LANGUAGE sql STABLE AS $$
    SELECT * FROM sites WHERE client_id = client AND changed_at <= at
    UNION ALL
    SELECT (jsonb_populate_record(NULL::sites, h.before)).* FROM history h
    WHERE h.client_id = client AND h.collection = 'sites' AND h.valid_to > at AND h.valid_from <= at
$$;
-- +goose StatementEnd

-- When the visitor asked for the next visit.
ALTER TABLE visits ADD next_visit_on date CHECK (next_visit_on >= visited_on);

-- What a tree's cuts and visits come to, so that a page of trees need not gather
-- it: kept by triggers, whoever makes the edit.
CREATE TABLE cut_marks (
    client_id   integer NOT NULL,
    tree_id     bigint NOT NULL,
    kinds       integer NOT NULL,  -- a bit each, as cut_bit says
    last_topped smallint,          -- year
    regrowth_m  real,              -- the longest recorded
    PRIMARY KEY (client_id, tree_id)
);
CREATE TABLE visit_marks (
    client_id  integer NOT NULL,
    tree_id    bigint NOT NULL,
    last_visit date NOT NULL,
    next_visit date,               -- as the latest visit asked for
    PRIMARY KEY (client_id, tree_id)
);

-- +goose StatementBegin
CREATE FUNCTION cut_bit(kind text) RETURNS integer LANGUAGE sql IMMUTABLE PARALLEL SAFE AS
$$ SELECT 1 << (array_position(ARRAY['removal', 'reduction', 'heading', 'topping', 'lion-tailing', 'flush', 'stub'], kind) - 1) $$;
-- +goose StatementEnd

-- The kinds of a set of bits.
-- +goose StatementBegin
CREATE FUNCTION cut_kinds_of(set integer) RETURNS text[] LANGUAGE sql IMMUTABLE PARALLEL SAFE AS $$
    SELECT coalesce(array_agg(word ORDER BY cut_bit(word)), '{}')
    FROM unnest(ARRAY['removal', 'reduction', 'heading', 'topping', 'lion-tailing', 'flush', 'stub']) w(word) WHERE set & cut_bit(word) <> 0
$$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE FUNCTION mark_cuts() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'INSERT' THEN
        INSERT INTO cut_marks AS m
        SELECT client_id, tree_id, bit_or(cut_bit(kind)), max(coalesce(made_year, extract(year FROM made_on))) FILTER (WHERE kind = 'topping'), max(regrowth_length_m)
        FROM new_rows GROUP BY client_id, tree_id ORDER BY client_id, tree_id
        ON CONFLICT (client_id, tree_id) DO UPDATE SET kinds = m.kinds | excluded.kinds,
            last_topped = greatest(m.last_topped, excluded.last_topped), regrowth_m = greatest(m.regrowth_m, excluded.regrowth_m);
        RETURN NULL;
    END IF;
    -- Of two who change cuts of one tree the second waits here, and then gathers
    -- what the first has left.
    PERFORM FROM cut_marks WHERE (client_id, tree_id) IN (SELECT client_id, tree_id FROM old_rows) ORDER BY client_id, tree_id FOR UPDATE;
    DELETE FROM cut_marks m WHERE (client_id, tree_id) IN (SELECT client_id, tree_id FROM old_rows)
        AND NOT EXISTS (SELECT FROM cuts c WHERE c.client_id = m.client_id AND c.tree_id = m.tree_id);
    IF TG_OP = 'UPDATE' THEN
        INSERT INTO cut_marks AS m
        SELECT client_id, tree_id, bit_or(cut_bit(kind)), max(coalesce(made_year, extract(year FROM made_on))) FILTER (WHERE kind = 'topping'), max(regrowth_length_m)
        FROM cuts WHERE (client_id, tree_id) IN (SELECT client_id, tree_id FROM old_rows UNION SELECT client_id, tree_id FROM new_rows)
        GROUP BY client_id, tree_id ORDER BY client_id, tree_id
        ON CONFLICT (client_id, tree_id) DO UPDATE SET kinds = excluded.kinds, last_topped = excluded.last_topped, regrowth_m = excluded.regrowth_m;
    ELSE
        UPDATE cut_marks m SET kinds = n.kinds, last_topped = n.last_topped, regrowth_m = n.regrowth_m
        FROM (SELECT client_id, tree_id, bit_or(cut_bit(kind)) AS kinds, max(coalesce(made_year, extract(year FROM made_on))) FILTER (WHERE kind = 'topping') AS last_topped,
                max(regrowth_length_m) AS regrowth_m
              FROM cuts WHERE (client_id, tree_id) IN (SELECT client_id, tree_id FROM old_rows) GROUP BY client_id, tree_id) n
        WHERE m.client_id = n.client_id AND m.tree_id = n.tree_id;
    END IF;
    RETURN NULL;
END $$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE FUNCTION mark_visits() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP <> 'INSERT' THEN
        PERFORM FROM visit_marks WHERE (client_id, tree_id) IN (SELECT client_id, tree_id FROM old_rows) ORDER BY client_id, tree_id FOR UPDATE;
        DELETE FROM visit_marks m WHERE (client_id, tree_id) IN (SELECT client_id, tree_id FROM old_rows)
            AND NOT EXISTS (SELECT FROM visits v WHERE v.client_id = m.client_id AND v.tree_id = m.tree_id);
    END IF;
    IF TG_OP = 'DELETE' THEN
        INSERT INTO visit_marks AS m
        SELECT DISTINCT ON (client_id, tree_id) client_id, tree_id, visited_on, next_visit_on
        FROM visits WHERE (client_id, tree_id) IN (SELECT client_id, tree_id FROM old_rows)
        ORDER BY client_id, tree_id, visited_on DESC, visit_id DESC
        ON CONFLICT (client_id, tree_id) DO UPDATE SET last_visit = excluded.last_visit, next_visit = excluded.next_visit;
    ELSIF TG_OP = 'UPDATE' THEN
        INSERT INTO visit_marks AS m
        SELECT DISTINCT ON (client_id, tree_id) client_id, tree_id, visited_on, next_visit_on
        FROM visits WHERE (client_id, tree_id) IN (SELECT client_id, tree_id FROM old_rows UNION SELECT client_id, tree_id FROM new_rows)
        ORDER BY client_id, tree_id, visited_on DESC, visit_id DESC
        ON CONFLICT (client_id, tree_id) DO UPDATE SET last_visit = excluded.last_visit, next_visit = excluded.next_visit;
    ELSE
        INSERT INTO visit_marks AS m
        SELECT DISTINCT ON (client_id, tree_id) client_id, tree_id, visited_on, next_visit_on
        FROM new_rows ORDER BY client_id, tree_id, visited_on DESC, visit_id DESC
        ON CONFLICT (client_id, tree_id) DO UPDATE SET last_visit = excluded.last_visit, next_visit = excluded.next_visit
        WHERE excluded.last_visit >= m.last_visit;
    END IF;
    RETURN NULL;
END $$;
-- +goose StatementEnd

-- +goose StatementBegin
DO $$
DECLARE
    t record;
BEGIN
    FOR t IN SELECT * FROM (VALUES ('cuts', 'mark_cuts'), ('visits', 'mark_visits')) v(name, mark)
    LOOP
        EXECUTE format('CREATE TRIGGER %1$s_mark_insert AFTER INSERT ON %1$I REFERENCING NEW TABLE AS new_rows
                        FOR EACH STATEMENT EXECUTE FUNCTION %2$I()', t.name, t.mark);
        EXECUTE format('CREATE TRIGGER %1$s_mark_update AFTER UPDATE ON %1$I REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
                        FOR EACH STATEMENT EXECUTE FUNCTION %2$I()', t.name, t.mark);
        EXECUTE format('CREATE TRIGGER %1$s_mark_delete AFTER DELETE ON %1$I REFERENCING OLD TABLE AS old_rows
                        FOR EACH STATEMENT EXECUTE FUNCTION %2$I()', t.name, t.mark);
    END LOOP;
END $$;
-- +goose StatementEnd

INSERT INTO cut_marks
SELECT client_id, tree_id, bit_or(cut_bit(kind)), max(coalesce(made_year, extract(year FROM made_on))) FILTER (WHERE kind = 'topping'), max(regrowth_length_m)
FROM cuts GROUP BY client_id, tree_id;
INSERT INTO visit_marks
SELECT DISTINCT ON (client_id, tree_id) client_id, tree_id, visited_on, next_visit_on
FROM visits ORDER BY client_id, tree_id, visited_on DESC, visit_id DESC;

-- A filter that a client keeps by name; served as a collection of its own.
CREATE TABLE questions (
    client_id  integer NOT NULL REFERENCES clients,
    name       text COLLATE "C" NOT NULL,
    title      text NOT NULL,
    collection text NOT NULL,
    filter     text NOT NULL,      -- CQL2 text
    changed_at timestamptz NOT NULL DEFAULT clock_timestamp(),
    changed_by text NOT NULL DEFAULT session_user,
    PRIMARY KEY (client_id, name)
);

-- Computations over a site as it stood at an instant. Each fills a partition of
-- its own, like a run, and is kept for those who ask again.
CREATE TABLE past_runs (
    client_id  integer NOT NULL,
    site_id    bigint NOT NULL,
    at         timestamptz NOT NULL,
    generation bigint NOT NULL,
    used_at    timestamptz NOT NULL DEFAULT clock_timestamp(),
    PRIMARY KEY (client_id, site_id, generation),
    FOREIGN KEY (client_id, site_id, generation) REFERENCES runs ON DELETE CASCADE
);

-- The ground that a whole tree can reach, as its run laid it out. What was
-- computed before is computed anew.
-- +goose StatementBegin
DO $$
DECLARE
    part regclass;
BEGIN
    FOR part IN SELECT inhrelid::regclass FROM pg_inherits WHERE inhparent = 'exposures'::regclass
    LOOP
        EXECUTE 'DROP TABLE ' || part;
    END LOOP;
END $$;
-- +goose StatementEnd
UPDATE sites SET generation = 0;
DELETE FROM runs;
ALTER TABLE exposures
    ADD ground_m           real NOT NULL,
    ADD ground_bearing_deg real NOT NULL,  -- centre of a sector
    ADD ground_width_deg   real NOT NULL;  -- 360 for a disc

-- A disc or sector on the ground as a polygon: radius in metres, bearing and
-- width in degrees clockwise from north, 64 corners to the circle. Metres to the
-- degree are the series for WGS 84, good to a centimetre a degree.
-- +goose StatementBegin
CREATE FUNCTION ground(at geometry, radius double precision, bearing double precision, width double precision) RETURNS geometry
LANGUAGE sql IMMUTABLE STRICT PARALLEL SAFE AS $$
    SELECT ST_SetSRID(ST_Translate(ST_Scale(
        CASE WHEN width >= 360 THEN ST_Buffer(ST_Point(0, 0), 1, 'quad_segs=16')
        ELSE (SELECT ST_MakePolygon(ST_MakeLine(ARRAY[ST_Point(0, 0)] || array_agg(ST_Point(sin(a), cos(a)) ORDER BY a DESC) || ARRAY[ST_Point(0, 0)]))
              FROM generate_series(0, ceil(width / 5.625)::int) i
              CROSS JOIN LATERAL (SELECT radians(bearing - width / 2 + width * i / ceil(width / 5.625)) AS a) x) END,
        radius / (111412.84 * cos(f) - 93.5 * cos(3 * f) + 0.118 * cos(5 * f)),
        radius / (111132.92 - 559.82 * cos(2 * f) + 1.175 * cos(4 * f) - 0.0023 * cos(6 * f))), ST_X(at), ST_Y(at)), 4326)
    FROM (SELECT radians(ST_Y(at)) AS f) y
$$;
-- +goose StatementEnd
