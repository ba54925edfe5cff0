package api

import (
	"math"
	"strconv"
)

// powersOfTen are exact.
var powersOfTen = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9}

// pairs are the decimal digits of 0 to 99.
var pairs = func() (s [200]byte) {
	for i := range 100 {
		s[2*i], s[2*i+1] = byte('0'+i/10), byte('0'+i%10)
	}
	return s
}()

// appendFloat appends a number rounded to some decimals, without zeros at its
// end. JSON has no form for what is not a number.
//
// A number is scaled to a whole count of its last decimal, which is off by half
// a unit of its last bit; where that leaves no doubt which way to round, the
// digits are those of the count. Where it does, and for what is very large,
// strconv decides: both give the nearest decimal, the even one of two as near.
func appendFloat(dst []byte, v float64, decimals int) []byte {
	if decimals < len(powersOfTen) {
		scaled := math.Abs(v) * powersOfTen[decimals]
		if scaled < 1<<52 { // false for what is not a number
			count := uint64(scaled)
			past := scaled - float64(count) - 0.5
			if math.Abs(past) > scaled*0x1p-52 {
				if past > 0 {
					count++
				}
				return appendCount(dst, count, v < 0, decimals)
			}
		}
	}
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return append(dst, "null"...)
	}
	return appendSlow(dst, v, decimals)
}

// appendCount appends count divided by ten to the power of decimals.
func appendCount(dst []byte, count uint64, negative bool, decimals int) []byte {
	if count == 0 {
		return append(dst, '0')
	}
	for decimals > 0 && count%10 == 0 {
		count /= 10
		decimals--
	}
	var b [24]byte // 20 digits at most, a point and a sign
	at := len(b)
	if decimals > 0 {
		for ; decimals > 1; decimals -= 2 {
			q := count / 100
			two := 2 * (count - 100*q)
			count = q
			at -= 2
			b[at], b[at+1] = pairs[two], pairs[two+1]
		}
		if decimals == 1 {
			q := count / 10
			at--
			b[at] = byte('0' + count - 10*q)
			count = q
		}
		at--
		b[at] = '.'
	}
	for count >= 100 {
		q := count / 100
		two := 2 * (count - 100*q)
		count = q
		at -= 2
		b[at], b[at+1] = pairs[two], pairs[two+1]
	}
	if count >= 10 {
		at -= 2
		b[at], b[at+1] = pairs[2*count], pairs[2*count+1]
	} else {
		at--
		b[at] = byte('0' + count)
	}
	if negative {
		at--
		b[at] = '-'
	}
	return append(dst, b[at:]...)
}

func appendSlow(dst []byte, v float64, decimals int) []byte {
	start := len(dst)
	dst = strconv.AppendFloat(dst, v, 'f', decimals, 64)
	if decimals > 0 {
		for dst[len(dst)-1] == '0' {
			dst = dst[:len(dst)-1]
		}
		if dst[len(dst)-1] == '.' {
			dst = dst[:len(dst)-1]
		}
	}
	if string(dst[start:]) == "-0" {
		dst = append(dst[:start], '0')
	}
	return dst
}
