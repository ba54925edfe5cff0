package importers

import (
	"encoding/json"
	"fmt"
	"sort"
	"strconv"
	"strings"

	"github.com/cespare/xxhash/v2"
	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/importers/source"
	"github.com/underbough/underbough/inventory"
)

// tree makes a tree of the record taken.
func (c *converter) tree(raw *source.Raw, rec *source.Record) (inventory.TreeRow, *source.Problem) {
	s := &set{c: c}
	r := inventory.TreeRow{Row: c.row(raw)}
	t := &r.Tree
	point, p := c.treePoint(rec)
	if p != nil {
		return r, p
	}
	t.Point = point
	c.outlineOf(s, rec, &r)
	if r.Crown != nil {
		r.Text = raw.Text
	}
	t.SourceID, t.Tag = s.id("source_id"), s.id("tag")
	if t.SourceID == "" && rec.ID.Kind != source.Null {
		if _, mapped := c.byName["source_id"]; !mapped {
			t.SourceID = s.featureID(rec)
		}
	}
	t.Species, t.CommonName, t.Condition = s.text("species"), s.text("common_name"), s.text("condition")
	t.Status = inventory.TreeStatus(s.choice("status"))
	if t.Status == "" {
		t.Status = inventory.Alive
	}
	stems := 0
	t.DBH = read(s, "dbh", func(f *compiled, v source.Value) (d inventory.Opt[float64], p *source.Problem) {
		d, stems, p = f.diameters(v)
		return d, p
	})
	t.Stems = s.whole("stems")
	if !t.Stems.OK && stems > 1 {
		t.Stems = inventory.Some(stems)
	}
	t.Height, t.CrownRadius = s.number("height"), s.number("crown_radius")
	if d := s.number("crown_diameter"); d.OK && !t.CrownRadius.OK {
		t.CrownRadius = inventory.Some(d.V / 2)
	}
	// Kept as they are; where all four are there and no radius is, whoever reads the
	// tree takes their mean (inventory.Tree.RadiusFromSides).
	for i, side := range [...]string{"crown_n", "crown_e", "crown_s", "crown_w"} {
		t.CrownRadii[i] = s.number(side)
	}
	t.PlantedYear = s.year("planted_year")
	if t.PlantedYear.OK && t.PlantedYear.V > c.year+1 {
		s.fail("planted_year", "the tree was planted in %d, which is yet to come", t.PlantedYear.V)
	}
	t.Lean, t.LeanBearing, t.Brittle = s.number("lean"), read(s, "lean_bearing", (*compiled).bearing), s.yesNo("brittle")
	r.Key = treeKey(*t)
	r.Cuts = c.plainCuts(s, &r)
	if c.list.text != "" {
		cuts, p := c.nestedCuts(c.list, &r)
		if p != nil {
			return r, p
		}
		r.Cuts = append(r.Cuts, cuts...)
	}
	return r, s.problem
}

// featureID returns the id of a GeoJSON Feature.
func (s *set) featureID(rec *source.Record) string {
	if n := len(rec.ID.Text); n > longestID {
		s.fail("id", "%d bytes are too long for an id: at most %d", n, longestID)
	}
	return rec.ID.Text
}

// treeKey is what a later import matches a tree on.
func treeKey(t inventory.Tree) string {
	switch {
	case t.SourceID != "":
		return t.SourceID
	case t.Tag != "":
		return "tag:" + t.Tag
	}
	return placeKey(t.Point)
}

// plainCuts makes a cut of each plain column that tells of one.
func (c *converter) plainCuts(s *set, r *inventory.TreeRow) []inventory.CutRow {
	var cuts []inventory.CutRow
	for _, column := range [...]struct {
		name string
		kind inventory.CutKind
	}{{"topped_year", inventory.CutTopping}, {"headed_year", inventory.CutHeading}, {"lion_tailed_year", inventory.CutLionTailing}} {
		f, v, ok := c.get(column.name)
		if !ok {
			continue
		}
		word := strings.ToLower(f.text(v))
		cut := inventory.CutRow{
			// Of the cell alone: a change elsewhere in the row is none of the cut.
			Row:     inventory.Row{Record: r.Record, Key: "column:" + column.name, Digest: xxhash.Sum64String(column.name + "\x1f" + word)},
			Cut:     inventory.Cut{Kind: column.kind},
			TreeRef: inventory.TreeRef{TreeKey: r.Key, TreeTag: r.Tag},
		}
		switch word {
		case "no", "false", "n", "never":
			continue
		case "yes", "true", "y", "x", "unknown":
		default:
			if cut.Year = s.year(column.name); !cut.Year.OK {
				continue
			}
			c.notInFuture(s, f.source(), cut.Cut)
		}
		cuts = append(cuts, cut)
	}
	return cuts
}

// cut makes a cut of the record taken.
func (c *converter) cut(row inventory.Row) (inventory.CutRow, *source.Problem) {
	s := &set{c: c}
	r := inventory.CutRow{Row: row}
	k := &r.Cut
	k.SourceID = s.id("source_id")
	k.Kind = inventory.CutKind(s.choice("kind"))
	k.Year, k.On = s.year("made_year"), read(s, "made_on", (*compiled).day)
	k.Count = s.whole("count")
	k.Diameter, k.LateralDiameter = s.number("diameter"), s.number("lateral_diameter")
	k.Height, k.Bearing, k.Reach = s.number("height"), read(s, "bearing", (*compiled).bearing), s.number("reach")
	k.BareShare = s.number("bare_share")
	k.StubLength, k.Closure, k.Decay = s.number("stub_length"), s.number("closure"), s.yesNo("decay")
	k.RegrowthLength, k.RegrowthCount, k.RegrowthDiameter = s.number("regrowth_length"), s.whole("regrowth_count"), s.number("regrowth_diameter")
	c.classByLateral(s, k)
	if k.Kind == "" {
		s.fail("kind", "the record does not say what kind of cut it is: expected one of %s", strings.Join(choices(inventory.CutKinds), ", "))
	}
	c.notInFuture(s, "made_year", *k)
	r.TreeSourceID, r.TreeTag = s.id("tree_source_id"), s.id("tree_tag")
	r.Key = cutKey(*k)
	return r, s.problem
}

// classByLateral applies the lateral rule where both diameters are given: to a
// cut of no named kind, and to one called reduction or heading. Other kinds
// (topping, a stub, …) say more than the rule can.
func (c *converter) classByLateral(s *set, k *inventory.Cut) {
	if k.Diameter.OK && k.LateralDiameter.OK && k.LateralDiameter.V > k.Diameter.V*2 {
		s.fail("lateral_diameter", "the lateral (%.3g m) is more than twice as thick as the cut (%.3g m): check which is which", k.LateralDiameter.V, k.Diameter.V)
		return
	}
	class, ok := inventory.ClassByLateral(k.Diameter, k.LateralDiameter, inventory.LateralShare)
	if !ok || k.Kind != "" && k.Kind != inventory.CutReduction && k.Kind != inventory.CutHeading {
		return
	}
	if k.Kind != "" && k.Kind != class {
		k.GivenKind = k.Kind
	}
	k.Kind = class
}

func (c *converter) notInFuture(s *set, field string, k inventory.Cut) {
	if year, ok := k.MadeYear(); ok && year > c.year {
		s.fail(field, "the cut is dated %d, which is yet to come", year)
	}
}

func cutKey(k inventory.Cut) string {
	if k.SourceID != "" {
		return "id:" + k.SourceID
	}
	made := ""
	if k.On.OK {
		made = k.On.V.Format("2006-01-02")
	} else if k.Year.OK {
		made = strconv.Itoa(k.Year.V)
	}
	return strings.Join([]string{string(k.Kind), made, optionKey(k.Bearing), optionKey(k.Height)}, "|")
}

// visit makes a visit of the record taken.
func (c *converter) visit(raw *source.Raw) (inventory.VisitRow, *source.Problem) {
	s := &set{c: c}
	r := inventory.VisitRow{Row: c.row(raw)}
	v := &r.Visit
	v.SourceID = s.id("source_id")
	on := read(s, "visited_on", (*compiled).day)
	if !on.OK {
		s.fail("visited_on", "the visit has no date: expected the form 2024-03-31")
	}
	v.On = on.V
	if v.On.Year() > c.year {
		s.fail("visited_on", "the visit is dated %s, which is yet to come", v.On.Format("2006-01-02"))
	}
	v.By, v.Condition, v.Note = s.text("visited_by"), s.text("condition"), s.text("note")
	v.WholeTree, v.Crown, v.Limb = s.likelihood("whole_tree"), s.likelihood("crown"), s.likelihood("limb")
	v.DBH, v.Height, v.CrownRadius = s.number("dbh"), s.number("height"), s.number("crown_radius")
	s.cavity(v)
	if v.NextOn = read(s, "next_visit_on", (*compiled).day); v.NextOn.OK && v.NextOn.V.Before(v.On) {
		s.fail("next_visit_on", "the next visit (%s) is before this one (%s)", v.NextOn.V.Format("2006-01-02"), v.On.Format("2006-01-02"))
	}
	r.TreeSourceID, r.TreeTag = s.id("tree_source_id"), s.id("tree_tag")
	r.Key = fmt.Sprintf("%s|%s", v.On.Format("2006-01-02"), strconv.FormatUint(c.said(), 36))
	return r, s.problem
}

// cavity reads what was measured of decay in the stem.
func (s *set) cavity(v *inventory.Visit) {
	v.StemDiameter, v.DecayDiameter, v.SoundWall = s.number("stem_diameter"), s.number("decay_diameter"), s.number("sound_wall")
	v.OpeningShare, v.OtherPoints = s.number("opening_share"), s.whole("other_points")
	stem := v.StemDiameter
	if !stem.OK {
		return
	}
	if v.DecayDiameter.OK && v.DecayDiameter.V > stem.V {
		s.fail("decay_diameter", "the decay (%.3g m) is wider than the stem (%.3g m): check which is which", v.DecayDiameter.V, stem.V)
	}
	if v.SoundWall.OK && v.SoundWall.V > stem.V/2*(1+1e-9) {
		s.fail("sound_wall", "the sound wall (%.3g m) is thicker than half the stem (%.3g m across): check which is which", v.SoundWall.V, stem.V)
	}
}

// said digests all that a visit says, whatever the order of its columns.
func (c *converter) said() uint64 {
	parts := make([]string, 0, len(c.fields))
	for i, f := range c.fields {
		parts = append(parts, f.Name+"="+f.text(c.values[i]))
	}
	sort.Strings(parts)
	return xxhash.Sum64String(strings.Join(parts, "\x1f"))
}

func (s *set) likelihood(name string) inventory.Likelihood {
	l, _ := inventory.ParseLikelihood(s.choice(name))
	return l
}

// target makes a target of the record taken.
func (c *converter) target(raw *source.Raw, rec *source.Record) (inventory.TargetRow, *source.Problem) {
	s := &set{c: c}
	r := inventory.TargetRow{Row: c.row(raw)}
	r.Text = raw.Text
	t := &r.Target
	if rec.GeometryProblem != nil {
		return r, rec.GeometryProblem
	}
	t.Geometry = rec.Geometry
	if err := geo.CheckGeometry(t.Geometry); err != nil {
		return r, &source.Problem{Field: "geometry", Reason: err.Error()}
	}
	r.Repair, t.Layer = rec.Repair, c.layer
	t.SourceID, t.Name = s.id("source_id"), s.text("name")
	if t.SourceID == "" && rec.ID.Kind != source.Null {
		if _, mapped := c.byName["source_id"]; !mapped {
			t.SourceID = s.featureID(rec)
		}
	}
	t.Kind = inventory.TargetKind(s.choice("kind"))
	if t.Kind == "" {
		s.fail("kind", "the record does not say what kind of target it is: give --kind for the whole file, or map kind")
	}
	t.PeoplePerHour, t.PeoplePresent, t.DwellMinutes = s.number("people_per_hour"), s.number("people_present"), s.number("dwell_minutes")
	t.VehiclesPerDay, t.Speed = s.number("vehicles_per_day"), s.number("speed")
	t.Stalls, t.ShareOccupied, t.TurnoverPerDay = s.number("stalls"), s.number("share_occupied"), s.number("turnover_per_day")
	t.Hours, t.PeopleSheltered = s.text("hours"), s.yesNo("sheltered")
	r.Key = t.Layer + "/" + shapeKey(t.Geometry)
	if t.SourceID != "" {
		r.Key = t.Layer + "/id:" + t.SourceID
	}
	return r, s.problem
}

// treePoint returns where a tree stands: at its record's point or, where the
// record is drawn as the crown, where its fields say.
func (c *converter) treePoint(rec *source.Record) (orb.Point, *source.Problem) {
	if rec.GeometryProblem != nil || !isOutline(rec.Geometry) {
		return onePoint(rec)
	}
	p, ok, problem := c.stem(rec)
	if problem != nil {
		return p, problem
	}
	if !ok {
		return p, &source.Problem{Field: "geometry", Reason: fmt.Sprintf("a %s: expected a Point; where it is the crown, give the stem in fields longitude and latitude, or load it with --as crowns onto trees that are there", rec.Geometry.GeoJSONType())}
	}
	if err := geo.CheckPoint(p[0], p[1]); err != nil {
		return p, &source.Problem{Field: "geometry", Reason: "the stem's " + err.Error()}
	}
	return p, nil
}

// onePoint returns the point of a record; a multipoint of one is a point.
func onePoint(rec *source.Record) (orb.Point, *source.Problem) {
	if rec.GeometryProblem != nil {
		return orb.Point{}, rec.GeometryProblem
	}
	var p orb.Point
	switch g := rec.Geometry.(type) {
	case orb.Point:
		p = g
	case orb.MultiPoint:
		if len(g) != 1 {
			return p, &source.Problem{Field: "geometry", Reason: fmt.Sprintf("a MultiPoint of %d points: expected one Point a tree", len(g))}
		}
		p = g[0]
	default:
		return p, &source.Problem{Field: "geometry", Reason: fmt.Sprintf("a %s: expected a Point", rec.Geometry.GeoJSONType())}
	}
	if err := geo.CheckPoint(p[0], p[1]); err != nil {
		return p, &source.Problem{Field: "geometry", Reason: err.Error()}
	}
	return p, nil
}

// cutList is the list of cuts inside a tree's record.
type cutList struct{ name, text string }

// nestedCuts reads a tree's list of cuts, each an object with the fields of a
// cut under their own names.
func (c *converter) nestedCuts(list cutList, r *inventory.TreeRow) ([]inventory.CutRow, *source.Problem) {
	var items []map[string]json.RawMessage
	if err := json.Unmarshal([]byte(list.text), &items); err != nil {
		return nil, &source.Problem{Field: list.name, Reason: "expected a list of objects, one a cut"}
	}
	var cuts []inventory.CutRow
	for i, item := range items {
		rec := source.Record{Fields: objectFields(item)}
		m, unclear := Guess(inventory.RoleCuts, names(rec.Fields))
		field := fmt.Sprintf("%s[%d]", list.name, i)
		if len(unclear) > 0 {
			return nil, &source.Problem{Field: field, Reason: "a diameter, length or height without its unit: name it with the unit, such as diameter_cm"}
		}
		one, err := newConverter(inventory.RoleCuts, m, nil, c.year)
		if err != nil {
			return nil, &source.Problem{Field: field, Reason: err.Error()}
		}
		one.take(&rec)
		row := one.row(&source.Raw{Number: r.Record, Text: mustJSON(item)})
		cut, p := one.cut(row)
		if p != nil {
			return nil, &source.Problem{Field: field + "." + p.Field, Reason: p.Reason}
		}
		cut.TreeRef = inventory.TreeRef{TreeKey: r.Key, TreeTag: r.Tag}
		cuts = append(cuts, cut)
	}
	return cuts, nil
}

// objectFields lists an object's members in the order of their names.
func objectFields(item map[string]json.RawMessage) []source.Field {
	fields := make([]source.Field, 0, len(item))
	for name, text := range item {
		v := source.Value{Kind: source.Number, Text: string(text)}
		switch {
		case len(text) > 0 && text[0] == '"':
			v.Kind = source.Text
			_ = json.Unmarshal(text, &v.Text) // it was valid JSON when it was cut out
		case string(text) == "null":
			v = source.Value{}
		case len(text) > 0 && (text[0] == '{' || text[0] == '['):
			v.Kind = source.JSON
		case string(text) == "true", string(text) == "false":
			v.Kind = source.Bool
		}
		fields = append(fields, source.Field{Name: name, Value: v})
	}
	sort.Slice(fields, func(i, j int) bool { return fields[i].Name < fields[j].Name })
	return fields
}

func names(fields []source.Field) []string {
	out := make([]string, len(fields))
	for i, f := range fields {
		out[i] = f.Name
	}
	return out
}

func mustJSON(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		panic("a decoded object does not marshal: " + err.Error())
	}
	return b
}
