package allometry

import (
	"fmt"
	"math"
)

// form is the shape of an equation in x, the stem diameter in centimetres, as the source names it (its table TS4).
type form uint8

const (
	lin      form = iota // a + bx
	quad                 // a + bx + cx²
	cub                  // a + bx + cx² + dx³
	loglogw1             // exp(a + b ln(ln(x+1) + c/2))
	loglogw2             // exp(a + b ln(ln(x+1)) + √x c/2)
	loglogw3             // exp(a + b ln(ln(x+1)) + x c/2)
	loglogw4             // exp(a + b ln(ln(x+1)) + x² c/2)
	expow1               // exp(a + bx + c/2)
	expow4               // exp(a + bx + x² c/2)
	loglogq              // ours, for pooled trees: exp(a + bu + cu²), u = ln(ln(x+1))
)

var forms = map[string]form{
	"lin": lin, "quad": quad, "cub": cub, "loglogw1": loglogw1, "loglogw2": loglogw2, "loglogw3": loglogw3,
	"loglogw4": loglogw4, "expow1": expow1, "expow4": expow4, "loglogq": loglogq,
}

const (
	// floorM is the part of a single tree's error that does not shrink with the tree, in metres. It was found against
	// the source's measured trees: with it, as many young as old trees lie within one error.
	floorM = 0.4
	// missedGrowth is how much of a held value is missing per unit of ln(diameter / largest diameter of the range).
	// The source's trees beyond their equation's range have it at 0.5 to 0.7.
	missedGrowth = 0.6
	// farthest is the diameter, in multiples of the range's end, from which on the error grows no more.
	farthest = 4
	// roundingD is the rounding of a published cubic's d. It is worth 5 m at 100 cm.
	roundingD = 5e-6
)

// curve is one equation with the range it holds for.
type curve struct {
	form       form
	from       Source
	a, b, c, d float64
	// lo and hi bound the diameter that enters the equation, in cm: the range, cut to where the equation rises.
	lo, hi float64
	// From shelfX on (cm), a cubic dips and may rise again: the value stays at shelf until the equation passes it.
	shelfX, shelf      float64
	dbhMin, dbhMax     float64 // cm
	valueMin, valueMax float64 // m: the least and the largest value
	relSE              float64
	// knots are the values of a form with logarithms at every stepCM from lo on: three logarithms a tree are too slow
	// for a million trees.
	knots []float64
}

// stepCM between knots is so short that what lies between differs from the equation by less than 3 mm.
const stepCM = 0.25

// at estimates the length for a diameter in metres.
func (q *curve) at(dbhM float64) Estimate {
	x := dbhM * 100
	if !(x > 0) { // also not a number
		x = 0
	}
	in := min(max(x, q.lo), q.hi)
	v := q.value(in)
	v = min(max(v, q.valueMin), q.valueMax)
	variance := q.relSE*q.relSE*v*v + floorM*floorM
	const rounding = 1e-9 // of metres into centimetres
	out := x < q.dbhMin-rounding || x > q.dbhMax+rounding
	if x > q.dbhMax {
		missed := missedGrowth * v * math.Log(min(x/q.dbhMax, farthest))
		variance += missed * missed
	}
	return Estimate{Value: v, SE: math.Sqrt(variance), From: q.from, Extrapolated: out}
}

// value is the equation at x cm within lo and hi, in metres, made to rise.
func (q *curve) value(x float64) float64 {
	if q.knots == nil {
		v := q.raw(x)
		if x > q.shelfX {
			v = max(v, q.shelf)
		}
		return v
	}
	at := (x - q.lo) / stepCM
	i := min(int(at), len(q.knots)-2)
	from, to := q.knots[i], q.knots[i+1]
	return min(from+(at-float64(i))*(to-from), to)
}

// raw is the equation itself, in metres, at x cm.
func (q *curve) raw(x float64) float64 {
	switch q.form {
	case lin:
		return q.a + q.b*x
	case quad:
		return q.a + x*(q.b+x*q.c)
	case cub:
		return q.a + x*(q.b+x*(q.c+x*q.d))
	case expow1:
		return math.Exp(q.a + q.b*x + q.c/2)
	case expow4:
		return math.Exp(q.a + q.b*x + x*x*q.c/2)
	}
	l := math.Log(x + 1)
	switch q.form {
	case loglogw1:
		// The half mean squared error stands inside the inner logarithm in this form alone: only so do the
		// published largest values come out.
		return math.Exp(q.a + q.b*math.Log(l+q.c/2))
	case loglogw2:
		return math.Exp(q.a + q.b*math.Log(l) + math.Sqrt(x)*q.c/2)
	case loglogw3:
		return math.Exp(q.a + q.b*math.Log(l) + x*q.c/2)
	case loglogw4:
		return math.Exp(q.a + q.b*math.Log(l) + x*x*q.c/2)
	}
	u := math.Log(l)
	return math.Exp(q.a + u*(q.b+u*q.c))
}

// prepare checks the equation, undoes the rounding of a cubic, and finds where the equation rises.
func (q *curve) prepare() error {
	if !(q.dbhMin > 0 && q.dbhMin < q.dbhMax && q.valueMin > 0 && q.valueMin < q.valueMax && q.relSE > 0) {
		return fmt.Errorf("range %g to %g cm, %g to %g m, relative error %g: each must be positive and rise",
			q.dbhMin, q.dbhMax, q.valueMin, q.valueMax, q.relSE)
	}
	q.lo, q.hi, q.shelfX = q.dbhMin, q.dbhMax, math.Inf(1)
	switch q.form {
	case quad:
		if q.c != 0 {
			q.rising(-q.b/(2*q.c), q.c)
		}
	case cub:
		return q.prepareCubic()
	case loglogq:
		if q.c != 0 {
			q.rising(math.Exp(math.Exp(-q.b/(2*q.c)))-1, q.c)
		}
	default: // these rise throughout where b and c do
		if q.b <= 0 || q.c < 0 {
			return fmt.Errorf("b %g and c %g: the equation must rise with the diameter", q.b, q.c)
		}
	}
	if q.form > cub {
		q.tabulate()
	}
	return nil
}

// tabulate fills the knots, to the first one at or past hi.
func (q *curve) tabulate() {
	n := int(math.Ceil((q.hi-q.lo)/stepCM)) + 1
	q.knots = make([]float64, max(n, 2))
	for i := range q.knots {
		q.knots[i] = q.raw(q.lo + float64(i)*stepCM)
	}
}

// rising keeps the side of a parabola's vertex (cm) on which it rises.
func (q *curve) rising(vertex, curvature float64) {
	if curvature > 0 {
		q.lo = min(max(q.lo, vertex), q.hi)
	} else {
		q.hi = max(min(q.hi, vertex), q.lo)
	}
}

// prepareCubic gives d back the digits that five decimals lost, by the published largest value, which the curve has
// at the largest diameter, and then finds the cubic's turning points.
func (q *curve) prepareCubic() error {
	lost := (q.valueMax - q.raw(q.dbhMax)) / (q.dbhMax * q.dbhMax * q.dbhMax)
	if math.Abs(lost) > 1.1*roundingD+roundingD/q.dbhMax {
		return fmt.Errorf("d is %.3g away from the value that reaches %g m at %g cm: more than rounding", lost, q.valueMax, q.dbhMax)
	}
	q.d += lost
	root := q.c*q.c - 3*q.b*q.d
	if root <= 0 || q.d == 0 {
		return nil
	}
	root = math.Sqrt(root)
	peak, trough := (-q.c-root)/(3*q.d), (-q.c+root)/(3*q.d)
	if q.d < 0 {
		q.lo, q.hi = max(q.lo, min(trough, q.hi)), min(q.hi, max(peak, q.lo))
		return nil
	}
	switch {
	case peak >= q.lo:
		q.shelfX, q.shelf = peak, q.raw(peak)
	case trough > q.lo:
		q.lo = min(trough, q.hi)
	}
	return nil
}
