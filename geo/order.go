package geo

import "github.com/paulmach/orb"

// ranked is a number to be put in the order of a key.
type ranked struct {
	key uint64
	id  int32
}

// rank sorts by key and keeps the order of equals: a radix sort, as the keys
// are short and many. It returns the sorted one of the two slices it works in.
func rank(all []ranked) []ranked {
	const digit = 11
	used := uint64(0)
	for i := range all {
		used |= all[i].key
	}
	from, to := all, make([]ranked, len(all))
	for shift := uint(0); used>>shift != 0; shift += digit {
		var start [1<<digit + 1]int
		for i := range from {
			start[from[i].key>>shift&(1<<digit-1)+1]++
		}
		for i := 1; i < len(start); i++ {
			start[i] += start[i-1]
		}
		for i := range from {
			d := from[i].key >> shift & (1<<digit - 1)
			to[start[d]] = from[i]
			start[d]++
		}
		from, to = to, from
	}
	return from
}

// AlongGround is a key by which points near one another are mostly near in order:
// the place of a cell of about 150 m along a Z-order curve, in 36 bits.
func AlongGround(p orb.Point) uint64 {
	return curve(uint32((p[0]+180)*740), uint32((p[1]+90)*740))
}

// curve is a cell's place along a Z-order curve.
func curve(column, row uint32) uint64 { return spread(column) | spread(row)<<1 }

// spread puts a zero between the bits.
func spread(v uint32) uint64 {
	x := uint64(v)
	x = (x | x<<16) & 0x0000ffff0000ffff
	x = (x | x<<8) & 0x00ff00ff00ff00ff
	x = (x | x<<4) & 0x0f0f0f0f0f0f0f0f
	x = (x | x<<2) & 0x3333333333333333
	return (x | x<<1) & 0x5555555555555555
}
