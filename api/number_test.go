package api

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
)

// strconvFloat is what strconv says of a number, with zeros and a sign taken
// off: the nearest decimal, the even one of two as near.
func strconvFloat(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}

func TestAppendFloat(t *testing.T) {
	check := func(v float64, decimals int) {
		if got, want := string(appendFloat([]byte("x"), v, decimals)), "x"+strconvFloat(v, decimals); got != want {
			t.Errorf("%v to %d decimals: %s, strconv says %s", v, decimals, got, want)
		}
	}
	rng := rand.New(rand.NewPCG(7, 1))
	for range 500_000 {
		decimals := rng.IntN(13)
		check((rng.Float64()-0.5)*math.Pow(10, rng.Float64()*14-2), decimals)
		check(math.Float64frombits(rng.Uint64()&^(0x7ff<<52)|uint64(960+rng.IntN(140))<<52), decimals) // of any size that fits a page
		// On and about the half of a last decimal, where rounding is hardest.
		half := (float64(rng.Int64N(4_000_000_000)) + 0.5) / math.Pow10(decimals)
		for _, v := range []float64{half, math.Nextafter(half, 0), math.Nextafter(half, math.Inf(1)), -half} {
			check(v, decimals)
		}
		check(float64(rng.Int64N(1<<20))/64, rng.IntN(7)) // exact halves
		check(math.Round(rng.Float64()*360e7-180e7)/1e7, 7)
	}
	for _, v := range []float64{0, math.Copysign(0, -1), -1e-9, 5e-8, -5e-8, 1, -1, 10, 100, 180, 1e15, 1 << 52, 1 << 53, 1e22, math.MaxFloat64, math.SmallestNonzeroFloat64, 0.99999999, 9.9999999} {
		for decimals := range 13 {
			check(v, decimals)
		}
	}
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		if got := string(appendFloat(nil, v, 3)); got != "null" {
			t.Errorf("%v: %s", v, got)
		}
	}
}

func BenchmarkAppendFloat(b *testing.B) {
	var buf []byte
	for i := range b.N {
		buf = appendFloat(buf[:0], 25.2800001+float64(i&1023)*1.44e-5, decimalsOfDegrees)
	}
}

func BenchmarkAppendEWKB(b *testing.B) {
	point := binary.LittleEndian.AppendUint32([]byte{1}, 1|0x20000000)
	point = binary.LittleEndian.AppendUint32(point, 4326)
	point = binary.LittleEndian.AppendUint64(point, math.Float64bits(25.28123456789))
	point = binary.LittleEndian.AppendUint64(point, math.Float64bits(54.68123456789))
	ring := binary.LittleEndian.AppendUint32([]byte{1}, 3)
	ring = binary.LittleEndian.AppendUint32(ring, 1)
	ring = binary.LittleEndian.AppendUint32(ring, 65)
	for i := range 65 {
		sin, cos := math.Sincos(float64(i%64) * math.Pi / 32)
		ring = binary.LittleEndian.AppendUint64(ring, math.Float64bits(25.28+1e-4*cos))
		ring = binary.LittleEndian.AppendUint64(ring, math.Float64bits(54.68+1e-4*sin))
	}
	for name, geometry := range map[string][]byte{"point": point, "outline of 64 corners": ring} {
		b.Run(name, func(b *testing.B) {
			var buf []byte
			var err error
			for b.Loop() {
				if buf, err = lonLat.appendEWKB(buf[:0], geometry); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// Clients take a column's type from the first values they see.
func TestRealHasAPoint(t *testing.T) {
	for v, want := range map[float64]string{0: "0.0", 9: "9.0", -3: "-3.0", 0.25: "0.25", 1e15: "1000000000000000.0", math.Inf(1): "null"} {
		if got := string(appendReal(nil, v, 2)); got != want {
			t.Errorf("%v is written %s, expected %s", v, got, want)
		}
	}
}
