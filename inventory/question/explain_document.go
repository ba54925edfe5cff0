package question

import (
	"fmt"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/mechanics"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
)

// document is an object under way, its members in their order.
type document []ranking.Property

func (d *document) set(name string, v any) { *d = append(*d, ranking.Property{Name: name, Value: v}) }

// Properties is one tree's sum for programs, opened down to each overlap: members
// in their order, whose names carry the unit. Parts and the targets of a part are
// lists of such lists.
func (x *Explanation) Properties(site inventory.Site, asOf time.Time) []ranking.Property {
	t, d, a := &x.Facts.Tree, &x.Assessment.Dimensions, x.Assessment
	out := &document{}
	out.set("site", site.Name)
	out.set("tree_id", int64(t.ID))
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
	out.set("harm_property_index", ranking.Rounded(a.HarmProperty*1000))
	out.set("weight_in_vehicle", x.Profile.Weights.Shielding.InVehicle.Value)
	out.set("weight_sheltered", x.Profile.Weights.Shielding.Sheltered.Value)
	out.set("weight_property", x.Profile.Weights.Property.Value)
	out.set("chance_over", ChanceOver(x.Profile))
	out.set("rating", a.Score.Rating.String())
	out.set("rating_people", a.Score.People.String())
	out.set("rating_property", a.Score.Property.String())
	out.set("rating_busiest_hour", a.Score.Busiest.String())
	out.set("parts", partObjects(x))
	out.set("work", workObjects(x))
	out.set("profile", x.Profile.Name)
	out.set("profile_digest", x.Profile.Digest)
	out.set("as_of", asOf.Format(time.DateOnly))
	out.set("mechanics_assumptions", mechanics.Assumptions(x.Profile.Mechanics))
	out.set("slope", exposure.SlopeIgnored)
	out.set("cautions", Cautions)
	return *out
}

// workObjects is the work done on the tree.
func workObjects(x *Explanation) [][]ranking.Property {
	list := [][]ranking.Property{}
	for i := range x.Work {
		j := &x.Work[i]
		if j.Completion == nil {
			continue
		}
		one := &document{}
		one.set("job_id", int64(j.ID))
		one.set("work", j.Work)
		one.set("visit", j.Visit)
		one.set("state", string(j.State))
		one.set("done_on", j.Completion.On.Format(time.DateOnly))
		one.set("done_by", j.Completion.By)
		one.set("harm_index_before", ranking.Rounded(j.HarmBefore*1000))
		one.set("harm_index_predicted", ranking.Rounded(j.HarmPredicted*1000))
		if j.HarmAfter.OK {
			one.set("harm_index_after", ranking.Rounded(j.HarmAfter.V*1000))
		} else {
			one.set("harm_index_after", nil)
		}
		list = append(list, *one)
	}
	return list
}

func partObjects(x *Explanation) [][]ranking.Property {
	parts := [][]ranking.Property{}
	for i := range x.Assessment.Parts {
		p := &x.Assessment.Parts[i]
		var cut *inventory.Cut
		m := &document{}
		m.set("part", p.Part.String())
		if p.Cut >= 0 {
			cut = &x.Facts.Cuts[p.Cut]
			m.set("cut_id", int64(cut.ID))
			m.set("cut_kind", string(cut.Kind))
		}
		m.set("zone", x.ZoneWords(p, cut))
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
		m.set("harm_property_index", ranking.Rounded(p.HarmProperty*1000))
		m.set("rating_people", p.Score.People.String())
		m.set("rating_property", p.Score.Property.String())
		m.set("rating_busiest_hour", p.Score.Busiest.String())
		if cut != nil {
			setRegrowth(m, x, cut)
		}
		m.set("targets", targetObjects(x, i))
		parts = append(parts, *m)
	}
	return parts
}

func setExposure(m *document, x *Explanation, p *ranking.PartAssessment) {
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
	// What the harm index is made of: the same means with each hour weighted by
	// its wind, where the profile has wind.
	h := p.Exposure.Harm
	m.set("windy_people_open", ranking.Rounded(h.People))
	m.set("windy_people_in_vehicles", ranking.Rounded(h.InVehicles))
	m.set("windy_people_sheltered", ranking.Rounded(h.Sheltered))
	m.set("windy_vehicles", ranking.Rounded(h.Vehicles))
}

// ChanceOver says what a chance of failure is over.
func ChanceOver(p *profile.Profile) string {
	switch p.Calendar.Season {
	case profile.LeafOn:
		return "a year at the rate in leaf"
	case profile.LeafOff:
		return "a year at the rate out of leaf"
	}
	return "a year"
}

func setRegrowth(m *document, x *Explanation, cut *inventory.Cut) {
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

func targetObjects(x *Explanation, part int) [][]ranking.Property {
	list := [][]ranking.Property{}
	for _, o := range x.Overlaps {
		if o.Zone != part {
			continue
		}
		t := x.Targets[o.Target]
		m := &document{}
		m.set("target_id", int64(o.Target))
		m.set("source_id", t.SourceID)
		m.set("kind", string(o.Kind))
		m.set("name", t.Name)
		m.set("area_m2", ranking.Rounded(o.AreaM2))
		m.set("length_m", ranking.Rounded(o.LengthM))
		m.set("points", o.Points)
		m.set("people", ranking.Rounded(o.Count.Persons()))
		m.set("people_sheltered", ranking.Rounded(o.Count.Sheltered))
		m.set("vehicles", ranking.Rounded(o.Count.Vehicles))
		list = append(list, *m)
	}
	return list
}

// ZoneWords says what the zone of a part is and why it is that; cut is the one that
// a limb carries.
func (x *Explanation) ZoneWords(p *ranking.PartAssessment, cut *inventory.Cut) string {
	t, s := &x.Facts.Tree, &x.Profile.Sizing
	var text string
	switch {
	case p.Zone.IsOutline():
		text = fmt.Sprintf("surveyed outline of %.1f m², to %.1f m from the stem", p.Zone.Area(), p.Zone.Radius)
	case p.Zone.IsDisc():
		text = fmt.Sprintf("disc of %.1f m", p.Zone.Radius)
	default:
		text = fmt.Sprintf("sector of %.1f m, %.0f° about bearing %.0f°", p.Zone.Radius, p.Zone.Width, p.Zone.Bearing)
	}
	switch {
	case p.Part == exposure.WholeTree:
		if t.Status == inventory.Dead || t.Brittle.Or(false) {
			text += fmt.Sprintf(", %g times the height as it would shatter", s.DeadReach.Value)
		}
		if !p.Zone.IsDisc() {
			text += fmt.Sprintf(", to the side it leans to (from %g° on)", s.LeanThreshold.Value)
		}
	case p.Part == exposure.Limb && !cut.Bearing.OK:
		text += ", the whole crown's as the limb's bearing is not recorded"
	case p.Part == exposure.Limb && !cut.Reach.OK:
		text += ", as far as the crown as the cut's distance from the trunk is not recorded"
	case p.RegrowthEstimated:
		text += ", as far as shoots are thought to have grown"
	}
	if p.Part == exposure.Crown && t.Crown != nil && !p.Zone.IsOutline() {
		text += ", as the surveyed outline could not be used"
	}
	return text
}
