package doubt

import "math"

// Digits of a key, from the last: together 31 bits, the most a harm has.
const (
	digit0, digit1, digit2 = 10, 10, 11
	size0, size1, size2    = 1 << digit0, 1 << digit1, 1 << digit2
)

// orderer puts the harms of one draw in order by radix sort, which is stable and
// so keeps ties in the order of the plants.
type orderer struct {
	first, second []uint64 // key and plant
	n0            [size0]uint32
	n1            [size1]uint32
	n2            [size2]uint32
}

// key is small where harm is great. The bits of floats from zero on are in the
// order of their values.
func key(harm float32) uint32 { return math.Float32bits(math.MaxFloat32) - math.Float32bits(harm) }

// rank writes the places of a segment's harms, the first of which is base, to a
// row that begins with the plant low of the segment.
func (o *orderer) rank(harms []float32, to row, low, base int) {
	n := len(harms)
	if cap(o.first) < n {
		o.first, o.second = make([]uint64, n), make([]uint64, n)
	}
	first, second := o.first[:n], o.second[:n]
	clear(o.n0[:])
	clear(o.n1[:])
	clear(o.n2[:])
	for _, h := range harms {
		k := key(h)
		o.n0[k%size0]++
		o.n1[k>>digit0%size1]++
		o.n2[k>>(digit0+digit1)%size2]++
	}
	running(o.n0[:], 0)
	running(o.n1[:], 0)
	running(o.n2[:], uint32(base))
	for i, h := range harms {
		k := key(h)
		at := &o.n0[k%size0]
		first[*at] = uint64(k)<<32 | uint64(i)
		*at++
	}
	for _, e := range first {
		at := &o.n1[e>>(32+digit0)%size1]
		second[*at] = e
		*at++
	}
	// The last pass knows each plant's place and needs no third list.
	for _, e := range second {
		at := &o.n2[e>>(32+digit0+digit1)%size2]
		to.set(int(uint32(e))-low, *at)
		*at++
	}
}

// running turns counts into the places where each digit begins.
func running(counts []uint32, from uint32) {
	for i, n := range counts {
		counts[i] = from
		from += n
	}
}
