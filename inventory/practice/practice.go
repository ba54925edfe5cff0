// Package practice holds what specifications, windows, costs and programmes
// assume: limits of pruning, the visits of a restoration, closed days, hours and
// what work is taken to do. Like a profile it is a versioned YAML text in which
// each number carries its source.
package practice

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"

	"github.com/goccy/go-yaml"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
)

//go:embed default.yaml
var defaultText []byte

// Number is one assumed figure and where it comes from.
type Number = profile.Number

// Work is a kind of work on a tree.
type Work string

// The kinds of work. A second opinion is no pruning: somebody qualified looks
// closer before anything is cut, and may find that the tree should go.
const (
	Restoration   Work = "restoration"    // of a topped or headed crown, over several visits
	Rebalancing   Work = "rebalancing"    // of lion-tailed limbs: shoots inside left, ends reduced
	Reduction     Work = "reduction"      // of over-extended limbs, to laterals
	Cleaning      Work = "cleaning"       // dead, broken and crossing parts, at the natural cycle
	Structural    Work = "structural"     // training of a young tree
	SecondOpinion Work = "second opinion" // of structure, by somebody qualified
)

// Works lists every kind of work.
var Works = []Work{Restoration, Rebalancing, Reduction, Cleaning, Structural, SecondOpinion}

// Pruning holds the limits of what is cut. Lengths are in metres, doses shares
// of the live crown.
type Pruning struct {
	LateralShare          Number `yaml:"lateral_share"`
	LateralSharePreferred Number `yaml:"lateral_share_preferred"`
	WoundCaution          Number `yaml:"wound_caution_m"`
	WoundMost             Number `yaml:"wound_most_m"`
	WoundParentShare      Number `yaml:"wound_parent_share"`
	StubMost              Number `yaml:"stub_most_m"` // of wood beyond the collar, or the cut's diameter where that is less
	ThreeCut              Number `yaml:"three_cut_m"`
	DeadWood              Number `yaml:"dead_wood_m"`
	Dose                  struct {
		Young        Number `yaml:"young"`
		Established  Number `yaml:"established"`
		Mature       Number `yaml:"mature"`
		Stressed     Number `yaml:"stressed"`
		ToppedLately Number `yaml:"topped_lately"`
	} `yaml:"dose"`
	DoseTotal     Number `yaml:"dose_total_share"`   // over all visits
	DoseNever     Number `yaml:"dose_never_share"`   // of one visit: above it no reason counts
	DoseTrigger   Number `yaml:"dose_trigger_share"` // of one visit: above it codes call it improper
	OverDoseYears Number `yaml:"over_dose_years"`    // without live cuts after a visit over the cap
	WorkDose      struct {
		Rebalancing Number `yaml:"rebalancing"`
		Reduction   Number `yaml:"reduction"`
		Cleaning    Number `yaml:"cleaning"`
		Structural  Number `yaml:"structural"`
	} `yaml:"work_dose"` // of one visit, within the cap
	ToppedLatelyYears Number   `yaml:"topped_lately_years"`
	CrownRatioLeast   Number   `yaml:"crown_ratio_least"`
	YoungDBH          Number   `yaml:"young_dbh_m"`
	MatureDBH         Number   `yaml:"mature_dbh_m"`
	UnusualDBH        Number   `yaml:"unusual_dbh_m"` // above it the record is to be checked
	YoungYears        Number   `yaml:"young_years"`
	StressedWords     []string `yaml:"stressed_words"`
	DyingWords        []string `yaml:"dying_words"`
	StressedPercent   Number   `yaml:"stressed_percent"` // condition up to this, 0 to 100
	OverExtendedShare Number   `yaml:"over_extended_share"`
	ReduceLengthShare Number   `yaml:"reduce_length_share"`
	GreenDensity      Number   `yaml:"green_density_kgpm3"`
	LimbTaper         Number   `yaml:"limb_taper"` // power of the share of length left to the tip
}

// RestorationVisit is one visit of a restoration.
type RestorationVisit struct {
	AfterYears Number `yaml:"after_years"` // from the first visit
	Dose       Number `yaml:"dose"`        // share of the live crown, at the most
}

// RestorationRules say how a topped crown is brought back.
type RestorationRules struct {
	Visits           []RestorationVisit     `yaml:"visits"`
	ShootsKeptLeast  Number                 `yaml:"shoots_kept_least"`
	ShootsKeptMost   Number                 `yaml:"shoots_kept_most"`
	ShootSpacing     Number                 `yaml:"shoot_spacing_m"`
	ShootsRemoved    Number                 `yaml:"shoots_removed_share"`
	ShootsShortened  Number                 `yaml:"shoots_shortened_share"`
	LongShoot        Number                 `yaml:"long_shoot_m"`
	Between          Number                 `yaml:"between_years"` // from one live visit to the next
	GiveUpLoss       Number                 `yaml:"give_up_loss"`
	GiveUpShoot      Number                 `yaml:"give_up_shoot_m"`
	GiveUpOccupied   Number                 `yaml:"give_up_occupied_share"` // of the hours with somebody there
	GiveUpFrequent   Number                 `yaml:"give_up_frequent_share"` // the same over places of GiveUpOver
	GiveUpOver       []inventory.TargetKind `yaml:"give_up_over"`
	GiveUpWoundStem  Number                 `yaml:"give_up_wound_stem_share"` // a decayed wound over the stem's diameter
	GiveUpDecayShare Number                 `yaml:"give_up_decay_share"`
	InnerGrowthYears Number                 `yaml:"inner_growth_years"`
	LookYears        Number                 `yaml:"look_years"` // at the most from look to look while nothing live is taken
}

// Cycle holds the years from one visit to the next, by maturity and vigour.
type Cycle struct {
	Young          Number `yaml:"young_years"`
	Established    Number `yaml:"established_years"`
	Mature         Number `yaml:"mature_years"`
	Stressed       Number `yaml:"stressed_years"`
	DeclinePerYear Number `yaml:"decline_per_year"` // share of condition lost for each year without pruning
	InspectYears   Number `yaml:"inspect_years"`
}

// Window is a run of days of the year on which work is not done without a
// decision. Both ends belong to it.
type Window struct {
	Name       string                 `yaml:"name"`
	Genera     []string               `yaml:"genera"` // botanical; empty for every tree
	Over       []inventory.TargetKind `yaml:"over"`   // standing over any of these; empty for anywhere
	Live       bool                   `yaml:"live"`   // only for work that takes live crown
	From       string                 `yaml:"from"`   // MM-DD
	To         string                 `yaml:"to"`     // over New Year where it comes before From
	Open       bool                   `yaml:"open"`   // the client decided that it does not hold here
	Urgent     string                 `yaml:"urgent"` // allowed, survey or blocked
	UrgentNote string                 `yaml:"urgent_note"`
	Reason     string                 `yaml:"reason"`
	Source     string                 `yaml:"source"`
}

// Drought is a declared drought, YYYY-MM-DD, both ends included: no live crown is
// taken.
type Drought struct {
	From   string `yaml:"from"`
	To     string `yaml:"to"`
	Source string `yaml:"source"`
}

// Windows are the days closed to work.
type Windows struct {
	Note    string    `yaml:"note"`
	List    []Window  `yaml:"list"`
	Drought []Drought `yaml:"drought"`
}

// Minutes are figures by diameter class.
type Minutes struct {
	Values []float64 `yaml:"values"`
	Source string    `yaml:"source"`
}

// Rates turn work into hours and hours into money.
type Rates struct {
	Currency        string                          `yaml:"currency"`
	CrewHourCost    Number                          `yaml:"crew_hour_cost"`
	CrewSize        Number                          `yaml:"crew_size"`
	Classes         []float64                       `yaml:"classes_m"` // upper bounds, the last class has none
	Light           Minutes                         `yaml:"light_minutes"`
	Heavy           Minutes                         `yaml:"heavy_minutes"`
	Preparation     Number                          `yaml:"preparation_minutes"`
	Travel          Number                          `yaml:"travel_minutes"`
	CleanUpPerMetre Number                          `yaml:"clean_up_minutes_per_m"`
	Young           Number                          `yaml:"young_minutes"`
	Work            map[Work]Number                 `yaml:"work"`
	TrafficHours    map[inventory.TargetKind]Number `yaml:"traffic_hours"`
	UtilityFactor   Number                          `yaml:"utility_factor"`
	Tall            Number                          `yaml:"tall_m"`
	TallFactor      Number                          `yaml:"tall_factor"`
	OffRoadFactor   Number                          `yaml:"off_road_factor"`
	GroupHours      Number                          `yaml:"group_hours"`
}

// Effect is what the client takes work to do.
type Effect struct {
	TakesOff map[Work]Number `yaml:"takes_off"` // share of expected harm, a visit
	Lasts    Number          `yaml:"lasts_years"`
}

// Practice is one whole set of assumptions.
type Practice struct {
	Name        string           `yaml:"name"`
	Version     int              `yaml:"version"`
	Pruning     Pruning          `yaml:"pruning"`
	Restoration RestorationRules `yaml:"restoration"`
	Cycle       Cycle            `yaml:"cycle"`
	Windows     Windows          `yaml:"windows"`
	WorkHours   WorkHours        `yaml:"work_hours"`
	Rates       Rates            `yaml:"rates"`
	Effect      Effect           `yaml:"effect"`
	// Text is what it was read from, and Digest identifies it (SHA-256, hex).
	Text   []byte `yaml:"-"`
	Digest string `yaml:"-"`
}

// Default returns the practice that is built in.
func Default() *Practice {
	p, err := Parse(defaultText)
	if err != nil {
		panic("the built-in practice does not parse: " + err.Error())
	}
	return p
}

// DefaultText returns the text of the built-in practice, to copy and change.
func DefaultText() []byte { return bytes.Clone(defaultText) }

// Parse reads a practice. The error names the line and the field at fault.
func Parse(b []byte) (*Practice, error) {
	if len(bytes.TrimSpace(b)) == 0 {
		return nil, inventory.Errorf(inventory.Invalid, "practice: the text is empty: begin with a copy of the built-in one (underbough practice)")
	}
	var p Practice
	if err := yaml.NewDecoder(bytes.NewReader(b), yaml.Strict()).Decode(&p); err != nil {
		return nil, inventory.Errorf(inventory.Invalid, "practice: %s", yaml.FormatError(err, false, true))
	}
	sum := sha256.Sum256(b)
	p.Text, p.Digest = bytes.Clone(b), hex.EncodeToString(sum[:])
	if err := p.validate(); err != nil {
		return nil, profile.Fault("practice", b, err)
	}
	return &p, nil
}
