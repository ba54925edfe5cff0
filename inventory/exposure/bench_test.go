package exposure_test

import (
	"testing"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
)

func benchmarkWeek(b *testing.B, targets ...inventory.Target) {
	builder := exposure.NewFieldBuilder(profile.Default())
	for _, target := range targets {
		if err := builder.Add(target); err != nil {
			b.Fatal(err)
		}
	}
	m := exposure.NewMeter(builder.Build())
	out, _ := m.Measure(origin, []exposure.TreeZone{{Zone: geo.Disc(5)}})
	b.ReportAllocs()
	for b.Loop() {
		m.Week(out[0])
	}
}

func BenchmarkWeek(b *testing.B) {
	b.Run("one week, few people", func(b *testing.B) { benchmarkWeek(b, seats(0.005, "commuter_street")) })
	b.Run("one week, some people", func(b *testing.B) { benchmarkWeek(b, seats(0.3, "commuter_street")) })
	b.Run("one week, many people", func(b *testing.B) { benchmarkWeek(b, seats(12, "commuter_street")) })
	b.Run("two weeks, few people", func(b *testing.B) {
		benchmarkWeek(b, seats(0.005, "commuter_street"), seats(0.005, "shopping"))
	})
	b.Run("two weeks, some people", func(b *testing.B) {
		benchmarkWeek(b, seats(0.1, "commuter_street"), seats(0.1, "shopping"))
	})
	b.Run("two weeks, many people", func(b *testing.B) {
		benchmarkWeek(b, seats(3, "commuter_street"), seats(3, "shopping"))
	})
	b.Run("three weeks, some people", func(b *testing.B) {
		benchmarkWeek(b, seats(0.3, "commuter_street"), seats(0.3, "shopping"), seats(0.1, "school"))
	})
	counted := seats(0, "even")
	counted.Kind, counted.PeopleCounted = inventory.TransitStop, countedWeek(3)
	b.Run("counted", func(b *testing.B) { benchmarkWeek(b, counted) })
	b.Run("counted and two weeks", func(b *testing.B) {
		benchmarkWeek(b, counted, seats(1, "commuter_street"), seats(1, "school"))
	})
}

func BenchmarkMeasure(b *testing.B) {
	builder := exposure.NewFieldBuilder(profile.Default())
	for _, target := range []inventory.Target{
		{Kind: inventory.Road, Geometry: orb.LineString{at(-300, 6), at(300, 6)}},
		{Kind: inventory.Walkway, Geometry: orb.LineString{at(-300, 2), at(300, 2)}},
		{Kind: inventory.Parking, Geometry: rectangle(-30, -40, 30, -1)},
	} {
		if err := builder.Add(target); err != nil {
			b.Fatal(err)
		}
	}
	m := exposure.NewMeter(builder.Build())
	tree := measured()
	cuts := []inventory.Cut{{Kind: inventory.CutTopping, Bearing: inventory.Some(90.0), Reach: inventory.Some(3.0)}}
	s := &profile.Default().Sizing
	var zones []exposure.TreeZone
	b.ReportAllocs()
	for b.Loop() {
		d := exposure.Size(&tree, cuts, s)
		zones = exposure.Zones(zones[:0], &tree, cuts, nil, &d, s)
		m.Measure(origin, zones)
	}
}

func BenchmarkSize(b *testing.B) {
	s := &profile.Default().Sizing
	for _, species := range []string{"Acer platanoides", "Quercus garryana", ""} {
		b.Run("species "+species, func(b *testing.B) {
			tree := inventory.Tree{Species: species, DBH: inventory.Some(0.4)}
			b.ReportAllocs()
			for b.Loop() {
				exposure.Size(&tree, nil, s)
			}
		})
	}
}

// An edit measures one tree over a handful of targets: the field must be cheap
// to begin.
func BenchmarkNewField(b *testing.B) {
	p := profile.Default()
	b.ReportAllocs()
	for b.Loop() {
		exposure.NewMeter(exposure.NewFieldBuilder(p).Build())
	}
}
