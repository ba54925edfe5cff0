package pruning

import (
	"fmt"
	"math"
	"strconv"

	"github.com/underbough/underbough/inventory"
)

const notRecorded = "not recorded"

// cm says a diameter given in metres.
func cm(m float64) string { return figure(math.Round(m*1000)/10) + " cm" }

// metres says a length.
func metres(m float64) string { return figure(math.Round(m*10)/10) + " m" }

// percentOf says a share.
func percentOf(share float64) string { return figure(math.Round(share*1000)/10) + " %" }

// figure says a number of the practice or a rounded one; what computing leaves
// behind its fourth decimal is no part of it.
func figure(v float64) string { return strconv.FormatFloat(math.Round(v*1e4)/1e4, 'f', -1, 64) }

// yearsOf says years that need not be whole.
func yearsOf(v float64) string {
	if v == 1 {
		return "1 year"
	}
	return figure(v) + " years"
}

// cutsOf is how many like cuts a record stands for.
func cutsOf(c *inventory.Cut) int { return max(c.Count.Or(1), 1) }

// shareWords says a share as a crew would: a third, a half.
func shareWords(share float64) string {
	switch {
	case math.Abs(share-1.0/3) < 1e-3:
		return "a third"
	case math.Abs(share-0.5) < 1e-3:
		return "a half"
	}
	return percentOf(share)
}

// count says how many of something.
func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

// describe says in words what is recorded of an old cut, or of several like ones.
func describe(c *inventory.Cut) string {
	text := string(c.Kind) + " cut"
	switch c.Kind {
	case inventory.CutLionTailing:
		text = "lion-tailed limb"
	case inventory.CutStub:
		text = "stub"
	}
	if n := cutsOf(c); n > 1 {
		text = strconv.Itoa(n) + " " + text + "s"
	}
	if year, ok := c.MadeYear(); ok {
		text += fmt.Sprintf(" of %d", year)
	}
	if c.Diameter.OK {
		text += ", " + cm(c.Diameter.V) + " across"
	} else {
		text += ", diameter " + notRecorded
	}
	if c.Height.OK {
		text += ", " + metres(c.Height.V) + " up"
	}
	if c.Bearing.OK {
		text += fmt.Sprintf(", bearing %.0f°", c.Bearing.V)
	}
	if c.Reach.OK {
		text += ", " + metres(c.Reach.V) + " out"
	}
	if c.Decay.Or(false) {
		text += ", decayed"
	}
	return text
}
