package doubt

import "math"

// MaxErrors is how many standard errors a size is drawn away at most.
const MaxErrors = 2.5

// maxSigma keeps exp(σ·z − σ²/2) within what exp2 takes.
const maxSigma = 8

// maxRatio is the greatest binary logarithm of a ratio that counts: MaxErrors
// times it is within what exp2 takes.
const maxRatio = 50

// model is an input made ready for drawing: without what cannot do harm, in
// order of class and tie-break, and with ratios turned into logarithms.
type model struct {
	plants   []plant
	parts    []part
	terms    []term
	targets  []place
	chances  []chances
	segments []segment
	// origin is the place in Input.Trees of each plant.
	origin  []int32
	normals *normals
}

// plant is a tree that can do harm.
type plant struct {
	key   uint64
	parts int32
}

type part struct {
	terms int32
	size  Size
	draw  Draw
}

// term holds the binary logarithms of high over mid and of low over mid, or the
// differences where straight is set in target.
type term struct {
	target uint32
	mid    float32
	way    [2]float32 // up, down
}

// straight marks a term that is zero at one of its three points.
const straight = 1 << 31

// place is a target in use: its occupancy is 2^(spread·z + shift) of the mean.
type place struct {
	key           uint64
	spread, shift float32
}

// chances is a spread made ready: the index of a factor for each share drawn.
type chances struct {
	index  [1 << shareBits]uint8
	factor [256]float32
}

func newTerm(m Term, target uint32) term {
	if m.Low == 0 || m.Mid == 0 || m.High == 0 {
		return term{target: target | straight, mid: m.Mid, way: [2]float32{m.High - m.Mid, m.Low - m.Mid}}
	}
	return term{target: target, mid: m.Mid, way: [2]float32{ratio(m.High, m.Mid), ratio(m.Low, m.Mid)}}
}

func ratio(a, b float32) float32 {
	r := math.Log2(float64(a)) - math.Log2(float64(b))
	return float32(min(max(r, -maxRatio), maxRatio))
}

func newPlace(t Target) place {
	s := float64(t.Sigma)
	return place{key: t.Key, spread: float32(s * math.Log2E), shift: float32(-s * s / 2 * math.Log2E)}
}

func newChances(s Spread) chances {
	var c chances
	sum, from := 0.0, 0
	for i, share := range s.Shares {
		sum += float64(share)
		to := min(int(math.Round(sum*(1<<shareBits))), 1<<shareBits)
		if i == len(s.Shares)-1 {
			to = 1 << shareBits
		}
		for ; from < to; from++ {
			c.index[from] = uint8(i)
		}
		c.factor[i] = s.Factors[i]
	}
	if len(s.Shares) == 0 {
		c.factor[0] = 1
	}
	return c
}

// lanes is how many draws are made at a time: a tree's terms are read from memory
// once for all of them.
const lanes = 8

// bases are what the keys of a stream are mixed with in each lane.
type bases [lanes]uint64

func newBases(seed uint64, draw int, stream uint64) *bases {
	var b bases
	for l := range b {
		b[l] = base(seed, draw+l, stream)
	}
	return &b
}

// occupancies draws what each target in use is multiplied by.
func (m *model) occupancies(dst [][lanes]float32, b *bases) {
	for i, t := range m.targets {
		for l := range lanes {
			z := m.normals.at(mix(b[l] ^ t.key))
			dst[i][l] = exp2(float32(t.spread*z) + t.shift)
		}
	}
}

// size is a drawn number of standard errors, laid out so that a term finds what
// it needs without a branch, which no processor could foresee.
type size struct {
	down uint32 // 1 for a negative number
	// For a term that rises on that side, then for one that falls: how far along
	// the power, which for the second is the number without its sign, and how far
	// along the straight line after it, which for the second stays zero.
	power, line [2]float32
}

func (s *size) set(z float32) {
	b := math.Float32bits(z)
	// Floats from zero on are in the order of their bits.
	by := math.Float32frombits(min(b&^(1<<31), maxErrorsBits))
	within := math.Float32frombits(min(b&^(1<<31), oneBits))
	s.down, s.power, s.line[0] = b>>31, [2]float32{within, by}, by-within
}

const (
	maxErrorsBits = 0x40200000 // of MaxErrors
	oneBits       = 0x3f800000 // of 1
)

// add adds to each lane's sum the term's harm at that lane's size, times how busy
// the target is.
func (t *term) add(sums *[lanes]float32, sizes *[lanes]size, occupancy *[lanes]float32) {
	if t.target&straight != 0 {
		for l := range lanes {
			s := &sizes[l]
			sums[l] += float32(occupancy[l] * max(0, t.mid+float32(s.power[1]*t.way[s.down&1])))
		}
		return
	}
	for l := range lanes {
		s := &sizes[l]
		way := t.way[s.down&1]
		falls := math.Float32bits(way) >> 31
		ratio := exp2(way * s.power[falls])
		ratio += float32(s.line[falls] * (ratio - 1))
		sums[l] += float32(occupancy[l] * (t.mid * ratio))
	}
}

// harms draws every plant's harm.
func (m *model) harms(dst *[lanes][]float32, occupancy [][lanes]float32, b *bases) {
	var drawn [sizes][lanes]size
	var hash [lanes]uint64
	parts, terms := m.parts, m.terms
	for i := range m.plants {
		p := &m.plants[i]
		for l := range lanes {
			h := mix(b[l] ^ p.key)
			drawn[ByHeight][l].set(m.normals.at(h))
			drawn[ByCrown][l].set(m.normals.at(h >> normalBits))
			hash[l] = h
		}
		var harm [lanes]float32
		shift := 2 * normalBits
		for k := range parts[:p.parts] {
			q := &parts[k]
			var sums [lanes]float32
			for j := range terms[:q.terms] {
				t := &terms[j]
				t.add(&sums, &drawn[q.size%sizes], &occupancy[t.target&^straight])
			}
			terms = terms[q.terms:]
			if shift > 64-shareBits {
				shift = 0
				for l := range lanes {
					hash[l] = mix(hash[l] + step)
				}
			}
			c := &m.chances[q.draw]
			for l := range lanes {
				harm[l] += float32(sums[l] * c.factor[c.index[hash[l]>>shift%(1<<shareBits)]])
			}
			shift += shareBits
		}
		parts = parts[p.parts:]
		for l := range lanes {
			dst[l][i] = harm[l]
		}
	}
}
