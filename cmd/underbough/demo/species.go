package demo

import "math"

// species is a kind of tree with the equations of its size.
type species struct {
	name, common string
	height       equation // metres from the stem diameter in centimetres
	crown        equation // crown diameter, metres
	growth       float64  // of the stem, centimetres a year; common practice, no source
	vigour       float64  // of regrowth, about 1; common practice, no source
}

// equation is one of the forms of USDA PSW-GTR-253 (data RDS-2016-0005): the
// stem diameter x in centimetres to metres, clamped to maxCM where that is
// given, and a quadratic to its peak.
type equation struct {
	form    string
	a, b, c float64
	maxCM   float64
}

func (e equation) at(x float64) float64 {
	if e.maxCM > 0 {
		x = min(x, e.maxCM)
	}
	switch e.form {
	case "lin":
		return e.a + e.b*x
	case "quad":
		if e.c < 0 {
			x = min(x, -e.b/(2*e.c))
		}
		return e.a + e.b*x + e.c*x*x
	case "w1":
		return math.Exp(e.a + e.b*math.Log(math.Log(x+1)+e.c/2))
	case "w2":
		return math.Exp(e.a + e.b*math.Log(math.Log(x+1)) + math.Sqrt(x)*e.c/2)
	case "saturating": // a mean over species, where the species' own equation is too coarsely rounded to use
		return 1.3 + e.a*(1-math.Exp(-e.b*x))
	}
	panic("no equation form " + e.form)
}

// Where the published crown equation is a cubic, whose rounded coefficients
// cannot be used, the crown is 25 times the stem diameter (Coombes, Martin and
// Slater 2019: 24 to 27 times). The others are the rows of region NoEast.
var (
	crownByStem  = equation{form: "lin", b: 0.25}
	heightByMean = equation{form: "saturating", a: 22.4, b: 0.02}

	norwayMaple  = &species{"Acer platanoides", "Norway maple", equation{"lin", 3.16827, 0.19507, 0, 0}, equation{"quad", 1.05784, 0.25365, -0.00083, 0}, 0.75, 0.8}
	redMaple     = &species{"Acer rubrum", "Red maple", equation{"quad", 3.21698, 0.24941, -0.00065, 0}, equation{"quad", 0.20703, 0.32103, -0.00152, 0}, 0.8, 0.9}
	silverMaple  = &species{"Acer saccharinum", "Silver maple", equation{"w2", 0.42084, 1.68914, 0.00482, 58.49}, crownByStem, 1.2, 1.3}
	londonPlane  = &species{"Platanus x acerifolia", "London plane", equation{"quad", 3.29515, 0.30021, -0.00109, 0}, equation{"w1", -0.75195, 2.41418, 0.01977, 0}, 0.7, 1.1}
	honeylocust  = &species{"Gleditsia triacanthos", "Honeylocust", equation{"quad", 2.72568, 0.40207, -0.00231, 0}, equation{"w1", -0.48922, 2.32541, 0.01534, 0}, 0.9, 0.9}
	redOak       = &species{"Quercus rubra", "Northern red oak", equation{"quad", 2.98261, 0.30808, -0.00105, 0}, equation{"quad", 1.13733, 0.27575, -0.00076, 0}, 0.75, 0.7}
	pinOak       = &species{"Quercus palustris", "Pin oak", equation{"lin", 2.97948, 0.24435, 0, 0}, crownByStem, 0.85, 0.8}
	linden       = &species{"Tilia cordata", "Littleleaf linden", equation{"quad", 2.91533, 0.27146, -0.00098, 0}, crownByStem, 0.7, 1}
	greenAsh     = &species{"Fraxinus pennsylvanica", "Green ash", equation{"w1", -0.00104, 2.0008, 0.04176, 0}, crownByStem, 0.8, 1}
	americanElm  = &species{"Ulmus americana", "American elm", equation{"quad", 2.72347, 0.31773, -0.00119, 0}, crownByStem, 0.9, 1.1}
	sweetgum     = &species{"Liquidambar styraciflua", "Sweetgum", heightByMean, equation{"quad", 0.20226, 0.28690, -0.00090, 0}, 0.75, 0.8}
	ginkgo       = &species{"Ginkgo biloba", "Ginkgo", equation{"quad", 1.50395, 0.44055, -0.00251, 0}, equation{"quad", 0.56506, 0.23562, -0.00074, 0}, 0.45, 0.6}
	zelkova      = &species{"Zelkova serrata", "Japanese zelkova", equation{"w1", 0.01056, 1.93455, 0.0362, 0}, equation{"w1", -0.6785, 2.39897, 0.00585, 0}, 0.85, 0.9}
	calleryPear  = &species{"Pyrus calleryana", "Callery pear", equation{"w1", 0.39228, 1.55901, 0.02317, 54.93}, equation{"lin", 0.41182, 0.28531, 0, 54.93}, 0.8, 1}
	streetKinds  = []*species{norwayMaple, redMaple, honeylocust, linden, calleryPear, greenAsh, pinOak, ginkgo, zelkova, sweetgum}
	parkKinds    = []*species{redOak, americanElm, silverMaple, londonPlane, norwayMaple, sweetgum, pinOak, linden, ginkgo, redMaple}
	carParkKinds = []*species{calleryPear, honeylocust, silverMaple, redMaple}
	bankKinds    = []*species{americanElm, londonPlane, silverMaple}
	southKinds   = []*species{silverMaple, americanElm, redMaple, pinOak}
)
