package main

import (
	"io"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/mechanics"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// explanationJSON is one tree's sum for programs.
func explanationJSON(w io.Writer, sweep *ranking.Sweep, x *question.Explanation) error {
	t, d, a := &x.Facts.Tree, &x.Assessment.Dimensions, x.Assessment
	out := &orderedMap{}
	out.set("site", sweep.Site.Name)
	out.set("tree_id", t.ID)
	out.set("tag", t.Tag)
	out.set("source_id", t.SourceID)
	out.set("species", t.Species)
	out.set("longitude", t.Point[0])
	out.set("latitude", t.Point[1])
	out.set("reason", x.Paragraph())
	out.set("height_m", ranking.Rounded(d.Height))
	out.set("height_se_m", ranking.Rounded(d.HeightSE))
	out.set("height_from", d.HeightFrom.String())
	if d.HeightTopped {
		out.set("height_note", exposure.ToppedHeight)
	}
	out.set("crown_radius_m", ranking.Rounded(d.CrownRadius))
	out.set("crown_radius_se_m", ranking.Rounded(d.CrownRadiusSE))
	out.set("crown_radius_from", d.CrownFrom.String())
	out.set("harm_index", ranking.Rounded(a.Harm*1000))
	out.set("harm_people_index", ranking.Rounded(a.HarmPeople*1000))
	out.set("harm_vehicles_index", ranking.Rounded(a.HarmProperty*1000))
	out.set("rating", a.Score.Rating.String())
	out.set("rating_people", a.Score.People.String())
	out.set("rating_property", a.Score.Property.String())
	out.set("rating_busiest_hour", a.Score.Busiest.String())
	out.set("parts", partObjects(x))
	out.set("profile", x.Profile.Name)
	out.set("profile_digest", x.Profile.Digest)
	out.set("as_of", sweep.AsOf.Format(time.DateOnly))
	out.set("mechanics_assumptions", mechanics.Assumptions(x.Profile.Mechanics))
	out.set("slope", exposure.SlopeIgnored)
	out.set("cautions", cautions)
	return encode(w, out)
}

func partObjects(x *question.Explanation) []*orderedMap {
	var parts []*orderedMap
	for i := range x.Assessment.Parts {
		p := &x.Assessment.Parts[i]
		var cut *inventory.Cut
		m := &orderedMap{}
		m.set("part", p.Part.String())
		if p.Cut >= 0 {
			cut = &x.Facts.Cuts[p.Cut]
			m.set("cut_id", cut.ID)
			m.set("cut_kind", cut.Kind)
		}
		m.set("zone", zoneWords(x, p, cut))
		m.set("zone_radius_m", ranking.Rounded(p.Zone.Radius))
		m.set("likelihood", p.Judgement.Likelihood.String())
		m.set("inferred", p.Judgement.Inferred)
		m.set("rule", p.Judgement.Rule.String())
		m.set("stale", p.Judgement.Stale)
		m.set("why", x.Screener.Why(p.Judgement, &x.Facts.Tree, cut, x.Facts.Visits))
		m.set("chance", ranking.Rounded(p.Chance))
		m.set("share_struck", p.Struck)
		setExposure(m, x, p)
		m.set("harm_people_index", ranking.Rounded(p.Harm*1000))
		m.set("harm_vehicles_index", ranking.Rounded(p.HarmProperty*1000))
		m.set("rating_people", p.Score.People.String())
		m.set("rating_property", p.Score.Property.String())
		m.set("rating_busiest_hour", p.Score.Busiest.String())
		if cut != nil {
			setRegrowth(m, x, cut)
		}
		m.set("targets", targetObjects(x, i))
		parts = append(parts, m)
	}
	return parts
}

func setExposure(m *orderedMap, x *question.Explanation, p *ranking.PartAssessment) {
	c, week, vehicles := p.Exposure.Count, x.Meter.Week(p.Exposure), x.Meter.VehicleWeek(p.Exposure)
	m.set("people", ranking.Rounded(c.Persons()))
	m.set("people_in_vehicles", ranking.Rounded(c.InVehicles))
	m.set("people_sheltered", ranking.Rounded(c.Sheltered))
	m.set("vehicles", ranking.Rounded(c.Vehicles))
	m.set("busiest_people", ranking.Rounded(week.Busiest))
	m.set("busiest_hour", week.BusiestHour)
	m.set("occupied_share", ranking.Rounded(week.Occupied))
	m.set("busiest_vehicles", ranking.Rounded(vehicles.Busiest))
	m.set("busiest_vehicles_hour", vehicles.BusiestHour)
	m.set("vehicles_meeting", ranking.Rounded(p.Exposure.Meeting.Vehicles))
	m.set("people_meeting", ranking.Rounded(p.Exposure.Meeting.Persons))
}

func setRegrowth(m *orderedMap, x *question.Explanation, cut *inventory.Cut) {
	r := x.Sizer.Regrowth(&x.Facts, cut)
	load := mechanics.Stress(r, x.Profile.Mechanics)
	if load.LeverM == 0 {
		return
	}
	m.set("shoots", r.Count)
	m.set("shoots_length_m", ranking.Rounded(r.Length))
	m.set("shoots_length_estimated", r.LengthEstimated)
	m.set("shoots_base_diameter_m", ranking.Rounded(r.BaseDiameter))
	m.set("shoots_base_diameter_estimated", r.DiameterEstimated)
	m.set("sail_area_m2", ranking.Rounded(load.SailM2))
	m.set("lever_arm_m", ranking.Rounded(load.LeverM))
	m.set("moment_nm", ranking.Rounded(load.MomentNm))
	m.set("bending_stress_mpa", ranking.Rounded(load.StressMPa))
}

func targetObjects(x *question.Explanation, part int) []*orderedMap {
	list := []*orderedMap{}
	for _, o := range x.Overlaps {
		if o.Zone != part {
			continue
		}
		t := x.Targets[o.Target]
		m := &orderedMap{}
		m.set("target_id", o.Target)
		m.set("source_id", t.SourceID)
		m.set("kind", o.Kind)
		m.set("name", t.Name)
		m.set("area_m2", ranking.Rounded(o.AreaM2))
		m.set("length_m", ranking.Rounded(o.LengthM))
		m.set("points", o.Points)
		m.set("people", ranking.Rounded(o.Count.Persons()))
		m.set("people_sheltered", ranking.Rounded(o.Count.Sheltered))
		m.set("vehicles", ranking.Rounded(o.Count.Vehicles))
		list = append(list, m)
	}
	return list
}
