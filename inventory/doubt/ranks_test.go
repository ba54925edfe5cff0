package doubt_test

import (
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/underbough/underbough/inventory/doubt"
)

// phi is the standard normal distribution function.
func phi(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

func ranks(t interface{ Fatal(...any) }, in *doubt.Input, o doubt.Options) []doubt.Interval {
	out, err := doubt.Ranks(in, o)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// single adds a tree with one part over one target.
func single(in *doubt.Input, key int, target int32, low, mid, high float32) {
	in.AddTree(uint64(key), int32(key), 0)
	in.AddPart(doubt.ByCrown, doubt.NoDraw)
	in.AddTerm(target, low, mid, high)
}

// within fails where a share of the draws is more than five standard errors from
// the chance it should come from.
func within(t *testing.T, what string, share float32, chance float64, draws int) {
	t.Helper()
	if off := math.Abs(float64(share) - chance); off > 5*math.Sqrt(chance*(1-chance)/float64(draws))+1e-4 {
		t.Errorf("%s: share %.4f, chance %.4f", what, share, chance)
	}
}

const manyDraws = 20_000

// The logarithms of two lognormals of given means are normal with means
// log m − σ²/2; that the first is greater has the chance Φ of their difference
// over √(σ1² + σ2²).
func TestTwoLognormalsInClosedForm(t *testing.T) {
	for seed, c := range []struct{ m1, s1, m2, s2 float64 }{
		{1, 0.3, 1, 0.3}, {1, 0.5, 1.5, 0.5}, {2, 1.1, 1, 0.3}, {1, 1.1, 1.2, 1.1}, {1, 0, 1.4, 0.5}, {3, 0.4, 1, 0.2},
	} {
		in := &doubt.Input{Targets: []doubt.Target{{Key: 5, Sigma: float32(c.s1)}, {Key: 6, Sigma: float32(c.s2)}}}
		single(in, 1, 0, float32(c.m1), float32(c.m1), float32(c.m1))
		single(in, 2, 1, float32(c.m2), float32(c.m2), float32(c.m2))
		got := ranks(t, in, doubt.Options{Draws: manyDraws, Seed: uint64(seed), Top: 1})
		want := phi((math.Log(c.m1/c.m2) - c.s1*c.s1/2 + c.s2*c.s2/2) / math.Hypot(c.s1, c.s2))
		within(t, "the first outranks the second", got[0].TopShare, want, manyDraws)
		if sum := got[0].TopShare + got[1].TopShare; math.Abs(float64(sum)-1) > 1e-6 {
			t.Errorf("the shares sum to %v", sum)
		}
	}
}

// A tree of uncertain size beside one of fixed harm: its harm is above that where
// its normal number is above the point where the joining line crosses it.
func TestSizeInClosedForm(t *testing.T) {
	e := func(x float64) float32 { return float32(math.Exp(x)) }
	for _, c := range []struct {
		name           string
		low, mid, high float32
		fixed          float32
		chance         float64
	}{
		{"between mid and high", e(-0.4), 1, e(0.4), e(0.2), 1 - phi(0.5)},
		{"between low and mid", e(-0.4), 1, e(0.4), e(-0.3), 1 - phi(-0.75)},
		{"below low, by the power", e(-0.4), 1, e(0.4), e(-0.8), 1 - phi(-2)},
		{"above high, by the straight line", e(-0.4), 1, e(0.4), float32(1 + 1.5*(math.Exp(0.4)-1)), 1 - phi(1.5)},
		{"no farther than 2.5 up", e(-0.4), 1, e(0.4), float32(1 + 2.6*(math.Exp(0.4)-1)), 0},
		{"no farther than 2.5 down", e(-0.4), 1, e(0.4), e(-0.4 * 2.6), 1},
		{"rising downwards", e(0.4), 1, e(-0.4), float32(1 + 1.5*(math.Exp(0.4)-1)), phi(-1.5)},
		{"within reach only when bigger", 0, 0, 1, 0.7, 1 - phi(0.7)},
		{"out of reach when smaller", 0, 1, 2, 0.3, 1 - phi(-0.7)},
	} {
		in := &doubt.Input{Targets: []doubt.Target{{Key: 1}}}
		single(in, 1, 0, c.low, c.mid, c.high)
		single(in, 2, 0, c.fixed, c.fixed, c.fixed)
		got := ranks(t, in, doubt.Options{Draws: manyDraws, Seed: 3, Top: 1})
		within(t, c.name, got[0].TopShare, c.chance, manyDraws)
	}
}

// Two parts by one measure are as one with the sum of their harm; two parts by
// height and crown are drawn apart, and the chance that their sum is above a
// bound is an integral.
func TestMeasuresAreDrawnApart(t *testing.T) {
	const s, bound = 0.3, 2.3
	low, high := float32(math.Exp(-s)), float32(math.Exp(s))
	tree := func(sizes ...doubt.Size) doubt.Interval {
		in := &doubt.Input{Targets: []doubt.Target{{Key: 1}}}
		in.AddTree(1, 1, 0)
		for _, size := range sizes {
			in.AddPart(size, doubt.NoDraw)
			in.AddTerm(0, low, 1, high)
		}
		single(in, 2, 0, bound, bound, bound)
		return ranks(t, in, doubt.Options{Draws: manyDraws, Seed: 3, Top: 1})[0]
	}
	within(t, "one measure", tree(doubt.ByCrown, doubt.ByCrown).TopShare, 1-phi(math.Log(bound/2)/s), manyDraws)
	grow := func(z float64) float64 {
		z = min(max(z, -doubt.MaxErrors), doubt.MaxErrors)
		if z > 1 {
			return 1 + z*(math.Exp(s)-1)
		}
		return math.Exp(s * z)
	}
	chance, step := 0.0, 0.01
	for x := -6.0; x < 6; x += step {
		for y := -6.0; y < 6; y += step {
			if grow(x)+grow(y) > bound {
				chance += step * step * math.Exp(-(x*x+y*y)/2) / (2 * math.Pi)
			}
		}
	}
	within(t, "two measures", tree(doubt.ByHeight, doubt.ByCrown).TopShare, chance, manyDraws)
}

// n exchangeable trees: each rank is as likely as any other, so that the k-th
// least of D ranks has mean k/(D+1) of n and the variance of a Beta(k, D+1−k).
func TestExchangeableTrees(t *testing.T) {
	const n, draws, top = 2000, 500, 100
	in := &doubt.Input{}
	for i := range n {
		in.Targets = append(in.Targets, doubt.Target{Key: uint64(i), Sigma: 0.5})
		single(in, i, int32(i), 1, 1, 1)
	}
	got := ranks(t, in, doubt.Options{Seed: 9, Top: top})
	expect := func(name string, k int, of func(doubt.Interval) int32) {
		a, b := float64(k), float64(draws+1-k)
		mean, sd := a/(a+b), math.Sqrt(a*b/(a+b)/(a+b)/(a+b+1))
		sum := 0.0
		for i, g := range got {
			v := float64(of(g)) / n
			sum += v
			if math.Abs(v-mean) > 5*sd {
				t.Errorf("tree %d: %s %v of n, expected %v ± %v", i, name, v, mean, sd)
			}
		}
		if math.Abs(sum/n-mean) > 5*sd/math.Sqrt(n)+1.0/n {
			t.Errorf("%s is %v of n in the mean, expected %v", name, sum/n, mean)
		}
	}
	expect("low", 25, func(v doubt.Interval) int32 { return v.Low })
	expect("median", 250, func(v doubt.Interval) int32 { return v.Median })
	expect("high", 475, func(v doubt.Interval) int32 { return v.High })
	sum := float32(0)
	for _, g := range got {
		sum += g.TopShare
		within(t, "top share", g.TopShare, float64(top)/n, draws)
	}
	if math.Abs(float64(sum)-top) > 1e-2 {
		t.Errorf("the shares sum to %v, expected %d", sum, top)
	}
}

// Trees over one walk go up and down together; each over a walk of its own would
// change places in a good part of the draws.
func TestSharedTargetNeverSwaps(t *testing.T) {
	build := func(shared bool) []doubt.Interval {
		in := &doubt.Input{Targets: []doubt.Target{{Key: 1, Sigma: 1.1}, {Key: 2, Sigma: 1.1}}}
		single(in, 1, 0, 1, 1, 1)
		second := int32(1)
		if shared {
			second = 0
		}
		single(in, 2, second, 1.01, 1.01, 1.01)
		return ranks(t, in, doubt.Options{Draws: 2000, Top: 1})
	}
	if got := build(true); got[0].TopShare != 0 || got[1] != (doubt.Interval{Low: 1, Median: 1, High: 1, TopShare: 1}) {
		t.Errorf("trees over one target swapped: %v", got)
	}
	if got := build(false); got[0].TopShare < 0.4 || got[0].Low != 1 || got[0].High != 2 {
		t.Errorf("trees over two targets did not swap: %v", got)
	}
}

func TestWithoutDoubtTheIntervalIsTheRank(t *testing.T) {
	in := &doubt.Input{Targets: []doubt.Target{{Key: 1}, {Key: 2}}, Likelihoods: make([]doubt.Spread, 2)}
	r := rand.New(rand.NewPCG(4, 4))
	type tree struct {
		harm  float32
		class uint8
	}
	trees := make([]tree, 500)
	for i := range trees {
		// Ties on purpose, which the order breaks.
		trees[i] = tree{float32(1+r.IntN(50)) / 64, uint8(r.IntN(4))}
		in.AddTree(uint64(1000-i), int32(i), trees[i].class)
		in.AddPart(doubt.ByHeight, 1) // a spread of nothing
		in.AddTerm(int32(i%2), trees[i].harm, trees[i].harm, trees[i].harm)
	}
	order := make([]int, len(trees))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		a, b := trees[i], trees[j]
		if a.class != b.class {
			return int(b.class) - int(a.class)
		}
		return int(64*b.harm) - int(64*a.harm)
	})
	got := ranks(t, in, doubt.Options{Draws: 11, Top: 20})
	for place, i := range order {
		want := doubt.Interval{Low: int32(place + 1), Median: int32(place + 1), High: int32(place + 1)}
		if place < 20 {
			want.TopShare = 1
		}
		if got[i] != want {
			t.Errorf("tree %d: %v, expected %v", i, got[i], want)
		}
	}
}

// Those without harm share the last places of their class; one that may come to
// harm somebody goes before them.
func TestTreesWithoutHarmShareTheTail(t *testing.T) {
	in := &doubt.Input{Targets: []doubt.Target{{Key: 1, Sigma: 0.3}}}
	in.AddTree(10, 0, 0) // over nothing
	single(in, 1, 0, 1, 1, 1)
	single(in, 2, 0, 0, 0, 0)
	single(in, 3, 0, 0, 0, 0.1)
	in.AddTree(11, 9, 0)
	in.AddPart(doubt.ByCrown, doubt.NoDraw)
	in.AddTree(12, 9, 2) // another class, and nobody there
	got := ranks(t, in, doubt.Options{Draws: 200, Top: 5})
	tail := doubt.Interval{Low: 4, Median: 5, High: 6, TopShare: 2.0 / 3}
	want := []doubt.Interval{tail, {Low: 2, Median: 2, High: 2, TopShare: 1}, tail, {Low: 3, Median: 3, High: 3, TopShare: 1}, tail, {Low: 1, Median: 1, High: 1, TopShare: 1}}
	if !slices.Equal(got, want) {
		t.Errorf("got      %v\nexpected %v", got, want)
	}
}

func TestNoTrees(t *testing.T) {
	if got := ranks(t, &doubt.Input{}, doubt.Options{}); len(got) != 0 {
		t.Errorf("%v", got)
	}
}

func TestTheSeedDecides(t *testing.T) {
	in := inventoryOf(3000, 900)
	o := doubt.Options{Draws: 101, Seed: 5, Top: 50, Workers: 1}
	want := ranks(t, in, o)
	for _, workers := range []int{0, 2, 3, 8} {
		before := runtime.GOMAXPROCS(max(workers, 1))
		o.Workers = workers
		got := ranks(t, in, o)
		runtime.GOMAXPROCS(before)
		if !slices.Equal(got, want) {
			t.Errorf("with %d workers the result differs", workers)
		}
	}
	for _, memory := range []int{1, 4 * 101 * 7, 4 * 101 * 1000} {
		o.Memory = memory
		if memory == 1 {
			in, want = inventoryOf(60, 20), ranks(t, inventoryOf(60, 20), doubt.Options{Draws: 101, Seed: 5, Top: 50})
		} else {
			in, want = inventoryOf(1000, 300), ranks(t, inventoryOf(1000, 300), doubt.Options{Draws: 101, Seed: 5, Top: 50})
		}
		if !slices.Equal(ranks(t, in, o), want) {
			t.Errorf("with %d bytes the result differs", memory)
		}
	}
	o.Seed++
	if slices.Equal(ranks(t, in, o), want) {
		t.Error("another seed gives the same result")
	}
}

// The order in which trees and targets are given says nothing about them.
func TestOrderGivenDoesNotMatter(t *testing.T) {
	in := inventoryOf(200, 60)
	o := doubt.Options{Draws: 40, Seed: 8, Top: 10}
	want := ranks(t, in, o)
	rapid.Check(t, func(t *rapid.T) {
		numbers := func(n int) []int {
			s := make([]int, n)
			for i := range s {
				s[i] = i
			}
			return s
		}
		trees := rapid.Permutation(numbers(len(in.Trees))).Draw(t, "trees")
		targets := rapid.Permutation(numbers(len(in.Targets))).Draw(t, "targets")
		out := &doubt.Input{Likelihoods: in.Likelihoods, Targets: make([]doubt.Target, len(targets))}
		for from, to := range targets {
			out.Targets[to] = in.Targets[from]
		}
		for _, i := range trees {
			part, term := 0, 0
			for _, before := range in.Trees[:i] {
				for range before.Parts {
					term += int(in.Parts[part].Terms)
					part++
				}
			}
			out.Trees = append(out.Trees, in.Trees[i])
			for _, p := range in.Parts[part : part+int(in.Trees[i].Parts)] {
				out.Parts = append(out.Parts, p)
				for _, m := range in.Terms[term : term+int(p.Terms)] {
					m.Target = int32(targets[m.Target])
					out.Terms = append(out.Terms, m)
				}
				term += int(p.Terms)
			}
		}
		got := ranks(t, out, o)
		for at, i := range trees {
			if got[at] != want[i] {
				t.Fatalf("tree %d: %v, expected %v", i, got[at], want[i])
			}
		}
	})
}

// What is drawn belongs to a tree's and a target's key, so that more trees over
// more targets leave the draws of the others as they were: placed before all of
// them, they move the ranks by their number and no more.
func TestDrawsBelongToTheKey(t *testing.T) {
	in := inventoryOf(300, 90)
	o := doubt.Options{Draws: 60, Seed: 2}
	alone := ranks(t, in, o)
	more := &doubt.Input{Likelihoods: in.Likelihoods, Targets: []doubt.Target{{Key: 900_000, Sigma: 1}, {Key: 900_001, Sigma: 1}}}
	for i := range 5 {
		more.AddTree(uint64(800_000+i), int32(-i), 3)
		more.AddPart(doubt.ByHeight, doubt.NoDraw)
		more.AddTerm(int32(i%2), 1, 2, 3)
	}
	more.Targets = append(more.Targets, in.Targets...)
	more.Trees = append(more.Trees, in.Trees...)
	more.Parts = append(more.Parts, in.Parts...)
	for _, m := range in.Terms {
		m.Target += 2
		more.Terms = append(more.Terms, m)
	}
	for i, v := range ranks(t, more, o)[5:] {
		if want := alone[i]; v.Low != want.Low+5 || v.Median != want.Median+5 || v.High != want.High+5 {
			t.Fatalf("tree %d: %v, alone %v", i, v, want)
		}
	}
}

func TestWhatCannotBe(t *testing.T) {
	nan := float32(math.NaN())
	for _, c := range []struct {
		name   string
		change func(*doubt.Input, *doubt.Options)
		want   string
	}{
		{"negative harm", func(in *doubt.Input, _ *doubt.Options) { in.Terms[0].Low = -1 }, "tree 1: a harm of -1 over target 0"},
		{"no number", func(in *doubt.Input, _ *doubt.Options) { in.Terms[0].High = nan }, "tree 1: a harm of NaN"},
		{"no target", func(in *doubt.Input, _ *doubt.Options) { in.Terms[0].Target = 1 }, "tree 1: target 1, but 1 are given"},
		{"no likelihood", func(in *doubt.Input, _ *doubt.Options) { in.Parts[0].Draw = 3 }, "tree 1: draw 3"},
		{"no size", func(in *doubt.Input, _ *doubt.Options) { in.Parts[0].Size = 2 }, "tree 1: size 2"},
		{"too many parts", func(in *doubt.Input, _ *doubt.Options) { in.Trees[0].Parts = 2 }, "tree 1: 2 parts, but 1 are left"},
		{"too many terms", func(in *doubt.Input, _ *doubt.Options) { in.Parts[0].Terms = 2 }, "tree 1: a part has 2 terms, but 1 are left"},
		{"terms of nobody", func(in *doubt.Input, _ *doubt.Options) { in.Parts[0].Terms = 0 }, "1 terms belong to no tree"},
		{"twice", func(in *doubt.Input, _ *doubt.Options) { in.AddTree(1, 1, 0) }, "tree 1 is given twice"},
		{"sigma", func(in *doubt.Input, _ *doubt.Options) { in.Targets[0].Sigma = -1 }, "target 0 (key 7): sigma -1"},
		{"shares", func(in *doubt.Input, _ *doubt.Options) {
			in.Likelihoods = []doubt.Spread{{}, {Factors: []float32{1, 2}, Shares: []float32{0.5, 0.4}}}
		}, "likelihood 1: the shares sum to 0.9"},
		{"draws", func(_ *doubt.Input, o *doubt.Options) { o.Draws = -1 }, "draws -1"},
		{"interval", func(_ *doubt.Input, o *doubt.Options) { o.Low, o.High = 0.9, 0.1 }, "interval from 0.9 to 0.1"},
		{"top", func(_ *doubt.Input, o *doubt.Options) { o.Top = -1 }, "top -1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			in, o := &doubt.Input{Targets: []doubt.Target{{Key: 7}}}, doubt.Options{}
			single(in, 1, 0, 1, 1, 1)
			c.change(in, &o)
			if _, err := doubt.Ranks(in, o); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, expected it to say %q", err, c.want)
			}
		})
	}
}
