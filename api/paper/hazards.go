package paper

import (
	"fmt"
	"strings"

	"github.com/underbough/underbough/inventory"
)

// longShoot is from where shoots at an old cut are named among the hazards,
// metres: about 10 ft, what such shoots grow to without side branches (common
// practice, no source).
const longShoot = 3.0

// hazards lists what the records say could hurt a crew, and what was told beside.
func hazards(j *CrewJob) (list []string) {
	t := &j.Tree
	if t.Status == inventory.Dead {
		list = append(list, "The tree is dead: wood can break without warning. Do not climb it before somebody qualified has looked.")
	}
	if t.Brittle.OK && t.Brittle.V {
		list = append(list, "Brittle wood: parts shatter and are thrown farther.")
	}
	if t.Lean.OK && t.Lean.V > 0 {
		list = append(list, fmt.Sprintf("The stem leans %s° towards %s.", fixed(t.Lean.V, 0), compass(t.LeanBearing)))
	}
	if j.LineInReach {
		list = append(list, "A utility line is within reach: line-clearance crew only, and its owner is told before.")
	}
	var decayed, long, bare []string
	for i := range t.Cuts {
		c := &t.Cuts[i]
		if c.Decay.OK && c.Decay.V {
			decayed = append(decayed, cutLetter(i))
		}
		if c.RegrowthLength.OK && c.RegrowthLength.V >= longShoot {
			long = append(long, fmt.Sprintf("%s (%s m)", cutLetter(i), fixed(c.RegrowthLength.V, 1)))
		}
		if c.Kind == inventory.CutLionTailing {
			bare = append(bare, cutLetter(i))
		}
	}
	if len(decayed) > 0 {
		list = append(list, "Decay was seen at old cuts: "+strings.Join(decayed, ", ")+". Do not tie in or rig there.")
	}
	if len(long) > 0 {
		list = append(list, "Long shoots, weakly held, at old cuts: "+strings.Join(long, ", ")+". They can tear out when loaded.")
	}
	if len(bare) > 0 {
		list = append(list, "Limbs stripped of inner branches, their weight at the ends: "+strings.Join(bare, ", ")+".")
	}
	for _, h := range j.Hazards {
		list = append(list, plain(h))
	}
	return list
}
