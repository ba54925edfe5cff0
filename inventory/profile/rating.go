package profile

import "fmt"

// Method is how a part's likelihood, what it would hit and what that would do
// become one rating.
type Method string

// The methods.
const (
	Matrices Method = "matrices" // the qualitative method's two matrices
	Points   Method = "points"   // the sum of points of the USDA Forest Service's community rating
)

// Methods lists every method.
var Methods = []Method{Matrices, Points}

// Rating says how parts are rated. Both methods' numbers are always given.
type Rating struct {
	Method    Method       `yaml:"method"`
	TimeFrame Number       `yaml:"time_frame_years"` // that the words of likelihood hold for
	Points    PointsRating `yaml:"points"`
}

// PointsRating holds the classes of the point rating: failure 1 to 4, size of
// part 1 to 3, target 1 to TargetMax, other 0 to OtherMax.
type PointsRating struct {
	Failure struct {
		Improbable Number `yaml:"improbable"`
		Possible   Number `yaml:"possible"`
		Probable   Number `yaml:"probable"`
		Imminent   Number `yaml:"imminent"`
	} `yaml:"failure"`
	SoundShell  Number `yaml:"sound_shell"` // thinnest sound wall over the stem's radius
	GirthSome   Number `yaml:"girth_some"`  // share of the girth with a defect
	GirthMuch   Number `yaml:"girth_much"`
	MediumPart  Number `yaml:"medium_part_m"`
	LargePart   Number `yaml:"large_part_m"`
	UnknownPart Number `yaml:"unknown_part_points"`
	TargetMax   Number `yaml:"target_max"`
	VehiclesMax Number `yaml:"vehicles_target_max"` // where only vehicles without people stand
	Brittle     Number `yaml:"brittle_points"`
	OtherMax    Number `yaml:"other_max"`
}

func (r *Rating) validate() error {
	if r.Method != Matrices && r.Method != Points {
		return fmt.Errorf("rating.method: %q: expected one of %v", r.Method, Methods)
	}
	p, f := &r.Points, &r.Points.Failure
	for _, n := range []struct {
		name    string
		value   float64
		lo, hi  float64
		notLess float64
	}{
		{"failure.improbable", f.Improbable.Value, 1, 4, 1},
		{"failure.possible", f.Possible.Value, 1, 4, f.Improbable.Value},
		{"failure.probable", f.Probable.Value, 1, 4, f.Possible.Value},
		{"failure.imminent", f.Imminent.Value, 1, 4, f.Probable.Value},
		{"unknown_part_points", p.UnknownPart.Value, 1, 3, 1},
		{"target_max", p.TargetMax.Value, 1, 4, 1},
		{"vehicles_target_max", p.VehiclesMax.Value, 1, 4, 1},
		{"brittle_points", p.Brittle.Value, 0, p.OtherMax.Value, 0},
		{"other_max", p.OtherMax.Value, 0, 2, 0},
	} {
		if n.value != float64(int(n.value)) || n.value < n.lo || n.value > n.hi {
			return fmt.Errorf("rating.points.%s: %v: expected a whole number from %v to %v", n.name, n.value, n.lo, n.hi)
		}
		if n.value < n.notLess {
			return fmt.Errorf("rating.points.%s: %v: expected no fewer points than for a less likely failure, %v", n.name, n.value, n.notLess)
		}
	}
	if p.MediumPart.Value > p.LargePart.Value {
		return fmt.Errorf("rating.points.medium_part_m: %v is above large_part_m, %v", p.MediumPart.Value, p.LargePart.Value)
	}
	if p.GirthSome.Value > p.GirthMuch.Value {
		return fmt.Errorf("rating.points.girth_some: %v is above girth_much, %v", p.GirthSome.Value, p.GirthMuch.Value)
	}
	return nil
}
