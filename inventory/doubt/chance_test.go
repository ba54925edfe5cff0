package doubt_test

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"github.com/underbough/underbough/inventory/doubt"
)

// The first numbers of splitmix64 seeded with 1234567, as listed at Rosetta Code,
// "Pseudo-random numbers/Splitmix64".
func TestMixIsSplitmix64(t *testing.T) {
	want := []uint64{6457827717110365317, 3203168211198807973, 9817491932198370423, 4593380528125082431, 16408922859458223821}
	for i, w := range want {
		seed := uint64(1234567)
		if got := doubt.Mix(seed + uint64(i+1)*doubt.Step); got != w {
			t.Errorf("number %d is %d, published %d", i+1, got, w)
		}
	}
}

// Quantiles of the standard normal distribution as printed in its tables, for
// instance those of the NIST/SEMATECH e-Handbook of Statistical Methods.
func TestNormalQuantiles(t *testing.T) {
	normal := doubt.Normal()
	for _, c := range []struct{ p, z float64 }{
		{0.5, 0}, {0.6, 0.2533}, {0.75, 0.6745}, {0.84134, 1}, {0.9, 1.2816}, {0.95, 1.6449},
		{0.975, 1.96}, {0.97725, 2}, {0.99, 2.3263}, {0.995, 2.5758}, {0.99865, 3}, {0.999, 3.0902},
	} {
		half := 1 << (doubt.NormalBits - 1)
		up := uint64((2*c.p - 1) * float64(half))
		if got := float64(normal(up)); math.Abs(got-c.z) > 1e-3 {
			t.Errorf("z(%v) = %.5f, in tables %v", c.p, got, c.z)
		}
		if got := float64(normal(up | uint64(half))); math.Abs(got+c.z) > 1e-3 {
			t.Errorf("z(1-%v) = %.5f, in tables %v", c.p, got, -c.z)
		}
	}
	var sum, squares, most float64
	const n = 1 << doubt.NormalBits
	for u := range uint64(n) {
		z := float64(normal(u))
		sum += z
		squares += z * z
		most = max(most, math.Abs(z))
	}
	if math.Abs(sum/n) > 1e-9 || math.Abs(squares/n-1) > 1e-3 || most > 4.2 {
		t.Errorf("mean %v, variance %v, most %v; expected 0, 1 and at most 4.2", sum/n, squares/n, most)
	}
}

// The standard library's power is the judge.
func TestExp2(t *testing.T) {
	worst := 0.0
	for x := float32(-126); x <= 126; x += 0.00137 {
		worst = max(worst, math.Abs(float64(doubt.Exp2(x))/math.Exp2(float64(x))-1))
	}
	if worst > 8e-6 {
		t.Errorf("off by %v, expected at most 8e-6", worst)
	}
	if doubt.Exp2(0) != 1 || doubt.Exp2(-126) != 0x1p-126 {
		t.Errorf("2^0 = %v, 2^-126 = %v", doubt.Exp2(0), doubt.Exp2(-126))
	}
}

// The standard library's stable sort is the judge, with ties, zeros and the
// smallest and greatest numbers among the harms.
func TestOrder(t *testing.T) {
	harm := rapid.OneOf(
		rapid.Float32Range(0, math.MaxFloat32),
		rapid.SampledFrom([]float32{0, 1, 1.0000001, 0x1p-149, 0x1p-126, math.MaxFloat32}),
		rapid.Float32Range(0, 1))
	rapid.Check(t, func(t *rapid.T) {
		harms := rapid.SliceOfN(harm, 1, 300).Draw(t, "harms")
		base := rapid.IntRange(0, 70_000).Draw(t, "base")
		got := doubt.RankOf(harms, base)
		order := make([]int, len(harms))
		for i := range order {
			order[i] = i
		}
		slices.SortStableFunc(order, func(i, j int) int {
			switch {
			case harms[i] > harms[j]:
				return -1
			case harms[i] < harms[j]:
				return 1
			}
			return 0
		})
		for place, i := range order {
			if int(got[i]) != base+place {
				t.Fatalf("harm %d (%v) has place %d, expected %d", i, harms[i], got[i], base+place)
			}
		}
	})
}

func TestSortRanks(tt *testing.T) {
	rapid.Check(tt, func(t *rapid.T) {
		most := rapid.SampledFrom([]uint32{0, 1, 500, 99_999, 9_999_999, math.MaxUint32}).Draw(t, "most")
		got := rapid.SliceOfN(rapid.Uint32Range(most/3, most), 1, 600).Draw(t, "ranks")
		want := slices.Sorted(slices.Values(got))
		doubt.SortRanks(tt, got)
		if !slices.Equal(got, want) {
			t.Fatalf("%v", got)
		}
	})
}
