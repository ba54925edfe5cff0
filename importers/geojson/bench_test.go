package geojson_test

import (
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"testing"

	"github.com/underbough/underbough/importers/geojson"
	"github.com/underbough/underbough/importers/source"
)

const benchFeatures = 300_000

// benchData makes a FeatureCollection of points of some 240 bytes each.
func benchData() []byte {
	r := rand.New(rand.NewPCG(1, 2))
	var b bytes.Buffer
	b.WriteString("{\"type\":\"FeatureCollection\",\"name\":\"trees\",\"features\":[\n")
	for i := range benchFeatures {
		if i > 0 {
			b.WriteString(",\n")
		}
		fmt.Fprintf(&b, `{"type":"Feature","properties":{"tag":"T%07d","species":"Tilia cordata","dbh_cm":%.1f,"height_m":%.1f,"planted":%d,"note":"by the \"old\" gate","alive":true,"owner":null},"geometry":{"type":"Point","coordinates":[%.7f,%.7f]}}`,
			i, r.Float64()*90, r.Float64()*30, 1950+r.IntN(70), 8+r.Float64(), 47+r.Float64())
	}
	b.WriteString("\n]}\n")
	return b.Bytes()
}

func BenchmarkCut(b *testing.B) {
	data := benchData()
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		s, err := geojson.New(bytes.NewReader(data), geojson.Options{})
		if err != nil {
			b.Fatal(err)
		}
		n := 0
		for {
			if _, err := s.Next(); err == io.EOF {
				break
			}
			n++
		}
		if n != benchFeatures {
			b.Fatalf("cut %d features, want %d", n, benchFeatures)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/benchFeatures, "ns/feature")
}

func BenchmarkParse(b *testing.B) {
	data := benchData()
	s, err := geojson.New(bytes.NewReader(data), geojson.Options{})
	if err != nil {
		b.Fatal(err)
	}
	var raws []source.Raw
	for {
		raw, err := s.Next()
		if err == io.EOF {
			break
		}
		raws = append(raws, raw)
	}
	p := s.NewParser()
	var rec source.Record
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		for _, raw := range raws {
			p.Parse(raw, &rec)
			if rec.Problem != nil || rec.GeometryProblem != nil || len(rec.Fields) != 8 {
				b.Fatalf("%+v", rec)
			}
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/benchFeatures, "ns/feature")
}
