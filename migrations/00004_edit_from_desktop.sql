-- +goose Up

-- Editing straight from a desktop GIS, psql or any other program that speaks
-- SQL: plain views with the names and units that are served, one whole-number
-- key and one geometry each. The HTTP service writes through them too, so that
-- one set of rules holds for every path. The triggers here find the site and the
-- tree, turn units, and refuse in plain words; history, marks of what was touched
-- and the notification come from the tables' own triggers, as for any edit.
CREATE SCHEMA gis;

-- The client of a session: that of the setting underbough.client, or the first.
-- +goose StatementBegin
CREATE FUNCTION gis.client() RETURNS integer LANGUAGE plpgsql STABLE SECURITY DEFINER AS $$
DECLARE
    wanted text := nullif(current_setting('underbough.client', true), '');
    id integer;
BEGIN
    IF wanted IS NULL THEN
        RETURN (SELECT min(client_id) FROM clients);
    END IF;
    SELECT client_id INTO id FROM clients WHERE name = wanted;
    IF id IS NULL THEN
        RAISE EXCEPTION 'there is no client %: SET underbough.client to one of %', wanted, (SELECT string_agg(name, ', ' ORDER BY name) FROM clients)
            USING ERRCODE = 'invalid_parameter_value';
    END IF;
    RETURN id;
END $$;
-- +goose StatementEnd

-- Who edits: the program that holds the tables may say for whom; anyone else is
-- the role that was logged in with.
-- +goose StatementBegin
CREATE OR REPLACE FUNCTION actor() RETURNS text LANGUAGE sql STABLE AS $$
    SELECT coalesce(CASE WHEN has_table_privilege(session_user, 'trees', 'UPDATE') THEN nullif(current_setting('underbough.actor', true), '') END, session_user::text)
$$;
-- +goose StatementEnd

-- What no path may store: places that are none, and days that no calendar here
-- has. A row with a coordinate that is no number could not even be taken away
-- again, since the history cannot write it. Boxes pass over such a coordinate;
-- lengths do not. The checks are those that cost least: measured, 300,000 polygons
-- of 13 corners take 0.2 s more to load. Rows of before stay as they are.
ALTER TABLE trees
    ADD CONSTRAINT trees_place CHECK ((abs(ST_X(geometry)) <= 180 AND abs(ST_Y(geometry)) <= 90) IS TRUE) NOT VALID,
    ADD CONSTRAINT trees_crown_place CHECK (crown IS NULL OR (crown @ ST_MakeEnvelope(-180, -90, 180, 90, 4326) AND ST_Perimeter2D(crown) < 1e9) IS TRUE) NOT VALID,
    ADD CONSTRAINT trees_planted CHECK (planted_year BETWEEN 1 AND 9999) NOT VALID;
ALTER TABLE targets ADD CONSTRAINT targets_place CHECK ((geometry @ ST_MakeEnvelope(-180, -90, 180, 90, 4326) AND CASE
    WHEN GeometryType(geometry) LIKE '%POLYGON' THEN ST_Perimeter2D(geometry) < 1e9
    WHEN GeometryType(geometry) LIKE '%LINESTRING' THEN ST_Length2D(geometry) < 1e9
    ELSE ST_AsText(geometry) NOT LIKE '%NaN%' END) IS TRUE) NOT VALID;
ALTER TABLE sites ADD CONSTRAINT sites_place CHECK (boundary IS NULL OR (boundary @ ST_MakeEnvelope(-180, -90, 180, 90, 4326) AND ST_Perimeter2D(boundary) < 1e9) IS TRUE) NOT VALID;
ALTER TABLE cuts ADD CONSTRAINT cuts_dated CHECK (made_on BETWEEN '1000-01-01' AND '9999-12-31' AND made_year BETWEEN 1 AND 9999) NOT VALID;
ALTER TABLE visits ADD CONSTRAINT visits_dated CHECK (visited_on BETWEEN '1000-01-01' AND '9999-12-31' AND next_visit_on BETWEEN '1000-01-01' AND '9999-12-31') NOT VALID;
ALTER TABLE counts ADD CONSTRAINT counts_dated CHECK (counted_at BETWEEN '1000-01-01' AND '9999-12-31 23:00') NOT VALID;

-- +goose StatementBegin
CREATE FUNCTION check_time_zone() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NOT EXISTS (SELECT FROM pg_timezone_names WHERE name = NEW.time_zone) THEN
        RAISE EXCEPTION 'site %: time_zone is %: expected an IANA name such as Europe/Vilnius', left(NEW.name, 60), left(NEW.time_zone, 60)
            USING ERRCODE = 'invalid_parameter_value', COLUMN = 'time_zone';
    END IF;
    RETURN NEW;
END $$;
-- +goose StatementEnd
CREATE TRIGGER sites_zone_new BEFORE INSERT ON sites FOR EACH ROW WHEN (NEW.time_zone <> 'UTC') EXECUTE FUNCTION check_time_zone();
CREATE TRIGGER sites_zone BEFORE UPDATE OF time_zone ON sites FOR EACH ROW WHEN (NEW.time_zone <> OLD.time_zone AND NEW.time_zone <> 'UTC') EXECUTE FUNCTION check_time_zone();

-- The lateral rule for every path: a cut to a lateral of less than a third of its
-- own diameter is a heading cut whatever it was called; what it was called is
-- kept. Other kinds say more than the rule can. inventory.ClassByLateral and the
-- importers say the same; a test holds them together.
-- +goose StatementBegin
CREATE FUNCTION class_by_lateral() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    given text := coalesce(NEW.given_kind, NEW.kind);
    class text;
BEGIN
    -- An edit of the kind alone says anew what the cut is called.
    IF TG_OP = 'UPDATE' AND NEW.kind IS DISTINCT FROM OLD.kind AND NEW.given_kind IS NOT DISTINCT FROM OLD.given_kind THEN
        given := NEW.kind;
    END IF;
    IF given IS NULL OR given IN ('reduction', 'heading') THEN
        IF NEW.diameter_m > 0 AND NEW.lateral_diameter_m >= 0 THEN
            class := CASE WHEN NEW.lateral_diameter_m >= NEW.diameter_m * (1.0::float8 / 3) - 1e-12 * NEW.diameter_m THEN 'reduction' ELSE 'heading' END;
        END IF;
    END IF;
    NEW.kind := coalesce(class, given);
    NEW.given_kind := nullif(given, NEW.kind);
    RETURN NEW;
END $$;
-- +goose StatementEnd
CREATE TRIGGER cuts_class_new BEFORE INSERT ON cuts FOR EACH ROW
    WHEN ((NEW.kind IS NULL OR NEW.kind IN ('reduction', 'heading')) AND NEW.diameter_m > 0 AND NEW.lateral_diameter_m >= 0)
    EXECUTE FUNCTION class_by_lateral();
CREATE TRIGGER cuts_class BEFORE UPDATE OF kind, given_kind, diameter_m, lateral_diameter_m ON cuts FOR EACH ROW
    EXECUTE FUNCTION class_by_lateral();

CREATE VIEW gis.sites AS
SELECT s.site_id, s.name, s.time_zone, s.epsg, s.generation, r.computed_at, r.profile_name AS profile,
    s.version, s.changed_at, s.changed_by, s.boundary AS geometry
FROM sites s LEFT JOIN runs r ON r.client_id = s.client_id AND r.site_id = s.site_id AND r.generation = s.generation
WHERE s.client_id = (SELECT gis.client());

-- Figures in centimetres are rounded where binary fractions end: 45.3 reads 45.3.
CREATE VIEW gis.trees AS
SELECT t.tree_id, s.name AS site, t.tag, t.source_id, t.species, t.common_name, t.status,
    round((t.dbh_m * 100)::numeric, 9)::float8 AS dbh_cm, t.stems::integer AS stems, t.height_m, t.crown_radius_m, t.condition,
    t.planted_year::integer AS planted_year, t.lean_deg, t.lean_bearing_deg, t.brittle, t.extra,
    t.crown IS NOT NULL AS crown_surveyed,
    CASE WHEN e.tree_id IS NOT NULL THEN (SELECT coalesce(string_agg(k.kind, ', ' ORDER BY k.place), '') FROM amounts(e.amounts) k) END AS over,
    e.people::float8 + e.people_in_vehicles AS people, e.vehicles::float8 AS vehicles,
    l.word AS likelihood,
    u.word AS rule,
    e.harm * 1000 AS harm_index,
    a.word AS rating,
    t.version, t.changed_at, t.changed_by, t.geometry
FROM trees t
JOIN sites s ON s.client_id = t.client_id AND s.site_id = t.site_id
LEFT JOIN exposures e ON e.client_id = t.client_id AND e.generation = s.generation AND e.tree_id = t.tree_id
LEFT JOIN words l ON l.list = 'likelihood' AND l.code = e.likelihood
LEFT JOIN words u ON u.list = 'rule' AND u.code = e.rule
LEFT JOIN words a ON a.list = 'rating' AND a.code = e.rating
WHERE t.client_id = (SELECT gis.client());

CREATE VIEW gis.cuts AS
SELECT c.cut_id, s.name AS site, c.tree_id, t.tag, c.source_id, c.kind, c.given_kind, c.made_year::integer AS made_year, c.made_on, c.count,
    round((c.diameter_m * 100)::numeric, 9)::float8 AS diameter_cm, round((c.lateral_diameter_m * 100)::numeric, 9)::float8 AS lateral_diameter_cm,
    c.height_m, c.bearing_deg, c.reach_m, c.stub_length_m, c.closure, c.decay, c.regrowth_length_m, c.regrowth_count,
    round((c.regrowth_diameter_m * 100)::numeric, 9)::float8 AS regrowth_diameter_cm, c.bare_share, c.extra,
    c.version, c.changed_at, c.changed_by, t.geometry
FROM cuts c
JOIN trees t ON t.client_id = c.client_id AND t.tree_id = c.tree_id
JOIN sites s ON s.client_id = t.client_id AND s.site_id = t.site_id
WHERE c.client_id = (SELECT gis.client());

CREATE VIEW gis.visits AS
SELECT v.visit_id, s.name AS site, v.tree_id, t.tag, v.source_id, v.visited_on, v.visited_by, v.condition, v.whole_tree, v.crown, v.limb,
    v.note, v.next_visit_on, round((v.dbh_m * 100)::numeric, 9)::float8 AS dbh_cm, v.height_m, v.crown_radius_m,
    round((v.stem_diameter_m * 100)::numeric, 9)::float8 AS stem_diameter_cm, round((v.decay_diameter_m * 100)::numeric, 9)::float8 AS decay_diameter_cm,
    round((v.sound_wall_m * 100)::numeric, 9)::float8 AS sound_wall_cm, v.opening_share, v.other_points::integer AS other_points, v.extra,
    v.version, v.changed_at, v.changed_by, t.geometry
FROM visits v
JOIN trees t ON t.client_id = v.client_id AND t.tree_id = v.tree_id
JOIN sites s ON s.client_id = t.client_id AND s.site_id = t.site_id
WHERE v.client_id = (SELECT gis.client());

CREATE VIEW gis.targets AS
SELECT g.target_id, s.name AS site, g.source_id, g.name, g.kind, g.people_per_hour, g.people_present, g.dwell_minutes, g.vehicles_per_day,
    g.speed_mps, g.stalls, g.share_occupied, g.turnover_per_day, g.hours, g.sheltered, g.extra, g.layer, g.repair,
    g.version, g.changed_at, g.changed_by, g.geometry
FROM targets g
JOIN sites s ON s.client_id = g.client_id AND s.site_id = g.site_id
WHERE g.client_id = (SELECT gis.client());

CREATE VIEW gis.counts AS
SELECT n.count_id, s.name AS site, n.target_id, g.name, g.kind, n.counted_at, n.people, n.vehicles, n.extra,
    n.version, n.changed_at, n.changed_by, g.geometry
FROM counts n
JOIN targets g ON g.client_id = n.client_id AND g.target_id = n.target_id
JOIN sites s ON s.client_id = g.client_id AND s.site_id = g.site_id
WHERE n.client_id = (SELECT gis.client());

-- The fault of a field, in words. COLUMN carries the field's name, for programs.
-- Checks are assigned to something rather than performed: what a person is told
-- beside the words is then a line a function and no SQL.
-- +goose StatementBegin
CREATE FUNCTION gis.refuse(record text, field text, fault text) RETURNS text LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '%: % %', record, field, fault USING ERRCODE = 'invalid_parameter_value', COLUMN = field;
END $$;
-- +goose StatementEnd

-- A value as a fault repeats it.
-- +goose StatementBegin
CREATE FUNCTION gis.short(value text) RETURNS text LANGUAGE sql IMMUTABLE STRICT PARALLEL SAFE AS
$$ SELECT CASE WHEN length(value) > 60 THEN left(value, 59) || '…' ELSE value END $$;
-- +goose StatementEnd

-- What a field's figure must lie between. The tables hold the same limits, in
-- their own units and without the words.
-- +goose StatementBegin
CREATE FUNCTION gis.limits(view text) RETURNS TABLE (field text, low float8, high float8, ends text) LANGUAGE sql IMMUTABLE AS $$
    SELECT l.field, l.low, l.high, l.ends FROM (VALUES
        ('trees', 'dbh_cm', 0, 1500, '()'), ('trees', 'stems', 1, 32767, '[]'), ('trees', 'height_m', 0, 130, '()'), ('trees', 'crown_radius_m', 0, 50, '()'),
        ('trees', 'planted_year', 1000, 2200, '[]'), ('trees', 'lean_deg', 0, 90, '[]'), ('trees', 'lean_bearing_deg', 0, 360, '[)'),
        ('cuts', 'made_year', 1500, 2200, '[]'), ('cuts', 'count', 1, 2147483647, '[]'), ('cuts', 'diameter_cm', 0, 1500, '()'), ('cuts', 'lateral_diameter_cm', 0, 1500, '[)'),
        ('cuts', 'height_m', 0, 130, '[)'), ('cuts', 'bearing_deg', 0, 360, '[)'), ('cuts', 'reach_m', 0, 100, '[)'), ('cuts', 'stub_length_m', 0, 50, '[)'),
        ('cuts', 'closure', 0, 1, '[]'), ('cuts', 'regrowth_length_m', 0, 130, '[)'), ('cuts', 'regrowth_count', 0, 2147483647, '[]'),
        ('cuts', 'regrowth_diameter_cm', 0, 1500, '[)'), ('cuts', 'bare_share', 0, 1, '[]'),
        ('visits', 'dbh_cm', 0, 1500, '()'), ('visits', 'height_m', 0, 130, '()'), ('visits', 'crown_radius_m', 0, 50, '()'), ('visits', 'stem_diameter_cm', 0, 1500, '()'),
        ('visits', 'decay_diameter_cm', 0, 1500, '[)'), ('visits', 'sound_wall_cm', 0, 1500, '[)'), ('visits', 'opening_share', 0, 1, '[]'), ('visits', 'other_points', 0, 2, '[]'),
        ('targets', 'people_per_hour', 0, 1e9, '[)'), ('targets', 'people_present', 0, 1e9, '[)'), ('targets', 'dwell_minutes', 0, 1e9, '[)'), ('targets', 'vehicles_per_day', 0, 1e9, '[)'),
        ('targets', 'speed_mps', 0, 1000, '()'), ('targets', 'stalls', 0, 1e9, '[)'), ('targets', 'share_occupied', 0, 1, '[]'), ('targets', 'turnover_per_day', 0, 1e9, '[)'),
        ('counts', 'people', 0, 1e9, '[)'), ('counts', 'vehicles', 0, 1e9, '[)')) l(of, field, low, high, ends)
    WHERE l.of = view
$$;
-- +goose StatementEnd

-- The words that a field is one of.
-- +goose StatementBegin
CREATE FUNCTION gis.choices(view text) RETURNS TABLE (field text, words text[], needed boolean) LANGUAGE sql IMMUTABLE AS $$
    SELECT c.field, c.words, c.needed FROM (VALUES
        ('trees', 'status', ARRAY['alive', 'dead', 'stump', 'removed', 'vacant'], true),
        ('cuts', 'kind', ARRAY['removal', 'reduction', 'heading', 'topping', 'lion-tailing', 'flush', 'stub'], false),
        ('visits', 'whole_tree', ARRAY['improbable', 'possible', 'probable', 'imminent'], false),
        ('visits', 'crown', ARRAY['improbable', 'possible', 'probable', 'imminent'], false),
        ('visits', 'limb', ARRAY['improbable', 'possible', 'probable', 'imminent'], false),
        ('targets', 'kind', ARRAY['parking', 'walkway', 'road', 'building', 'playground', 'seating', 'transit_stop', 'plaza', 'utility_line', 'other'], true)) c(of, field, words, needed)
    WHERE c.of = view
$$;
-- +goose StatementEnd

-- Looks at what an edit changes; before is NULL for a new record. fixed are the
-- fields that nobody edits: they may come back as they are, and stay empty in a
-- new record.
-- +goose StatementBegin
CREATE FUNCTION gis.check_edit(view text, record text, before jsonb, after jsonb, fixed text[]) RETURNS text LANGUAGE plpgsql AS $$
DECLARE
    fine text;
    f text;
    l record;
    v float8;
BEGIN
    FOREACH f IN ARRAY fixed LOOP
        IF coalesce(after -> f, 'null') IS DISTINCT FROM coalesce(before -> f, 'null') AND (before IS NOT NULL OR coalesce(after -> f, 'null') <> 'null') THEN
            fine := gis.refuse(record, f, 'is not edited here: ' || CASE WHEN before IS NULL THEN 'leave it empty' ELSE format('leave it at %s', coalesce(gis.short(before ->> f), 'nothing')) END);
        END IF;
    END LOOP;
    FOR l IN SELECT * FROM gis.limits(view) LOOP
        v := (after ->> l.field)::float8;
        IF v IS NULL OR after -> l.field = before -> l.field THEN
            CONTINUE;
        END IF;
        -- Not a number counts as more than any.
        IF NOT (CASE WHEN l.ends ^@ '(' THEN v > l.low ELSE v >= l.low END AND CASE WHEN right(l.ends, 1) = ')' THEN v < l.high ELSE v <= l.high END) THEN
            fine := gis.refuse(record, l.field, format('is %s: expected %s %s and %s %s', after ->> l.field,
                CASE WHEN l.ends ^@ '(' THEN 'above' ELSE 'at least' END, l.low, CASE WHEN right(l.ends, 1) = ')' THEN 'below' ELSE 'at most' END, l.high));
        END IF;
    END LOOP;
    FOR l IN SELECT * FROM gis.choices(view) LOOP
        f := after ->> l.field;
        IF f IS NULL AND l.needed THEN
            fine := gis.refuse(record, l.field, 'is empty: expected one of ' || array_to_string(l.words, ', '));
        ELSIF f <> ALL (l.words) AND f IS DISTINCT FROM before ->> l.field THEN
            fine := gis.refuse(record, l.field, format('is %s: expected one of %s', gis.short(f), array_to_string(l.words, ', ')));
        END IF;
    END LOOP;
    FOREACH f IN ARRAY ARRAY['made_on', 'visited_on', 'next_visit_on', 'counted_at'] LOOP
        IF after -> f <> 'null' AND after -> f IS DISTINCT FROM before -> f AND NOT (after ->> f)::timestamp BETWEEN '1000-01-01' AND '9999-12-31 23:59:59' THEN
            fine := gis.refuse(record, f, format('is %s: expected a day from 1000-01-01 to 9999-12-31', after ->> f));
        END IF;
    END LOOP;
    FOR l IN SELECT t.key, length(t.value) AS long, CASE t.key WHEN 'note' THEN 10000 WHEN 'tag' THEN 500 WHEN 'source_id' THEN 500 ELSE 1000 END AS most
             FROM jsonb_each_text(after) t WHERE jsonb_typeof(after -> t.key) = 'string' AND after -> t.key IS DISTINCT FROM before -> t.key LOOP
        IF l.long > l.most THEN
            fine := gis.refuse(record, l.key, format('is %s characters long: %s at most', l.long, l.most));
        END IF;
    END LOOP;
    IF jsonb_typeof(after -> 'extra') NOT IN ('object', 'null') THEN
        fine := gis.refuse(record, 'extra', format('is a JSON %s: expected an object', jsonb_typeof(after -> 'extra')));
    END IF;
    RETURN NULL;
END $$;
-- +goose StatementEnd

-- Looks at the place or shape of a record.
-- +goose StatementBegin
CREATE FUNCTION gis.check_shape(record text, shape geometry) RETURNS text LANGUAGE plpgsql AS $$
DECLARE
    fine text;
BEGIN
    IF shape IS NULL OR ST_IsEmpty(shape) THEN
        fine := gis.refuse(record, 'geometry', 'is empty: draw it');
    ELSIF ST_AsText(shape) LIKE '%NaN%' THEN
        fine := gis.refuse(record, 'geometry', 'has a coordinate that is no number: draw it anew');
    ELSIF NOT (ST_XMin(shape) >= -180 AND ST_XMax(shape) <= 180 AND ST_YMin(shape) >= -90 AND ST_YMax(shape) <= 90) THEN
        fine := gis.refuse(record, 'geometry', format('reaches from %s %s to %s %s: expected degrees, longitude from -180 to 180 first, latitude from -90 to 90 second',
            ST_XMin(shape), ST_YMin(shape), ST_XMax(shape), ST_YMax(shape)));
    ELSIF ST_Dimension(shape) > 0 AND NOT ST_IsValid(shape) THEN
        fine := gis.refuse(record, 'geometry', 'is no valid shape: ' || ST_IsValidReason(shape));
    END IF;
    RETURN NULL;
END $$;
-- +goose StatementEnd

-- The key that an import finds a record by is its source id: a record made by
-- hand has it too, so that no import makes it a second time. key is that of the
-- record id at a site; where another has it already, the two would become one.
-- +goose StatementBegin
CREATE FUNCTION gis.check_key(what text, client integer, record text, site bigint, id bigint, source text, key text) RETURNS text LANGUAGE plpgsql AS $$
DECLARE
    other bigint;
BEGIN
    IF what = 'tree' THEN
        SELECT tree_id INTO other FROM trees WHERE client_id = client AND site_id = site AND match_key = key AND tree_id IS DISTINCT FROM id;
    ELSE
        SELECT target_id INTO other FROM targets WHERE client_id = client AND site_id = site AND match_key = key AND target_id IS DISTINCT FROM id;
    END IF;
    IF other IS NOT NULL THEN
        RAISE EXCEPTION '%: source_id is %, and % % of the site has it: change that one, or give another', record, gis.short(coalesce(source, key)), what, other
            USING ERRCODE = 'unique_violation', COLUMN = 'source_id';
    END IF;
    RETURN NULL;
END $$;
-- +goose StatementEnd

-- Whether a shape came back as it was served: to seven decimals of a degree, outer
-- rings anticlockwise.
-- +goose StatementBegin
CREATE FUNCTION gis.same_shape(kept geometry, given geometry) RETURNS boolean LANGUAGE sql IMMUTABLE AS
$$ SELECT ST_OrderingEquals(ST_SnapToGrid(ST_ForcePolygonCCW(kept), 1e-7), ST_SnapToGrid(ST_ForcePolygonCCW(given), 1e-7)) $$;
-- +goose StatementEnd

-- The site of a name; without a name the only one, or the only one whose
-- boundary holds the place.
-- +goose StatementBegin
CREATE FUNCTION gis.site_of(client integer, record text, wanted text, place geometry) RETURNS bigint LANGUAGE plpgsql AS $$
DECLARE
    fine text;
    ids bigint[];
    names text := coalesce((SELECT string_agg(name, ', ' ORDER BY name) FROM (SELECT name FROM sites WHERE client_id = client ORDER BY name LIMIT 20) n), 'none yet: add one first');
BEGIN
    IF wanted IS NOT NULL THEN
        ids := ARRAY(SELECT site_id FROM sites WHERE client_id = client AND name = wanted);
        IF cardinality(ids) = 0 THEN
            fine := gis.refuse(record, 'site', format('is %s, and there is no such site: there is %s', gis.short(wanted), names));
        END IF;
        RETURN ids[1];
    END IF;
    ids := ARRAY(SELECT site_id FROM sites WHERE client_id = client LIMIT 2);
    IF cardinality(ids) = 0 THEN
        fine := gis.refuse(record, 'site', 'is empty, and there is no site yet: add one first');
    ELSIF cardinality(ids) > 1 THEN
        ids := ARRAY(SELECT site_id FROM sites WHERE client_id = client AND ST_Intersects(boundary, place));
    END IF;
    IF cardinality(ids) <> 1 THEN
        fine := gis.refuse(record, 'site', format('is empty, and %s hold the place within their boundary: say which of %s',
            CASE cardinality(ids) WHEN 0 THEN 'no sites' ELSE cardinality(ids) || ' sites' END, names));
    END IF;
    RETURN ids[1];
END $$;
-- +goose StatementEnd

-- The tree that a new cut or visit is of: by its id, by its tag and site, or by
-- a point that was snapped to it.
-- +goose StatementBegin
CREATE FUNCTION gis.tree_of(client integer, record text, id bigint, wanted_tag text, wanted_site text, place geometry, OUT tree trees) LANGUAGE plpgsql AS $$
DECLARE
    fine text;
    ids bigint[] := ARRAY[id];
    site bigint;
BEGIN
    IF wanted_site IS NOT NULL THEN
        site := gis.site_of(client, record, wanted_site, NULL);
    END IF;
    IF id IS NULL AND wanted_tag IS NOT NULL THEN
        ids := ARRAY(SELECT tree_id FROM trees t WHERE t.client_id = client AND t.tag = wanted_tag
            AND t.site_id IN (SELECT s.site_id FROM sites s WHERE s.client_id = client AND (site IS NULL OR s.site_id = site)) LIMIT 20);
        IF cardinality(ids) = 0 THEN
            fine := gis.refuse(record, 'tag', format('is %s, and no tree%s has it', gis.short(wanted_tag), coalesce(' of ' || gis.short(wanted_site), '')));
        ELSIF cardinality(ids) > 1 THEN
            fine := gis.refuse(record, 'tag', format('is %s, and several trees have it: give the tree_id of one of %s', gis.short(wanted_tag), array_to_string(ids, ', ')));
        END IF;
    ELSIF id IS NULL AND place IS NOT NULL THEN
        ids := ARRAY(SELECT tree_id FROM trees t WHERE t.client_id = client AND (site IS NULL OR t.site_id = site) AND ST_DWithin(t.geometry, place, 1e-7) LIMIT 2);
        IF cardinality(ids) <> 1 THEN
            fine := gis.refuse(record, 'geometry', CASE cardinality(ids) WHEN 0 THEN 'is at no tree' ELSE 'is at several trees' END || ': snap it to a tree''s point, or give tree_id or tag');
        END IF;
    ELSIF id IS NULL THEN
        fine := gis.refuse(record, 'tree_id', 'is empty, and so is tag: say which tree it is of');
    END IF;
    SELECT t.* INTO tree FROM trees t WHERE t.client_id = client AND t.tree_id = ids[1];
    IF tree.tree_id IS NULL THEN
        fine := gis.refuse(record, 'tree_id', format('is %s, and there is no such tree', id));
    ELSIF id IS NOT NULL AND wanted_tag IS NOT NULL AND wanted_tag IS DISTINCT FROM tree.tag THEN
        fine := gis.refuse(record, 'tag', format('is %s, and tree %s has the tag %s: give one of the two', gis.short(wanted_tag), id, coalesce(gis.short(tree.tag), 'none')));
    ELSIF site <> tree.site_id THEN
        fine := gis.refuse(record, 'site', format('is %s, and tree %s is of another', gis.short(wanted_site), tree.tree_id));
    ELSIF NOT ST_DWithin(tree.geometry, place, 1e-7) THEN
        fine := gis.refuse(record, 'geometry', format('is away from tree %s, which it is of: snap it to the tree or leave it out', tree.tree_id));
    END IF;
END $$;
-- +goose StatementEnd

-- How a record is called in a fault.
-- +goose StatementBegin
CREATE FUNCTION gis.called(what text, id bigint, name text) RETURNS text LANGUAGE sql IMMUTABLE AS
$$ SELECT CASE WHEN id IS NULL THEN 'new ' || what ELSE what || ' ' || id END || coalesce(' (' || gis.short(name) || ')', '') $$;
-- +goose StatementEnd

-- The latest day that has begun anywhere: the clocks that are most ahead are 14
-- hours before UTC.
-- +goose StatementBegin
CREATE FUNCTION gis.latest_day() RETURNS date LANGUAGE sql STABLE AS
$$ SELECT (now() AT TIME ZONE 'UTC' + interval '14 hours')::date $$;
-- +goose StatementEnd

-- Centimetres in metres, the nearest there is to the decimal fraction.
-- +goose StatementBegin
CREATE FUNCTION gis.metres(cm float8) RETURNS float8 LANGUAGE sql IMMUTABLE STRICT PARALLEL SAFE AS
$$ SELECT (cm::numeric / 100)::float8 $$;
-- +goose StatementEnd

-- In the functions below an update changes only the columns that the edit does:
-- what another has changed meanwhile, and digits that the view rounds away, stay.

-- +goose StatementBegin
CREATE FUNCTION gis.edit_site() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER AS $$
DECLARE
    fine text;
    client integer := gis.client();
    record text;
    held text;
BEGIN
    IF TG_OP = 'DELETE' THEN
        SELECT string_agg(n || ' ' || what, ', ') INTO held FROM (VALUES
            ('trees', (SELECT count(*) FROM trees WHERE client_id = client AND site_id = OLD.site_id)),
            ('targets', (SELECT count(*) FROM targets WHERE client_id = client AND site_id = OLD.site_id)),
            ('kept rankings', (SELECT count(*) FROM rankings WHERE client_id = client AND site_id = OLD.site_id)),
            ('held records', (SELECT count(*) FROM quarantine WHERE client_id = client AND site_id = OLD.site_id AND state = 'held'))) h(what, n) WHERE n > 0;
        IF held IS NOT NULL THEN
            RAISE EXCEPTION 'site % (%): is not empty: it has %', OLD.site_id, OLD.name, held USING ERRCODE = 'dependent_objects_still_exist';
        END IF;
        DELETE FROM sites WHERE client_id = client AND site_id = OLD.site_id;
        RETURN CASE WHEN FOUND THEN OLD END;
    END IF;
    record := gis.called('site', CASE TG_OP WHEN 'UPDATE' THEN OLD.site_id END, CASE TG_OP WHEN 'UPDATE' THEN OLD.name ELSE NEW.name END);
    NEW.time_zone := coalesce(nullif(NEW.time_zone, ''), 'UTC');
    -- Before all else: a coordinate that is no number has no form in JSON.
    IF NEW.geometry IS NOT NULL AND (TG_OP = 'INSERT' OR NEW.geometry IS DISTINCT FROM OLD.geometry) THEN
        fine := gis.check_shape(record, NEW.geometry);
    END IF;
    fine := gis.check_edit('sites', record, CASE TG_OP WHEN 'UPDATE' THEN to_jsonb(OLD) - 'geometry' END, to_jsonb(NEW) - 'geometry',
        CASE TG_OP WHEN 'UPDATE' THEN ARRAY['site_id'] ELSE '{}' END || ARRAY['generation', 'computed_at', 'profile', 'version', 'changed_at', 'changed_by']);
    IF coalesce(NEW.name, '') !~ '\S' OR NEW.name ~ '^\s|\s$|[\x01-\x1f\x7f]' OR octet_length(NEW.name) > 200 THEN
        fine := gis.refuse(record, 'name', 'must have a letter or figure, no space at either end, no line break, and 200 bytes at most');
    ELSIF EXISTS (SELECT FROM sites WHERE client_id = client AND name = NEW.name AND site_id IS DISTINCT FROM CASE TG_OP WHEN 'UPDATE' THEN OLD.site_id END) THEN
        RAISE EXCEPTION '%: name is %, and another site has that name', record, gis.short(NEW.name) USING ERRCODE = 'unique_violation', COLUMN = 'name';
    END IF;
    IF (TG_OP = 'INSERT' OR NEW.time_zone <> OLD.time_zone) AND NEW.time_zone <> 'UTC' AND NOT EXISTS (SELECT FROM pg_timezone_names WHERE name = NEW.time_zone) THEN
        fine := gis.refuse(record, 'time_zone', format('is %s: expected an IANA name such as Europe/Vilnius', gis.short(NEW.time_zone)));
    END IF;
    IF NEW.epsg IS NOT NULL AND NOT EXISTS (SELECT FROM spatial_ref_sys WHERE srid = NEW.epsg AND auth_name = 'EPSG' AND srtext ^@ 'PROJCS') THEN
        fine := gis.refuse(record, 'epsg', format('is %s: expected the EPSG code of a projected reference system, such as 32633', NEW.epsg));
    END IF;
    IF TG_OP = 'INSERT' THEN
        INSERT INTO sites (client_id, name, time_zone, epsg, boundary, changed_by) VALUES (client, NEW.name, NEW.time_zone, NEW.epsg, NEW.geometry, actor())
        RETURNING site_id, generation, version, changed_at, changed_by INTO NEW.site_id, NEW.generation, NEW.version, NEW.changed_at, NEW.changed_by;
        RETURN NEW;
    END IF;
    IF NEW IS NOT DISTINCT FROM OLD THEN
        RETURN NEW;
    END IF;
    UPDATE sites s SET
        name = CASE WHEN NEW.name = OLD.name THEN s.name ELSE NEW.name END,
        time_zone = CASE WHEN NEW.time_zone = OLD.time_zone THEN s.time_zone ELSE NEW.time_zone END,
        epsg = CASE WHEN NEW.epsg IS NOT DISTINCT FROM OLD.epsg THEN s.epsg ELSE NEW.epsg END,
        boundary = CASE WHEN NEW.geometry IS NOT DISTINCT FROM OLD.geometry THEN s.boundary ELSE NEW.geometry END
    WHERE client_id = client AND site_id = OLD.site_id RETURNING version, changed_at, changed_by INTO NEW.version, NEW.changed_at, NEW.changed_by;
    RETURN CASE WHEN FOUND THEN NEW END;
END $$;
-- +goose StatementEnd
CREATE TRIGGER edit INSTEAD OF INSERT OR UPDATE OR DELETE ON gis.sites FOR EACH ROW EXECUTE FUNCTION gis.edit_site();

-- +goose StatementBegin
CREATE FUNCTION gis.edit_tree() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER AS $$
DECLARE
    fine text;
    client integer := gis.client();
    record text;
    place bigint;
    at bigint;
    key text;
BEGIN
    IF TG_OP = 'DELETE' THEN
        DELETE FROM trees WHERE client_id = client AND tree_id = OLD.tree_id;
        RETURN CASE WHEN FOUND THEN OLD END;
    END IF;
    record := gis.called('tree', CASE TG_OP WHEN 'UPDATE' THEN OLD.tree_id END, CASE TG_OP WHEN 'UPDATE' THEN OLD.tag ELSE NEW.tag END);
    NEW.tag := nullif(NEW.tag, ''); NEW.source_id := nullif(NEW.source_id, ''); NEW.species := nullif(NEW.species, '');
    NEW.common_name := nullif(NEW.common_name, ''); NEW.condition := nullif(NEW.condition, '');
    NEW.site := coalesce(nullif(NEW.site, ''), CASE TG_OP WHEN 'UPDATE' THEN OLD.site END);
    IF TG_OP = 'INSERT' THEN
        NEW.status := coalesce(nullif(NEW.status, ''), 'alive');
        -- A client may fill in a truth value that is always there.
        NEW.crown_surveyed := nullif(NEW.crown_surveyed, false);
    END IF;
    IF TG_OP = 'INSERT' OR NEW.geometry IS DISTINCT FROM OLD.geometry THEN
        fine := gis.check_shape(record, NEW.geometry);
    END IF;
    fine := gis.check_edit('trees', record, CASE TG_OP WHEN 'UPDATE' THEN to_jsonb(OLD) - 'geometry' END, to_jsonb(NEW) - 'geometry',
        CASE TG_OP WHEN 'UPDATE' THEN ARRAY['tree_id'] ELSE '{}' END || ARRAY['crown_surveyed', 'over', 'people', 'vehicles', 'likelihood', 'rule', 'harm_index', 'rating', 'version', 'changed_at', 'changed_by']);
    IF TG_OP = 'INSERT' THEN
        place := gis.site_of(client, record, NEW.site, NEW.geometry);
        fine := gis.check_key('tree', client, record, place, NULL, NEW.source_id, NEW.source_id);
        INSERT INTO trees (client_id, site_id, match_key, tag, source_id, species, common_name, status, dbh_m, stems, height_m, crown_radius_m, condition, planted_year,
            lean_deg, lean_bearing_deg, brittle, extra, changed_by, geometry)
        VALUES (client, place, coalesce(NEW.source_id, 'hand:' || gen_random_uuid()), NEW.tag, NEW.source_id, NEW.species, NEW.common_name, NEW.status, gis.metres(NEW.dbh_cm), NEW.stems, NEW.height_m, NEW.crown_radius_m,
            NEW.condition, NEW.planted_year, NEW.lean_deg, NEW.lean_bearing_deg, NEW.brittle, NEW.extra, actor(), NEW.geometry)
        RETURNING tree_id, version, changed_at, changed_by INTO NEW.tree_id, NEW.version, NEW.changed_at, NEW.changed_by;
        NEW.site := (SELECT name FROM sites WHERE client_id = client AND site_id = place);
        NEW.crown_surveyed := false;
        RETURN NEW;
    END IF;
    IF NEW IS NOT DISTINCT FROM OLD THEN
        RETURN NEW;
    END IF;
    IF NEW.site <> OLD.site THEN
        place := gis.site_of(client, record, NEW.site, NULL);
    END IF;
    IF NEW.source_id IS DISTINCT FROM OLD.source_id OR place IS NOT NULL THEN
        SELECT coalesce(place, t.site_id), coalesce(CASE WHEN NEW.source_id IS DISTINCT FROM OLD.source_id THEN NEW.source_id END, t.match_key) INTO at, key
        FROM trees t WHERE t.client_id = client AND t.tree_id = OLD.tree_id;
        fine := gis.check_key('tree', client, record, at, OLD.tree_id, NEW.source_id, key);
    END IF;
    UPDATE trees t SET
        site_id = coalesce(place, t.site_id), match_key = coalesce(key, t.match_key),
        tag = CASE WHEN NEW.tag IS NOT DISTINCT FROM OLD.tag THEN t.tag ELSE NEW.tag END,
        source_id = CASE WHEN NEW.source_id IS NOT DISTINCT FROM OLD.source_id THEN t.source_id ELSE NEW.source_id END,
        species = CASE WHEN NEW.species IS NOT DISTINCT FROM OLD.species THEN t.species ELSE NEW.species END,
        common_name = CASE WHEN NEW.common_name IS NOT DISTINCT FROM OLD.common_name THEN t.common_name ELSE NEW.common_name END,
        status = CASE WHEN NEW.status = OLD.status THEN t.status ELSE NEW.status END,
        dbh_m = CASE WHEN NEW.dbh_cm IS NOT DISTINCT FROM OLD.dbh_cm THEN t.dbh_m ELSE gis.metres(NEW.dbh_cm) END,
        stems = CASE WHEN NEW.stems IS NOT DISTINCT FROM OLD.stems THEN t.stems ELSE NEW.stems END,
        height_m = CASE WHEN NEW.height_m IS NOT DISTINCT FROM OLD.height_m THEN t.height_m ELSE NEW.height_m END,
        crown_radius_m = CASE WHEN NEW.crown_radius_m IS NOT DISTINCT FROM OLD.crown_radius_m THEN t.crown_radius_m ELSE NEW.crown_radius_m END,
        condition = CASE WHEN NEW.condition IS NOT DISTINCT FROM OLD.condition THEN t.condition ELSE NEW.condition END,
        planted_year = CASE WHEN NEW.planted_year IS NOT DISTINCT FROM OLD.planted_year THEN t.planted_year ELSE NEW.planted_year END,
        lean_deg = CASE WHEN NEW.lean_deg IS NOT DISTINCT FROM OLD.lean_deg THEN t.lean_deg ELSE NEW.lean_deg END,
        lean_bearing_deg = CASE WHEN NEW.lean_bearing_deg IS NOT DISTINCT FROM OLD.lean_bearing_deg THEN t.lean_bearing_deg ELSE NEW.lean_bearing_deg END,
        brittle = CASE WHEN NEW.brittle IS NOT DISTINCT FROM OLD.brittle THEN t.brittle ELSE NEW.brittle END,
        extra = CASE WHEN NEW.extra IS NOT DISTINCT FROM OLD.extra THEN t.extra ELSE NEW.extra END,
        geometry = CASE WHEN NEW.geometry IS NOT DISTINCT FROM OLD.geometry THEN t.geometry ELSE NEW.geometry END
    WHERE client_id = client AND tree_id = OLD.tree_id RETURNING version, changed_at, changed_by INTO NEW.version, NEW.changed_at, NEW.changed_by;
    IF NOT FOUND THEN
        RETURN NULL;
    END IF;
    IF place IS NOT NULL THEN -- its records go with it
        UPDATE cuts SET site_id = place WHERE client_id = client AND tree_id = OLD.tree_id;
        UPDATE visits SET site_id = place WHERE client_id = client AND tree_id = OLD.tree_id;
    END IF;
    RETURN NEW;
END $$;
-- +goose StatementEnd
CREATE TRIGGER edit INSTEAD OF INSERT OR UPDATE OR DELETE ON gis.trees FOR EACH ROW EXECUTE FUNCTION gis.edit_tree();

-- +goose StatementBegin
CREATE FUNCTION gis.edit_cut() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER AS $$
DECLARE
    fine text;
    client integer := gis.client();
    record text;
    tree trees;
    year integer := extract(year FROM now());
BEGIN
    IF TG_OP = 'DELETE' THEN
        DELETE FROM cuts WHERE client_id = client AND cut_id = OLD.cut_id;
        RETURN CASE WHEN FOUND THEN OLD END;
    END IF;
    record := gis.called('cut', CASE TG_OP WHEN 'UPDATE' THEN OLD.cut_id END, CASE WHEN TG_OP = 'UPDATE' THEN 'tree ' || OLD.tree_id WHEN NEW.tree_id IS NOT NULL THEN 'tree ' || NEW.tree_id ELSE NEW.tag END);
    NEW.source_id := nullif(NEW.source_id, ''); NEW.kind := nullif(NEW.kind, ''); NEW.tag := nullif(NEW.tag, ''); NEW.site := nullif(NEW.site, '');
    IF NEW.geometry IS NOT NULL AND (TG_OP = 'INSERT' OR NEW.geometry IS DISTINCT FROM OLD.geometry) THEN
        fine := gis.check_shape(record, NEW.geometry);
    END IF;
    fine := gis.check_edit('cuts', record, CASE TG_OP WHEN 'UPDATE' THEN to_jsonb(OLD) - 'geometry' END, to_jsonb(NEW) - 'geometry',
        CASE TG_OP WHEN 'UPDATE' THEN ARRAY['cut_id', 'site', 'tag'] ELSE '{}' END || ARRAY['given_kind', 'version', 'changed_at', 'changed_by']);
    IF (NEW.made_year > year OR NEW.made_on > gis.latest_day()) AND (TG_OP = 'INSERT' OR (NEW.made_year, NEW.made_on) IS DISTINCT FROM (OLD.made_year, OLD.made_on)) THEN
        fine := gis.refuse(record, CASE WHEN NEW.made_year > year THEN 'made_year' ELSE 'made_on' END, format('is %s, which is yet to come', CASE WHEN NEW.made_year > year THEN NEW.made_year::text ELSE NEW.made_on::text END));
    ELSIF NEW.kind IS NULL AND NOT (NEW.diameter_cm > 0 AND NEW.lateral_diameter_cm >= 0) IS TRUE THEN
        fine := gis.refuse(record, 'kind', 'is empty: expected one of ' || (SELECT array_to_string(words, ', ') FROM gis.choices('cuts')));
    ELSIF NEW.lateral_diameter_cm > NEW.diameter_cm * 2 AND (TG_OP = 'INSERT' OR (NEW.lateral_diameter_cm, NEW.diameter_cm) IS DISTINCT FROM (OLD.lateral_diameter_cm, OLD.diameter_cm)) THEN
        fine := gis.refuse(record, 'lateral_diameter_cm', format('is %s, more than twice the diameter of the cut, %s: check which is which', NEW.lateral_diameter_cm, NEW.diameter_cm));
    END IF;
    IF TG_OP = 'INSERT' THEN
        tree := gis.tree_of(client, record, NEW.tree_id, NEW.tag, NEW.site, NEW.geometry);
        INSERT INTO cuts (client_id, site_id, tree_id, source_id, kind, made_year, made_on, count, diameter_m, lateral_diameter_m, height_m, bearing_deg, reach_m,
            stub_length_m, closure, decay, regrowth_length_m, regrowth_count, regrowth_diameter_m, bare_share, extra, changed_by)
        VALUES (client, tree.site_id, tree.tree_id, NEW.source_id, NEW.kind, NEW.made_year, NEW.made_on, NEW.count, gis.metres(NEW.diameter_cm), gis.metres(NEW.lateral_diameter_cm),
            NEW.height_m, NEW.bearing_deg, NEW.reach_m, NEW.stub_length_m, NEW.closure, NEW.decay, NEW.regrowth_length_m, NEW.regrowth_count,
            gis.metres(NEW.regrowth_diameter_cm), NEW.bare_share, NEW.extra, actor())
        RETURNING cut_id, kind, given_kind, version, changed_at, changed_by INTO NEW.cut_id, NEW.kind, NEW.given_kind, NEW.version, NEW.changed_at, NEW.changed_by;
        NEW.tree_id := tree.tree_id; NEW.tag := tree.tag; NEW.geometry := tree.geometry;
        NEW.site := (SELECT name FROM sites WHERE client_id = client AND site_id = tree.site_id);
        RETURN NEW;
    END IF;
    IF NEW IS NOT DISTINCT FROM OLD THEN
        RETURN NEW;
    END IF;
    IF NEW.tree_id IS DISTINCT FROM OLD.tree_id THEN
        tree := gis.tree_of(client, record, NEW.tree_id, NULL, NULL, CASE WHEN NEW.geometry IS DISTINCT FROM OLD.geometry THEN NEW.geometry END);
    ELSIF NEW.geometry IS DISTINCT FROM OLD.geometry THEN
        fine := gis.refuse(record, 'geometry', 'is that of its tree: move the tree, or give another tree_id');
    END IF;
    UPDATE cuts c SET
        tree_id = coalesce(tree.tree_id, c.tree_id), site_id = coalesce(tree.site_id, c.site_id),
        source_id = CASE WHEN NEW.source_id IS NOT DISTINCT FROM OLD.source_id THEN c.source_id ELSE NEW.source_id END,
        kind = CASE WHEN NEW.kind IS NOT DISTINCT FROM OLD.kind THEN c.kind ELSE NEW.kind END,
        made_year = CASE WHEN NEW.made_year IS NOT DISTINCT FROM OLD.made_year THEN c.made_year ELSE NEW.made_year END,
        made_on = CASE WHEN NEW.made_on IS NOT DISTINCT FROM OLD.made_on THEN c.made_on ELSE NEW.made_on END,
        count = CASE WHEN NEW.count IS NOT DISTINCT FROM OLD.count THEN c.count ELSE NEW.count END,
        diameter_m = CASE WHEN NEW.diameter_cm IS NOT DISTINCT FROM OLD.diameter_cm THEN c.diameter_m ELSE gis.metres(NEW.diameter_cm) END,
        lateral_diameter_m = CASE WHEN NEW.lateral_diameter_cm IS NOT DISTINCT FROM OLD.lateral_diameter_cm THEN c.lateral_diameter_m ELSE gis.metres(NEW.lateral_diameter_cm) END,
        height_m = CASE WHEN NEW.height_m IS NOT DISTINCT FROM OLD.height_m THEN c.height_m ELSE NEW.height_m END,
        bearing_deg = CASE WHEN NEW.bearing_deg IS NOT DISTINCT FROM OLD.bearing_deg THEN c.bearing_deg ELSE NEW.bearing_deg END,
        reach_m = CASE WHEN NEW.reach_m IS NOT DISTINCT FROM OLD.reach_m THEN c.reach_m ELSE NEW.reach_m END,
        stub_length_m = CASE WHEN NEW.stub_length_m IS NOT DISTINCT FROM OLD.stub_length_m THEN c.stub_length_m ELSE NEW.stub_length_m END,
        closure = CASE WHEN NEW.closure IS NOT DISTINCT FROM OLD.closure THEN c.closure ELSE NEW.closure END,
        decay = CASE WHEN NEW.decay IS NOT DISTINCT FROM OLD.decay THEN c.decay ELSE NEW.decay END,
        regrowth_length_m = CASE WHEN NEW.regrowth_length_m IS NOT DISTINCT FROM OLD.regrowth_length_m THEN c.regrowth_length_m ELSE NEW.regrowth_length_m END,
        regrowth_count = CASE WHEN NEW.regrowth_count IS NOT DISTINCT FROM OLD.regrowth_count THEN c.regrowth_count ELSE NEW.regrowth_count END,
        regrowth_diameter_m = CASE WHEN NEW.regrowth_diameter_cm IS NOT DISTINCT FROM OLD.regrowth_diameter_cm THEN c.regrowth_diameter_m ELSE gis.metres(NEW.regrowth_diameter_cm) END,
        bare_share = CASE WHEN NEW.bare_share IS NOT DISTINCT FROM OLD.bare_share THEN c.bare_share ELSE NEW.bare_share END,
        extra = CASE WHEN NEW.extra IS NOT DISTINCT FROM OLD.extra THEN c.extra ELSE NEW.extra END
    WHERE client_id = client AND cut_id = OLD.cut_id
    RETURNING kind, given_kind, version, changed_at, changed_by INTO NEW.kind, NEW.given_kind, NEW.version, NEW.changed_at, NEW.changed_by;
    RETURN CASE WHEN FOUND THEN NEW END;
END $$;
-- +goose StatementEnd
CREATE TRIGGER edit INSTEAD OF INSERT OR UPDATE OR DELETE ON gis.cuts FOR EACH ROW EXECUTE FUNCTION gis.edit_cut();

-- +goose StatementBegin
CREATE FUNCTION gis.edit_visit() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER AS $$
DECLARE
    fine text;
    client integer := gis.client();
    record text;
    tree trees;
BEGIN
    IF TG_OP = 'DELETE' THEN
        DELETE FROM visits WHERE client_id = client AND visit_id = OLD.visit_id;
        RETURN CASE WHEN FOUND THEN OLD END;
    END IF;
    record := gis.called('visit', CASE TG_OP WHEN 'UPDATE' THEN OLD.visit_id END, CASE WHEN TG_OP = 'UPDATE' THEN 'tree ' || OLD.tree_id WHEN NEW.tree_id IS NOT NULL THEN 'tree ' || NEW.tree_id ELSE NEW.tag END);
    NEW.source_id := nullif(NEW.source_id, ''); NEW.visited_by := nullif(NEW.visited_by, ''); NEW.condition := nullif(NEW.condition, '');
    NEW.whole_tree := nullif(NEW.whole_tree, ''); NEW.crown := nullif(NEW.crown, ''); NEW.limb := nullif(NEW.limb, ''); NEW.note := nullif(NEW.note, '');
    NEW.tag := nullif(NEW.tag, ''); NEW.site := nullif(NEW.site, '');
    IF NEW.geometry IS NOT NULL AND (TG_OP = 'INSERT' OR NEW.geometry IS DISTINCT FROM OLD.geometry) THEN
        fine := gis.check_shape(record, NEW.geometry);
    END IF;
    fine := gis.check_edit('visits', record, CASE TG_OP WHEN 'UPDATE' THEN to_jsonb(OLD) - 'geometry' END, to_jsonb(NEW) - 'geometry',
        CASE TG_OP WHEN 'UPDATE' THEN ARRAY['visit_id', 'site', 'tag'] ELSE '{}' END || ARRAY['version', 'changed_at', 'changed_by']);
    IF NEW.visited_on IS NULL THEN
        fine := gis.refuse(record, 'visited_on', 'is empty: expected a day such as 2024-03-31');
    ELSIF NEW.visited_on > gis.latest_day() AND (TG_OP = 'INSERT' OR NEW.visited_on <> OLD.visited_on) THEN
        fine := gis.refuse(record, 'visited_on', format('is %s, which is yet to come', NEW.visited_on));
    ELSIF NEW.next_visit_on < NEW.visited_on THEN
        fine := gis.refuse(record, 'next_visit_on', format('is %s, before the visit itself on %s', NEW.next_visit_on, NEW.visited_on));
    ELSIF NEW.decay_diameter_cm > NEW.stem_diameter_cm THEN
        fine := gis.refuse(record, 'decay_diameter_cm', format('is %s, wider than the stem, %s: check which is which', NEW.decay_diameter_cm, NEW.stem_diameter_cm));
    ELSIF NEW.sound_wall_cm > NEW.stem_diameter_cm / 2 * (1 + 1e-9) THEN
        fine := gis.refuse(record, 'sound_wall_cm', format('is %s, thicker than half the stem of %s across: check which is which', NEW.sound_wall_cm, NEW.stem_diameter_cm));
    END IF;
    IF TG_OP = 'INSERT' THEN
        tree := gis.tree_of(client, record, NEW.tree_id, NEW.tag, NEW.site, NEW.geometry);
        INSERT INTO visits (client_id, site_id, tree_id, source_id, visited_on, visited_by, condition, whole_tree, crown, limb, note, next_visit_on, dbh_m, height_m,
            crown_radius_m, stem_diameter_m, decay_diameter_m, sound_wall_m, opening_share, other_points, extra, changed_by)
        VALUES (client, tree.site_id, tree.tree_id, NEW.source_id, NEW.visited_on, NEW.visited_by, NEW.condition, NEW.whole_tree, NEW.crown, NEW.limb, NEW.note,
            NEW.next_visit_on, gis.metres(NEW.dbh_cm), NEW.height_m, NEW.crown_radius_m, gis.metres(NEW.stem_diameter_cm), gis.metres(NEW.decay_diameter_cm),
            gis.metres(NEW.sound_wall_cm), NEW.opening_share, NEW.other_points, NEW.extra, actor())
        RETURNING visit_id, version, changed_at, changed_by INTO NEW.visit_id, NEW.version, NEW.changed_at, NEW.changed_by;
        NEW.tree_id := tree.tree_id; NEW.tag := tree.tag; NEW.geometry := tree.geometry;
        NEW.site := (SELECT name FROM sites WHERE client_id = client AND site_id = tree.site_id);
        RETURN NEW;
    END IF;
    IF NEW IS NOT DISTINCT FROM OLD THEN
        RETURN NEW;
    END IF;
    IF NEW.tree_id IS DISTINCT FROM OLD.tree_id THEN
        tree := gis.tree_of(client, record, NEW.tree_id, NULL, NULL, CASE WHEN NEW.geometry IS DISTINCT FROM OLD.geometry THEN NEW.geometry END);
    ELSIF NEW.geometry IS DISTINCT FROM OLD.geometry THEN
        fine := gis.refuse(record, 'geometry', 'is that of its tree: move the tree, or give another tree_id');
    END IF;
    UPDATE visits v SET
        tree_id = coalesce(tree.tree_id, v.tree_id), site_id = coalesce(tree.site_id, v.site_id),
        source_id = CASE WHEN NEW.source_id IS NOT DISTINCT FROM OLD.source_id THEN v.source_id ELSE NEW.source_id END,
        visited_on = CASE WHEN NEW.visited_on = OLD.visited_on THEN v.visited_on ELSE NEW.visited_on END,
        visited_by = CASE WHEN NEW.visited_by IS NOT DISTINCT FROM OLD.visited_by THEN v.visited_by ELSE NEW.visited_by END,
        condition = CASE WHEN NEW.condition IS NOT DISTINCT FROM OLD.condition THEN v.condition ELSE NEW.condition END,
        whole_tree = CASE WHEN NEW.whole_tree IS NOT DISTINCT FROM OLD.whole_tree THEN v.whole_tree ELSE NEW.whole_tree END,
        crown = CASE WHEN NEW.crown IS NOT DISTINCT FROM OLD.crown THEN v.crown ELSE NEW.crown END,
        limb = CASE WHEN NEW.limb IS NOT DISTINCT FROM OLD.limb THEN v.limb ELSE NEW.limb END,
        note = CASE WHEN NEW.note IS NOT DISTINCT FROM OLD.note THEN v.note ELSE NEW.note END,
        next_visit_on = CASE WHEN NEW.next_visit_on IS NOT DISTINCT FROM OLD.next_visit_on THEN v.next_visit_on ELSE NEW.next_visit_on END,
        dbh_m = CASE WHEN NEW.dbh_cm IS NOT DISTINCT FROM OLD.dbh_cm THEN v.dbh_m ELSE gis.metres(NEW.dbh_cm) END,
        height_m = CASE WHEN NEW.height_m IS NOT DISTINCT FROM OLD.height_m THEN v.height_m ELSE NEW.height_m END,
        crown_radius_m = CASE WHEN NEW.crown_radius_m IS NOT DISTINCT FROM OLD.crown_radius_m THEN v.crown_radius_m ELSE NEW.crown_radius_m END,
        stem_diameter_m = CASE WHEN NEW.stem_diameter_cm IS NOT DISTINCT FROM OLD.stem_diameter_cm THEN v.stem_diameter_m ELSE gis.metres(NEW.stem_diameter_cm) END,
        decay_diameter_m = CASE WHEN NEW.decay_diameter_cm IS NOT DISTINCT FROM OLD.decay_diameter_cm THEN v.decay_diameter_m ELSE gis.metres(NEW.decay_diameter_cm) END,
        sound_wall_m = CASE WHEN NEW.sound_wall_cm IS NOT DISTINCT FROM OLD.sound_wall_cm THEN v.sound_wall_m ELSE gis.metres(NEW.sound_wall_cm) END,
        opening_share = CASE WHEN NEW.opening_share IS NOT DISTINCT FROM OLD.opening_share THEN v.opening_share ELSE NEW.opening_share END,
        other_points = CASE WHEN NEW.other_points IS NOT DISTINCT FROM OLD.other_points THEN v.other_points ELSE NEW.other_points END,
        extra = CASE WHEN NEW.extra IS NOT DISTINCT FROM OLD.extra THEN v.extra ELSE NEW.extra END
    WHERE client_id = client AND visit_id = OLD.visit_id RETURNING version, changed_at, changed_by INTO NEW.version, NEW.changed_at, NEW.changed_by;
    RETURN CASE WHEN FOUND THEN NEW END;
END $$;
-- +goose StatementEnd
CREATE TRIGGER edit INSTEAD OF INSERT OR UPDATE OR DELETE ON gis.visits FOR EACH ROW EXECUTE FUNCTION gis.edit_visit();

-- +goose StatementBegin
CREATE FUNCTION gis.edit_target() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER AS $$
DECLARE
    fine text;
    client integer := gis.client();
    record text;
    place bigint;
    at bigint;
    key text;
BEGIN
    IF TG_OP = 'DELETE' THEN
        DELETE FROM targets WHERE client_id = client AND target_id = OLD.target_id;
        RETURN CASE WHEN FOUND THEN OLD END;
    END IF;
    record := gis.called('target', CASE TG_OP WHEN 'UPDATE' THEN OLD.target_id END, CASE TG_OP WHEN 'UPDATE' THEN OLD.name ELSE NEW.name END);
    NEW.source_id := nullif(NEW.source_id, ''); NEW.name := nullif(NEW.name, ''); NEW.kind := nullif(NEW.kind, ''); NEW.hours := nullif(NEW.hours, '');
    NEW.layer := nullif(NEW.layer, ''); NEW.site := coalesce(nullif(NEW.site, ''), CASE TG_OP WHEN 'UPDATE' THEN OLD.site END);
    IF TG_OP = 'INSERT' OR NEW.geometry IS DISTINCT FROM OLD.geometry THEN
        fine := gis.check_shape(record, NEW.geometry);
    END IF;
    fine := gis.check_edit('targets', record, CASE TG_OP WHEN 'UPDATE' THEN to_jsonb(OLD) - 'geometry' END, to_jsonb(NEW) - 'geometry',
        CASE TG_OP WHEN 'UPDATE' THEN ARRAY['target_id', 'layer'] ELSE '{}' END || ARRAY['repair', 'version', 'changed_at', 'changed_by']);
    IF TG_OP = 'INSERT' THEN
        place := gis.site_of(client, record, NEW.site, NEW.geometry);
        key := coalesce(NEW.layer, '') || '/id:' || NEW.source_id;
        fine := gis.check_key('target', client, record, place, NULL, NEW.source_id, key);
        INSERT INTO targets (client_id, site_id, match_key, layer, source_id, name, kind, people_per_hour, people_present, dwell_minutes, vehicles_per_day, speed_mps, stalls,
            share_occupied, turnover_per_day, hours, sheltered, extra, changed_by, geometry)
        VALUES (client, place, coalesce(key, 'hand:' || gen_random_uuid()), NEW.layer, NEW.source_id, NEW.name, NEW.kind, NEW.people_per_hour, NEW.people_present, NEW.dwell_minutes, NEW.vehicles_per_day,
            NEW.speed_mps, NEW.stalls, NEW.share_occupied, NEW.turnover_per_day, NEW.hours, NEW.sheltered, NEW.extra, actor(), NEW.geometry)
        RETURNING target_id, version, changed_at, changed_by INTO NEW.target_id, NEW.version, NEW.changed_at, NEW.changed_by;
        NEW.site := (SELECT name FROM sites WHERE client_id = client AND site_id = place);
        RETURN NEW;
    END IF;
    IF NEW IS NOT DISTINCT FROM OLD THEN
        RETURN NEW;
    END IF;
    IF NEW.site <> OLD.site THEN
        place := gis.site_of(client, record, NEW.site, NULL);
    END IF;
    IF NEW.source_id IS DISTINCT FROM OLD.source_id OR place IS NOT NULL THEN
        SELECT coalesce(place, g.site_id), coalesce(CASE WHEN NEW.source_id IS DISTINCT FROM OLD.source_id THEN coalesce(g.layer, '') || '/id:' || NEW.source_id END, g.match_key)
        INTO at, key FROM targets g WHERE g.client_id = client AND g.target_id = OLD.target_id;
        fine := gis.check_key('target', client, record, at, OLD.target_id, NEW.source_id, key);
    END IF;
    UPDATE targets g SET
        site_id = coalesce(place, g.site_id), match_key = coalesce(key, g.match_key),
        source_id = CASE WHEN NEW.source_id IS NOT DISTINCT FROM OLD.source_id THEN g.source_id ELSE NEW.source_id END,
        name = CASE WHEN NEW.name IS NOT DISTINCT FROM OLD.name THEN g.name ELSE NEW.name END,
        kind = CASE WHEN NEW.kind = OLD.kind THEN g.kind ELSE NEW.kind END,
        people_per_hour = CASE WHEN NEW.people_per_hour IS NOT DISTINCT FROM OLD.people_per_hour THEN g.people_per_hour ELSE NEW.people_per_hour END,
        people_present = CASE WHEN NEW.people_present IS NOT DISTINCT FROM OLD.people_present THEN g.people_present ELSE NEW.people_present END,
        dwell_minutes = CASE WHEN NEW.dwell_minutes IS NOT DISTINCT FROM OLD.dwell_minutes THEN g.dwell_minutes ELSE NEW.dwell_minutes END,
        vehicles_per_day = CASE WHEN NEW.vehicles_per_day IS NOT DISTINCT FROM OLD.vehicles_per_day THEN g.vehicles_per_day ELSE NEW.vehicles_per_day END,
        speed_mps = CASE WHEN NEW.speed_mps IS NOT DISTINCT FROM OLD.speed_mps THEN g.speed_mps ELSE NEW.speed_mps END,
        stalls = CASE WHEN NEW.stalls IS NOT DISTINCT FROM OLD.stalls THEN g.stalls ELSE NEW.stalls END,
        share_occupied = CASE WHEN NEW.share_occupied IS NOT DISTINCT FROM OLD.share_occupied THEN g.share_occupied ELSE NEW.share_occupied END,
        turnover_per_day = CASE WHEN NEW.turnover_per_day IS NOT DISTINCT FROM OLD.turnover_per_day THEN g.turnover_per_day ELSE NEW.turnover_per_day END,
        hours = CASE WHEN NEW.hours IS NOT DISTINCT FROM OLD.hours THEN g.hours ELSE NEW.hours END,
        sheltered = CASE WHEN NEW.sheltered IS NOT DISTINCT FROM OLD.sheltered THEN g.sheltered ELSE NEW.sheltered END,
        extra = CASE WHEN NEW.extra IS NOT DISTINCT FROM OLD.extra THEN g.extra ELSE NEW.extra END,
        -- A shape drawn anew was not repaired.
        repair = CASE WHEN NEW.geometry = OLD.geometry THEN g.repair END,
        geometry_as_read = CASE WHEN NEW.geometry = OLD.geometry THEN g.geometry_as_read END,
        geometry = CASE WHEN NEW.geometry = OLD.geometry THEN g.geometry ELSE NEW.geometry END
    WHERE client_id = client AND target_id = OLD.target_id RETURNING repair, version, changed_at, changed_by INTO NEW.repair, NEW.version, NEW.changed_at, NEW.changed_by;
    IF NOT FOUND THEN
        RETURN NULL;
    END IF;
    IF place IS NOT NULL THEN
        UPDATE counts SET site_id = place WHERE client_id = client AND target_id = OLD.target_id;
    END IF;
    RETURN NEW;
END $$;
-- +goose StatementEnd
CREATE TRIGGER edit INSTEAD OF INSERT OR UPDATE OR DELETE ON gis.targets FOR EACH ROW EXECUTE FUNCTION gis.edit_target();

-- +goose StatementBegin
CREATE FUNCTION gis.edit_count() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER AS $$
DECLARE
    fine text;
    client integer := gis.client();
    record text;
    target targets;
    zone text;
BEGIN
    IF TG_OP = 'DELETE' THEN
        DELETE FROM counts WHERE client_id = client AND count_id = OLD.count_id;
        RETURN CASE WHEN FOUND THEN OLD END;
    END IF;
    record := gis.called('count', CASE TG_OP WHEN 'UPDATE' THEN OLD.count_id END, CASE TG_OP WHEN 'UPDATE' THEN OLD.name ELSE NEW.name END);
    IF NEW.geometry IS NOT NULL AND (TG_OP = 'INSERT' OR NEW.geometry IS DISTINCT FROM OLD.geometry) THEN
        fine := gis.check_shape(record, NEW.geometry);
    END IF;
    fine := gis.check_edit('counts', record, CASE TG_OP WHEN 'UPDATE' THEN to_jsonb(OLD) - 'geometry' END, to_jsonb(NEW) - 'geometry',
        CASE TG_OP WHEN 'UPDATE' THEN ARRAY['count_id', 'site', 'name', 'kind'] ELSE '{}' END || ARRAY['version', 'changed_at', 'changed_by']);
    IF NEW.counted_at IS NULL OR date_trunc('hour', NEW.counted_at) <> NEW.counted_at THEN
        fine := gis.refuse(record, 'counted_at', format('is %s: expected the begin of a whole hour, such as 2026-03-02T08:00', coalesce(to_char(NEW.counted_at, 'YYYY-MM-DD"T"HH24:MI:SS'), 'empty')));
    ELSIF NEW.people IS NULL AND NEW.vehicles IS NULL THEN
        fine := gis.refuse(record, 'people', 'is empty, and so is vehicles: give one of the two at least');
    ELSIF NEW.target_id IS NULL THEN
        fine := gis.refuse(record, 'target_id', 'is empty: say which target was counted at');
    END IF;
    IF TG_OP = 'INSERT' OR NEW.target_id <> OLD.target_id THEN
        SELECT g.* INTO target FROM targets g WHERE g.client_id = client AND g.target_id = NEW.target_id;
        IF target.target_id IS NULL THEN
            fine := gis.refuse(record, 'target_id', format('is %s, and there is no such target', NEW.target_id));
        ELSIF TG_OP = 'INSERT' THEN
            -- What is the target's may come along, as it is.
            PERFORM gis.check_edit('', record, jsonb_build_object('name', target.name, 'kind', target.kind, 'site', s.name),
                jsonb_build_object('name', coalesce(NEW.name, target.name), 'kind', coalesce(NEW.kind, target.kind), 'site', coalesce(NEW.site, s.name)), ARRAY['name', 'kind', 'site'])
            FROM sites s WHERE s.client_id = client AND s.site_id = target.site_id;
        END IF;
    END IF;
    IF TG_OP = 'INSERT' OR NEW.counted_at <> OLD.counted_at OR NEW.target_id <> OLD.target_id THEN
        SELECT s.time_zone INTO zone FROM targets g JOIN sites s ON s.client_id = g.client_id AND s.site_id = g.site_id WHERE g.client_id = client AND g.target_id = NEW.target_id;
        -- The importers say the same of a time that the clock never shows.
        IF (NEW.counted_at AT TIME ZONE zone) AT TIME ZONE zone <> NEW.counted_at THEN
            fine := gis.refuse(record, 'counted_at', format('is %s, and there is no such hour in %s, the time zone of its site: the clock goes forward there', to_char(NEW.counted_at, 'YYYY-MM-DD"T"HH24:MI'), zone));
        ELSIF NEW.counted_at AT TIME ZONE zone > now() THEN
            fine := gis.refuse(record, 'counted_at', format('is %s, which is yet to come', to_char(NEW.counted_at, 'YYYY-MM-DD"T"HH24:MI')));
        END IF;
    END IF;
    IF EXISTS (SELECT FROM counts n WHERE n.client_id = client AND n.target_id = NEW.target_id AND n.counted_at = NEW.counted_at
            AND n.count_id IS DISTINCT FROM CASE TG_OP WHEN 'UPDATE' THEN OLD.count_id END) THEN
        RAISE EXCEPTION '%: counted_at is %, and target % has a count of that hour already: change that one', record, to_char(NEW.counted_at, 'YYYY-MM-DD"T"HH24:MI'), NEW.target_id
            USING ERRCODE = 'unique_violation', COLUMN = 'counted_at';
    END IF;
    IF TG_OP = 'INSERT' THEN
        IF NOT gis.same_shape(target.geometry, NEW.geometry) THEN
            fine := gis.refuse(record, 'geometry', 'is not that of its target: leave it out');
        END IF;
        INSERT INTO counts (client_id, site_id, target_id, counted_at, people, vehicles, extra, changed_by)
        VALUES (client, target.site_id, target.target_id, NEW.counted_at, NEW.people, NEW.vehicles, NEW.extra, actor())
        RETURNING count_id, version, changed_at, changed_by INTO NEW.count_id, NEW.version, NEW.changed_at, NEW.changed_by;
        NEW.name := target.name; NEW.kind := target.kind; NEW.geometry := target.geometry;
        NEW.site := (SELECT name FROM sites WHERE client_id = client AND site_id = target.site_id);
        RETURN NEW;
    END IF;
    IF NEW IS NOT DISTINCT FROM OLD THEN
        RETURN NEW;
    END IF;
    IF NEW.geometry IS DISTINCT FROM OLD.geometry THEN
        fine := gis.refuse(record, 'geometry', 'is that of its target: change the target');
    END IF;
    UPDATE counts n SET
        target_id = coalesce(target.target_id, n.target_id), site_id = coalesce(target.site_id, n.site_id),
        counted_at = CASE WHEN NEW.counted_at = OLD.counted_at THEN n.counted_at ELSE NEW.counted_at END,
        people = CASE WHEN NEW.people IS NOT DISTINCT FROM OLD.people THEN n.people ELSE NEW.people END,
        vehicles = CASE WHEN NEW.vehicles IS NOT DISTINCT FROM OLD.vehicles THEN n.vehicles ELSE NEW.vehicles END,
        extra = CASE WHEN NEW.extra IS NOT DISTINCT FROM OLD.extra THEN n.extra ELSE NEW.extra END
    WHERE client_id = client AND count_id = OLD.count_id RETURNING version, changed_at, changed_by INTO NEW.version, NEW.changed_at, NEW.changed_by;
    RETURN CASE WHEN FOUND THEN NEW END;
END $$;
-- +goose StatementEnd
CREATE TRIGGER edit INSTEAD OF INSERT OR UPDATE OR DELETE ON gis.counts FOR EACH ROW EXECUTE FUNCTION gis.edit_count();

-- Whoever may write to the views needs no right to the tables: the functions act
-- with their owner's. What they name is looked up where this migration finds it,
-- and never among temporary tables that a session has made.
-- +goose StatementBegin
DO $$
DECLARE
    f regprocedure;
BEGIN
    FOR f IN SELECT oid::regprocedure FROM pg_proc WHERE pronamespace = 'gis'::regnamespace AND prosecdef
    LOOP
        EXECUTE format('ALTER FUNCTION %s SET search_path = %s, pg_temp', f, current_setting('search_path'));
    END LOOP;
END $$;
-- +goose StatementEnd

COMMENT ON SCHEMA gis IS 'for editing from desktop GIS: plain views whose triggers find the site and the tree, turn units and refuse in plain words';
