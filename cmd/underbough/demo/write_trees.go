package demo

import (
	"fmt"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
)

// treeFeatureRules maps the file of street and park trees. Its dbh does not say
// its unit, so the rules do.
var treeFeatureRules = []string{
	"tag=tag", "species=species", "common_name=common_name", "status=status", "dbh=dbh:cm", "height=height_m:m",
	"crown_diameter=crown_diameter_m:m", "condition=condition", "planted_year=planted_year",
	"lean=lean_deg:deg", "lean_bearing=lean_toward", "brittle=brittle", "crown=crown",
	"topped_year=topped_year", "headed_year=headed_year", "lion_tailed_year=lion_tailed_year",
}

// treeFeatures is the file of street and park trees.
func (w *writer) treeFeatures(t *town) []byte {
	var features [][]byte
	for _, tr := range t.trees {
		if tr.group != groupRetail {
			p := treeProps(tr)
			if tr.outline != nil {
				p["crown"] = w.geometry(orb.Polygon{tr.outline})
			}
			features = append(features, feature("tree-"+tr.tag, w.geometry(tr.at), p))
		}
	}
	for i, dirty := range w.dirtyTrees(t) {
		features = slices.Insert(features, 150*(i+1), dirty)
	}
	return collection(features)
}

func treeProps(tr *tree) props {
	p := props{
		"tag": tr.tag, "species": tr.kind.name, "common_name": tr.kind.common, "status": string(tr.status),
		"planted_year": tr.planted, "location": tr.place, "note": "invented",
	}
	set := func(name string, v any, given bool) {
		if given {
			p[name] = v
		}
	}
	set("dbh", round(tr.dbh, 1), !tr.noDBH && len(tr.stems) == 0)
	set("dbh", stems(tr.stems, 1), !tr.noDBH && len(tr.stems) > 0)
	set("height_m", round(tr.height, 1), !tr.noHeight)
	set("crown_diameter_m", round(tr.crown, 1), !tr.noCrown)
	set("condition", tr.condition, tr.condition != "")
	set("removal_reason", tr.reason, tr.reason != "")
	set("topped_year", tr.topped, tr.topped > 0)
	set("headed_year", tr.headed, tr.headed > 0)
	set("lion_tailed_year", tr.tailed, tr.tailed > 0)
	set("lean_deg", round(tr.lean, 0), tr.lean > 0)
	set("lean_toward", compass[int(tr.leanTo/22.5+0.5)%16], tr.lean > 0)
	set("brittle", "yes", tr.brittle)
	if len(tr.nested) > 0 {
		var cuts []props
		for _, c := range tr.nested {
			cuts = append(cuts, cutProps(c))
		}
		p["cuts"] = cuts
	}
	return p
}

// stems writes several stems as 31.2; 20.1, which the import combines.
func stems(list []float64, per float64) string {
	var parts []string
	for _, d := range list {
		parts = append(parts, figure(d*per, 1))
	}
	return strings.Join(parts, "; ")
}

// cutProps is a cut inside a tree's record; what was not recorded is left out.
func cutProps(c cut) props {
	p := props{"kind": string(c.kind), "made_year": c.year}
	set := func(name string, v float64, digits int) {
		if v > 0 {
			p[name] = round(v, digits)
		}
	}
	set("count", float64(c.count), 0)
	set("diameter_cm", c.diameter, 1)
	set("lateral_diameter_cm", c.lateral, 1)
	set("height_m", c.height, 1)
	set("reach_m", c.reach, 1)
	set("stub_length_m", c.stub, 2)
	set("closure_pct", c.closure, 0)
	set("bare_share_pct", c.bare, 0)
	set("regrowth_count", float64(c.shoots), 0)
	set("regrowth_length_m", c.regrowth, 1)
	set("regrowth_diameter_mm", c.shootCM*10, 0)
	if c.bearing >= 0 {
		p["bearing_deg"] = degrees(c.bearing)
	}
	if c.decay {
		p["decay"] = true
	}
	return p
}

// degrees is a bearing to five degrees, as one reads it off a compass.
func degrees(b float64) int { return int(b/5+0.5) * 5 % 360 }

const treeTableMapping = `# How the retail park's own table of invented trees is read.
tag: TreeNo
species: Species
common_name: Common
status:
  from: State
  values: {standing: alive, dead standing: dead, gone: removed}
dbh: {from: DIAMETER, unit: in}
height: {from: HEIGHT, unit: ft}
crown_diameter: {from: SPREAD, unit: ft}
condition: Condition
planted_year: Planted
topped_year: Topped
`

const (
	inchPerCM = 1 / 2.54
	footPerM  = 1 / 0.3048
)

// treeTable is the retail park's table.
func (w *writer) treeTable(t *town) []byte {
	words := map[inventory.TreeStatus]string{inventory.Alive: "standing", inventory.Dead: "dead standing", inventory.Stump: "stump", inventory.Removed: "gone"}
	var rows [][]string
	for _, tr := range t.trees {
		if tr.group != groupRetail {
			continue
		}
		row := []string{tr.tag, tr.kind.name, tr.kind.common, "", "", "", words[tr.status], tr.condition, whole(tr.planted), whole(tr.topped), tr.place, tr.reason, "invented"}
		if !tr.noDBH {
			row[3] = figure(tr.dbh*inchPerCM, 1)
			if len(tr.stems) > 0 {
				row[3] = stems(tr.stems, inchPerCM)
			}
		}
		if !tr.noHeight {
			row[4] = figure(tr.height*footPerM, 0)
		}
		if !tr.noCrown {
			row[5] = figure(tr.crown*footPerM, 0)
		}
		p := w.lonlat(tr.at)
		rows = append(rows, append(row, fmt.Sprintf("%.7f", p[0]), fmt.Sprintf("%.7f", p[1])))
	}
	for i, dirty := range w.dirtyTableTrees() {
		rows = slices.Insert(rows, 40*(i+1), dirty)
	}
	return table([]string{"TreeNo", "Species", "Common", "DIAMETER", "HEIGHT", "SPREAD", "State", "Condition", "Planted", "Topped", "Where", "WhyGone", "Note", "Longitude", "Latitude"}, rows)
}

var compass = []string{"N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW"}

// cutTable is the file of cuts by tag; its columns name their units.
func (w *writer) cutTable(t *town) []byte {
	var rows [][]string
	for i, c := range t.cuts {
		bearing := ""
		switch {
		case c.bearing < 0:
		case i%3 == 0: // some crews write the point of the compass
			bearing = compass[int(c.bearing/22.5+0.5)%16]
		default:
			bearing = fmt.Sprint(degrees(c.bearing))
		}
		rows = append(rows, []string{
			fmt.Sprintf("cut-%04d", i+1), c.tag, string(c.kind), whole(c.year), whole(c.count), figure(c.diameter*10, 0), figure(c.lateral*10, 0),
			figure(c.height, 1), bearing, figure(c.reach, 1), figure(c.stub*100, 0), figure(c.closure, 0), yes(c.decay),
			figure(c.regrowth*footPerM, 0), whole(c.shoots), figure(c.shootCM, 1), "invented",
		})
	}
	for i, dirty := range w.dirtyCuts(t) {
		rows = slices.Insert(rows, 100*(i+1), dirty)
	}
	return table([]string{"cut_id", "tag", "cut_kind", "year", "count", "diameter_mm", "lateral_diameter_mm", "height_m", "bearing", "reach_m",
		"stub_length_cm", "closure_pct", "decay", "regrowth_length_ft", "regrowth_count", "regrowth_diameter_cm", "note"}, rows)
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return ""
}

// visitTable is the file of visits by tag.
func (w *writer) visitTable(t *town) []byte {
	var rows [][]string
	for _, v := range t.visits {
		rows = append(rows, []string{v.tag, v.on, v.by, v.condition, v.wholeTree, v.crown, v.limb, figure(v.height*footPerM, 0),
			figure(v.stem, 0), figure(v.decay, 0), figure(v.wall, 1), figure(v.opening, 0), v.points, v.note})
	}
	rows = slices.Insert(rows, 60, w.dirtyVisit(t))
	return table([]string{"tag", "visited_on", "visited_by", "condition", "whole_tree", "crown", "limb", "height_ft",
		"stem_diameter_cm", "decay_diameter_cm", "sound_wall_cm", "opening_share_pct", "other_points", "note"}, rows)
}
