package profile

import (
	"fmt"
	"math"
	"strings"
)

// limit is what a number may be: from least to most, or above least.
type limit struct {
	above       bool
	least, most float64
}

var (
	share    = limit{least: 0, most: 1}
	positive = limit{above: true, most: 1e6}
	anything = limit{least: 0, most: 1e6}
)

// limits are by field, or by section where the name ends in a dot; the longest
// name that fits counts. What reaches farther than 250 m would miss targets: the
// tallest tree that is stored has 130 m.
var limits = map[string]limit{
	"targets.walking_speed_mps":           {above: true, most: 20},
	"targets.vehicle_speed_mps":           {above: true, most: 100},
	"targets.driver_deceleration_mps2":    {above: true, most: 20},
	"targets.driver_reaction_s":           {least: 0, most: 20},
	"targets.persons_per_vehicle":         {least: 0, most: 200},
	"targets.area_per_stall_m2":           positive,
	"targets.length_per_stall_m":          positive,
	"targets.minutes_on_foot_per_vehicle": {least: 0, most: 1440},
	"sizing.dead_reach_factor":            {least: 1, most: 1.9},
	"sizing.max_crown_radius_m":           {above: true, most: 49},
	"sizing.min_crown_radius_m":           {above: true, most: 49},
	"sizing.dbh_unknown_m":                {above: true, most: 15},
	"sizing.dbh_unknown_se_m":             {least: 0, most: 15},
	"sizing.limb_sector_deg":              {above: true, most: 360},
	"sizing.lean_sector_deg":              {above: true, most: 360},
	"sizing.lean_threshold_deg":           {least: 0, most: 90},
	"mechanics.max_estimate_m":            {above: true, most: 40},
	"mechanics.gust_mps":                  {above: true, most: 150},
	"screening.lateral_share":             share,
	"weights.chance.":                     share,
	"weights.struck.":                     share,
	"weights.shielding.":                  share,
	"weights.whole_tree_chance_factor":    share,
	"weights.property":                    {least: 0, most: 1000},
	"occupancy.":                          share,
	"calibration.crown.":                  share,
}

func limitOf(path string) limit {
	found, longest := anything, 0
	for name, l := range limits {
		if len(name) > longest && (name == path || strings.HasSuffix(name, ".") && strings.HasPrefix(path, name)) {
			found, longest = l, len(name)
		}
	}
	if longest == 0 && (strings.HasSuffix(path, ".share_occupied") || strings.Contains(path, ".likelihood_")) {
		return share
	}
	return found
}

// check reports a figure that is none or is out of its limits.
func (l limit) check(path string, v float64) error {
	if !math.IsNaN(v) && v <= l.most && (v > l.least || v == l.least && !l.above) {
		return nil
	}
	if v < 0 {
		return fmt.Errorf("%s: %v is negative", path, v)
	}
	from := fmt.Sprintf("from %v", l.least)
	if l.above {
		from = fmt.Sprintf("above %v", l.least)
	}
	return fmt.Errorf("%s: %v, expected a number %s to %v", path, v, from, l.most)
}
