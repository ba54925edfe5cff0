// Package profile holds the numbers that the engine assumes: weeks of hours,
// default occupancy by kind of target, sizes of unmeasured trees, screening
// thresholds and weights. A profile is a versioned YAML text in which each
// number carries its source; rankings store its digest.
package profile

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"fmt"
	"math"
	"slices"

	"github.com/goccy/go-yaml"

	"github.com/underbough/underbough/inventory"
)

//go:embed default.yaml
var defaultText []byte

// HoursInWeek is the number of hours of a week, from Monday 00:00.
const HoursInWeek = inventory.HoursInWeek

// MaxWeeks is how many weeks a profile may name.
const MaxWeeks = 64

// Number is one assumed figure and where it comes from.
type Number struct {
	Value  float64 `yaml:"value"`
	Source string  `yaml:"source"`
}

// Set reports whether the profile gives the number.
func (n Number) Set() bool { return n.Source != "" }

// Week is the shape of a week: 168 factors from Monday 00:00 with mean 1.
type Week [HoursInWeek]float64

// Kind is what is assumed of a target of one kind. A number that is not Set
// plays no part.
type Kind struct {
	Week           string `yaml:"week"`
	VehiclesWeek   string `yaml:"vehicles_week"` // where vehicles keep other hours than people
	PeoplePerHour  Number `yaml:"people_per_hour"`
	PeoplePresent  Number `yaml:"people_present"`
	PeoplePer100M2 Number `yaml:"people_per_100m2"`
	DwellMinutes   Number `yaml:"dwell_minutes"`
	VehiclesPerDay Number `yaml:"vehicles_per_day"`
	ShareOccupied  Number `yaml:"share_occupied"`
	TurnoverPerDay Number `yaml:"turnover_per_day"`
	Sheltered      bool   `yaml:"sheltered"`
}

// Targets is what is assumed of targets.
type Targets struct {
	WalkingSpeed      Number                        `yaml:"walking_speed_mps"`
	VehicleSpeed      Number                        `yaml:"vehicle_speed_mps"`
	PersonsPerVehicle Number                        `yaml:"persons_per_vehicle"`
	LengthPerStall    Number                        `yaml:"length_per_stall_m"`
	AreaPerStall      Number                        `yaml:"area_per_stall_m2"`
	MinutesOnFoot     Number                        `yaml:"minutes_on_foot_per_vehicle"`
	ReactionSeconds   Number                        `yaml:"driver_reaction_s"`
	Deceleration      Number                        `yaml:"driver_deceleration_mps2"`
	Kinds             map[inventory.TargetKind]Kind `yaml:"kinds"`
}

// Sizing is what is assumed of trees that were not measured, beside published
// allometry, and of the ground their parts reach.
type Sizing struct {
	MaxCrownRadius Number `yaml:"max_crown_radius_m"`
	MinCrownRadius Number `yaml:"min_crown_radius_m"`
	UnknownDBH     Number `yaml:"dbh_unknown_m"`
	UnknownDBHSE   Number `yaml:"dbh_unknown_se_m"`
	DeadReach      Number `yaml:"dead_reach_factor"`
	LimbSector     Number `yaml:"limb_sector_deg"`
	LeanThreshold  Number `yaml:"lean_threshold_deg"`
	LeanSector     Number `yaml:"lean_sector_deg"`
}

// Weights turn likelihood and exposure into one order.
type Weights struct {
	Chance struct {
		Improbable Number `yaml:"improbable"`
		Possible   Number `yaml:"possible"`
		Probable   Number `yaml:"probable"`
		Imminent   Number `yaml:"imminent"`
	} `yaml:"chance"`
	WholeTreeChance Number `yaml:"whole_tree_chance_factor"`
	Struck          struct {
		WholeTree Number `yaml:"whole_tree"`
		Crown     Number `yaml:"crown"`
		Limb      Number `yaml:"limb"`
	} `yaml:"struck"`
	Shielding struct {
		InVehicle Number `yaml:"in_vehicle"`
		Sheltered Number `yaml:"sheltered"`
	} `yaml:"shielding"`
	Property Number `yaml:"property"`
}

// Occupancy holds the least share of occupied hours of each class.
type Occupancy struct {
	Constant   Number `yaml:"constant"`
	Frequent   Number `yaml:"frequent"`
	Occasional Number `yaml:"occasional"`
}

// Profile is one whole set of assumptions.
type Profile struct {
	Name        string
	Version     int
	Weeks       map[string]Week
	Calendar    Calendar
	Wind        *Week // how windy each hour is, mean 1; nil where no client gave it
	Targets     Targets
	Sizing      Sizing
	Screening   Screening
	Rating      Rating
	Mechanics   Mechanics
	Calibration Calibration
	Weights     Weights
	Occupancy   Occupancy
	Doubt       Doubt
	// Text is what the profile was read from, and Digest identifies it (SHA-256,
	// hex), with the season where In chose another one.
	Text   []byte
	Digest string
}

type weekText struct {
	Source   string    `yaml:"source"`
	Hours    []float64 `yaml:"hours"` // all 168 in place of the days
	Weekday  []float64 `yaml:"weekday"`
	Saturday []float64 `yaml:"saturday"`
	Sunday   []float64 `yaml:"sunday"`
}

type text struct {
	Name        string              `yaml:"name"`
	Version     int                 `yaml:"version"`
	Weeks       map[string]weekText `yaml:"weeks"`
	Calendar    Calendar            `yaml:"calendar"`
	Wind        *weekText           `yaml:"wind"`
	Targets     Targets             `yaml:"targets"`
	Sizing      Sizing              `yaml:"sizing"`
	Screening   Screening           `yaml:"screening"`
	Rating      Rating              `yaml:"rating"`
	Mechanics   Mechanics           `yaml:"mechanics"`
	Calibration Calibration         `yaml:"calibration"`
	Weights     Weights             `yaml:"weights"`
	Occupancy   Occupancy           `yaml:"occupancy"`
	Doubt       Doubt               `yaml:"doubt"`
}

// Default returns the profile that is built in.
func Default() *Profile {
	p, err := Parse(defaultText)
	if err != nil {
		panic("the built-in profile does not parse: " + err.Error())
	}
	return p
}

// DefaultText returns the text of the built-in profile, to copy and change.
func DefaultText() []byte { return bytes.Clone(defaultText) }

// Parse reads a profile. The error names the line and the field at fault.
func Parse(b []byte) (*Profile, error) {
	var t text
	if len(bytes.TrimSpace(b)) == 0 {
		return nil, inventory.Errorf(inventory.Invalid, "profile: the text is empty: begin with a copy of the built-in one (underbough profile)")
	}
	if err := yaml.NewDecoder(bytes.NewReader(b), yaml.Strict()).Decode(&t); err != nil {
		return nil, inventory.Errorf(inventory.Invalid, "profile: %s", yaml.FormatError(err, false, true))
	}
	sum := sha256.Sum256(b)
	p := &Profile{
		Name: t.Name, Version: t.Version, Weeks: make(map[string]Week, len(t.Weeks)), Calendar: t.Calendar,
		Targets: t.Targets, Sizing: t.Sizing, Screening: t.Screening, Rating: t.Rating, Mechanics: t.Mechanics, Calibration: t.Calibration,
		Weights: t.Weights, Occupancy: t.Occupancy, Doubt: t.Doubt,
		Text: bytes.Clone(b), Digest: hex.EncodeToString(sum[:]),
	}
	for name, w := range t.Weeks {
		week, err := w.week()
		if err != nil {
			return nil, Fault("profile", b, fmt.Errorf("weeks.%s: %w", name, err))
		}
		p.Weeks[name] = week
	}
	if t.Wind != nil {
		wind, err := t.Wind.week()
		if err != nil {
			return nil, Fault("profile", b, fmt.Errorf("wind: %w", err))
		}
		p.Wind = &wind
	}
	if err := p.validate(); err != nil {
		return nil, Fault("profile", b, err)
	}
	return p, nil
}

// WeekNames returns the names of the weeks in order.
func (p *Profile) WeekNames() []string {
	names := make([]string, 0, len(p.Weeks))
	for n := range p.Weeks {
		names = append(names, n)
	}
	slices.Sort(names)
	return names
}

// Chance returns the yearly chance of failure of a likelihood; that of
// Unjudged is zero.
func (p *Profile) Chance(l inventory.Likelihood) float64 {
	switch l {
	case inventory.Improbable:
		return p.Weights.Chance.Improbable.Value
	case inventory.Possible:
		return p.Weights.Chance.Possible.Value
	case inventory.Probable:
		return p.Weights.Chance.Probable.Value
	case inventory.Imminent:
		return p.Weights.Chance.Imminent.Value
	}
	return 0
}

// week spreads the day shapes over the week and brings their mean to 1. A
// missing Saturday or Sunday is like a weekday.
func (w weekText) week() (Week, error) {
	if w.Source == "" {
		return Week{}, fmt.Errorf("source is missing (write 'assumption' where there is none)")
	}
	if w.Hours != nil {
		if w.Weekday != nil || w.Saturday != nil || w.Sunday != nil {
			return Week{}, fmt.Errorf("give either hours (%d figures) or weekday, saturday and sunday", HoursInWeek)
		}
		if len(w.Hours) != HoursInWeek {
			return Week{}, fmt.Errorf("hours has %d figures, expected %d from Monday 00:00", len(w.Hours), HoursInWeek)
		}
		return normalised(Week(w.Hours), "hours")
	}
	if w.Saturday == nil {
		w.Saturday = w.Weekday
	}
	if w.Sunday == nil {
		w.Sunday = w.Saturday
	}
	var week Week
	for day := range 7 {
		hours, name := w.Weekday, "weekday"
		switch day {
		case 5:
			hours, name = w.Saturday, "saturday"
		case 6:
			hours, name = w.Sunday, "sunday"
		}
		if len(hours) != 24 {
			return week, fmt.Errorf("%s has %d figures, expected 24", name, len(hours))
		}
		copy(week[day*24:], hours)
	}
	return normalised(week, "weekday, saturday and sunday")
}

// normalised brings the mean of a week to 1.
func normalised(week Week, field string) (Week, error) {
	sum := 0.0
	for h, v := range week {
		if !(v >= 0) || math.IsInf(v, 1) {
			return week, fmt.Errorf("%s, hour %d of the week: %v: expected 0 or more", field, h, v)
		}
		sum += v
	}
	if sum == 0 {
		return week, fmt.Errorf("all hours are zero")
	}
	for i := range week {
		week[i] *= HoursInWeek / sum
	}
	return week, nil
}
