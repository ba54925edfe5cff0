package doubt

import "math"

// mix is the finaliser of splitmix64 (Steele, Lea and Flood 2014): a bijection
// of 64 bits whose output looks random for inputs that do not.
func mix(x uint64) uint64 {
	x ^= x >> 30
	x *= 0xbf58476d1ce4e5b9
	x ^= x >> 27
	x *= 0x94d049bb133111eb
	return x ^ x>>31
}

// step is splitmix64's increment, 2^64 over the golden ratio.
const step = 0x9e3779b97f4a7c15

// The streams, so that a tree and a target with the same key differ.
const (
	treeStream = iota + 1
	targetStream
)

// base is what the keys of a stream are mixed with in one draw.
func base(seed uint64, draw int, stream uint64) uint64 {
	return mix(mix(seed+stream*step) + uint64(draw)*step)
}

// Bits that a normal number is made of, and a likelihood.
const (
	cellBits   = 12
	withinBits = 7
	normalBits = 1 + cellBits + withinBits // a sign, a cell and a place in it
	shareBits  = 12
	cells      = 1 << cellBits
)

// normals is the normal quantile at 1/2 + i/(2·cells).
type normals [cells + 1]float32

func newNormals() *normals {
	var t normals
	for i := range cells {
		t[i] = float32(math.Sqrt2 * math.Erfinv(float64(i)/cells))
	}
	// The last cell goes on for ever; its end is put where the cell keeps its
	// mean, density over share.
	z := float64(t[cells-1])
	mean := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) * 2 * cells
	t[cells] = float32(2*mean - z)
	return &t
}

// at returns a standard normal number for normalBits random bits. Between the
// points of the table it is linear: off by less than 0.001 up to three standard
// deviations, and at most 4.2.
func (t *normals) at(bits uint64) float32 {
	i := bits >> withinBits & (cells - 1)
	// The place in the cell, with a half after the last bit, is put into the
	// mantissa of a number from 1 to 2.
	place := uint32(bits)<<1 | 1
	within := math.Float32frombits(0x3f800000|place<<(23-withinBits-1)&(1<<23-1)) - 1
	z := t[i] + float32(within*(t[i+1]-t[i]))
	sign := uint32(bits>>(normalBits-1)) & 1 << 31
	return math.Float32frombits(math.Float32bits(z) | sign)
}

// exp2 returns 2 to the power of x, within 8e-6 of it relatively and exactly 1
// for zero; x is within ±126. The sum with a great number rounds x to a
// whole one, whose bits are then added to the exponent; for the rest, from −½ to
// ½, the polynomial goes through 2^f at 0 and four Chebyshev points. Each product
// is rounded by itself, so that machines that could fuse it with the sum come to
// the same bits.
func exp2(x float32) float32 {
	const great = 3 << 22 // its last bit is worth 1, and its last 9 bits are zero
	n := x + great
	f := x - (n - great)
	p := 0.055838282946219404 + float32(f*0.009656710288545166)
	p = 0.2402253009741223 + float32(f*p)
	p = 0.6931367338836215 + float32(f*p)
	p = 1 + float32(f*p)
	return math.Float32frombits(math.Float32bits(p) + math.Float32bits(n)<<23)
}
