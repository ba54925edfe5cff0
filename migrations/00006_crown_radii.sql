-- +goose Up

-- Radii of a crown to the four sides, from the stem to the crown's edge: how far
-- out of balance it is. Nothing may reach out to a side: 0.
ALTER TABLE trees
    ADD crown_north_m double precision CHECK (crown_north_m >= 0 AND crown_north_m < 50),
    ADD crown_east_m  double precision CHECK (crown_east_m >= 0 AND crown_east_m < 50),
    ADD crown_south_m double precision CHECK (crown_south_m >= 0 AND crown_south_m < 50),
    ADD crown_west_m  double precision CHECK (crown_west_m >= 0 AND crown_west_m < 50);

-- A view that stays takes new columns at its end only; rights that were given to
-- it stay too.
CREATE OR REPLACE VIEW gis.trees AS
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
    t.version, t.changed_at, t.changed_by, t.geometry,
    t.crown_north_m, t.crown_east_m, t.crown_south_m, t.crown_west_m
FROM trees t
JOIN sites s ON s.client_id = t.client_id AND s.site_id = t.site_id
LEFT JOIN exposures e ON e.client_id = t.client_id AND e.generation = s.generation AND e.tree_id = t.tree_id
LEFT JOIN words l ON l.list = 'likelihood' AND l.code = e.likelihood
LEFT JOIN words u ON u.list = 'rule' AND u.code = e.rule
LEFT JOIN words a ON a.list = 'rating' AND a.code = e.rating
WHERE t.client_id = (SELECT gis.client());

-- +goose StatementBegin
CREATE OR REPLACE FUNCTION gis.limits(view text) RETURNS TABLE (field text, low float8, high float8, ends text) LANGUAGE sql IMMUTABLE AS $$
    SELECT l.field, l.low, l.high, l.ends FROM (VALUES
        ('trees', 'dbh_cm', 0, 1500, '()'), ('trees', 'stems', 1, 32767, '[]'), ('trees', 'height_m', 0, 130, '()'), ('trees', 'crown_radius_m', 0, 50, '()'),
        ('trees', 'crown_north_m', 0, 50, '[)'), ('trees', 'crown_east_m', 0, 50, '[)'), ('trees', 'crown_south_m', 0, 50, '[)'), ('trees', 'crown_west_m', 0, 50, '[)'),
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

-- +goose StatementBegin
CREATE OR REPLACE FUNCTION gis.edit_tree() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER AS $$
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
            lean_deg, lean_bearing_deg, brittle, crown_north_m, crown_east_m, crown_south_m, crown_west_m, extra, changed_by, geometry)
        VALUES (client, place, coalesce(NEW.source_id, 'hand:' || gen_random_uuid()), NEW.tag, NEW.source_id, NEW.species, NEW.common_name, NEW.status, gis.metres(NEW.dbh_cm), NEW.stems, NEW.height_m, NEW.crown_radius_m,
            NEW.condition, NEW.planted_year, NEW.lean_deg, NEW.lean_bearing_deg, NEW.brittle,
            NEW.crown_north_m, NEW.crown_east_m, NEW.crown_south_m, NEW.crown_west_m, NEW.extra, actor(), NEW.geometry)
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
        crown_north_m = CASE WHEN NEW.crown_north_m IS NOT DISTINCT FROM OLD.crown_north_m THEN t.crown_north_m ELSE NEW.crown_north_m END,
        crown_east_m = CASE WHEN NEW.crown_east_m IS NOT DISTINCT FROM OLD.crown_east_m THEN t.crown_east_m ELSE NEW.crown_east_m END,
        crown_south_m = CASE WHEN NEW.crown_south_m IS NOT DISTINCT FROM OLD.crown_south_m THEN t.crown_south_m ELSE NEW.crown_south_m END,
        crown_west_m = CASE WHEN NEW.crown_west_m IS NOT DISTINCT FROM OLD.crown_west_m THEN t.crown_west_m ELSE NEW.crown_west_m END,
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

-- As in 00004: what was made anew is to find its names where this migration does.
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
