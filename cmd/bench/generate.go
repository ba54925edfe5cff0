package main

import (
	"bufio"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
)

// The town of the benchmark: a square about 47.4 N, with streets as far apart
// as make about 2.2 overlaps a tree at 300,000 targets for 1,000,000 trees.
const (
	originLon, originLat = 8.0, 47.2
	metresPerLat         = 111_200.0
)

var metresPerLon = metresPerLat * math.Cos(47.4*math.Pi/180)

func (b *bench) treesFile() string   { return filepath.Join(b.dir, "trees.geojson") }
func (b *bench) targetsFile() string { return filepath.Join(b.dir, "targets.geojson") }

// townSide is the side of the square that the town covers, metres.
func townSide(targets int) float64 { return 20_000 * math.Sqrt(float64(targets)/300_000) }

func (b *bench) generate() error {
	// The area grows with the targets, so that density stays the same.
	side := townSide(b.targets)
	if err := writeCollection(b.treesFile(), b.trees, func(w *bufio.Writer, i int, r *rand.Rand) {
		x, y := r.Float64()*side, r.Float64()*side
		dbh := 8 + 70*r.Float64()*r.Float64()
		fmt.Fprintf(w, `{"type":"Feature","properties":{"source_id":"T%07d","tag":"%d","species":"%s","dbh_cm":%.1f,"height_m":%.1f,"crown_radius_m":%.2f,"condition":"%s"},"geometry":{"type":"Point","coordinates":[%.7f,%.7f]}}`,
			i, i+1, species[r.IntN(len(species))], dbh, 5+dbh*0.22+3*r.Float64(), 1.5+dbh*0.08+r.Float64(), conditions[r.IntN(len(conditions))], lon(x), lat(y))
	}, b.seed); err != nil {
		return err
	}
	return writeCollection(b.targetsFile(), b.targets, func(w *bufio.Writer, i int, r *rand.Rand) {
		x, y := r.Float64()*side, r.Float64()*side
		switch i % 3 {
		case 0:
			fmt.Fprintf(w, `{"type":"Feature","properties":{"source_id":"P%d","kind":"plaza","people_present":%.2f},"geometry":{"type":"Polygon","coordinates":[[`, i, 1+4*r.Float64())
			blob(w, r, x, y)
			w.WriteString(`]]}}`)
		default:
			fmt.Fprintf(w, `{"type":"Feature","properties":{"source_id":"W%d","kind":"walkway","people_per_hour":%.1f},"geometry":{"type":"LineString","coordinates":[`, i, 5+90*r.Float64())
			walk(w, r, x, y)
			w.WriteString(`]}}`)
		}
	}, b.seed+1)
}

var (
	species    = []string{"Acer platanoides", "Acer rubrum", "Quercus rubra", "Tilia cordata", "Platanus × acerifolia", "Zelkova serrata", "Ginkgo biloba"}
	conditions = []string{"good", "fair", "poor"}
)

func lon(x float64) float64 { return originLon + x/metresPerLon }
func lat(y float64) float64 { return originLat + y/metresPerLat }

// blob writes the ring of a star-shaped polygon of 5 to 20 corners, 15 to 45 m
// across.
func blob(w *bufio.Writer, r *rand.Rand, x, y float64) {
	n := 5 + r.IntN(16)
	first := ""
	for k := range n {
		angle := 2 * math.Pi * float64(k) / float64(n)
		radius := 8 + 15*r.Float64()
		p := fmt.Sprintf("[%.7f,%.7f]", lon(x+radius*math.Cos(angle)), lat(y+radius*math.Sin(angle)))
		if k == 0 {
			first = p
		} else {
			w.WriteByte(',')
		}
		w.WriteString(p)
	}
	w.WriteString("," + first)
}

// walk writes a line of 3 to 8 bends, 60 to 160 m long.
func walk(w *bufio.Writer, r *rand.Rand, x, y float64) {
	heading := 2 * math.Pi * r.Float64()
	for k := range 3 + r.IntN(6) {
		if k > 0 {
			w.WriteByte(',')
		}
		fmt.Fprintf(w, "[%.7f,%.7f]", lon(x), lat(y))
		heading += (r.Float64() - 0.5) * 0.8
		step := 20 + 8*r.Float64()
		x, y = x+step*math.Cos(heading), y+step*math.Sin(heading)
	}
}

func writeCollection(path string, n int, feature func(*bufio.Writer, int, *rand.Rand), seed uint64) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer f.Close()
	w := bufio.NewWriterSize(f, 1<<20)
	r := rand.New(rand.NewPCG(seed, 0))
	w.WriteString(`{"type":"FeatureCollection","features":[` + "\n")
	for i := range n {
		if i > 0 {
			w.WriteString(",\n")
		}
		feature(w, i, r)
	}
	w.WriteString("\n]}\n")
	if err := w.Flush(); err != nil {
		return err
	}
	return f.Close()
}
