package csv_test

import (
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"testing"

	"github.com/underbough/underbough/importers/csv"
	"github.com/underbough/underbough/importers/source"
)

const benchRows = 300_000

func benchData() []byte {
	r := rand.New(rand.NewPCG(1, 2))
	var b bytes.Buffer
	b.WriteString("tag,species,dbh_cm,height_m,planted,note,lon,lat\n")
	for i := range benchRows {
		fmt.Fprintf(&b, "T%07d,Tilia cordata,%.1f,%.1f,%d,\"by the old gate, north\",%.7f,%.7f\n",
			i, r.Float64()*90, r.Float64()*30, 1950+r.IntN(70), 8+r.Float64(), 47+r.Float64())
	}
	return b.Bytes()
}

func BenchmarkCut(b *testing.B) {
	data := benchData()
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if n := len(cut(b, data)); n != benchRows {
			b.Fatalf("cut %d rows, want %d", n, benchRows)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/benchRows, "ns/row")
}

func cut(b *testing.B, data []byte) []source.Raw {
	s, err := csv.New(bytes.NewReader(data), csv.Options{})
	if err != nil {
		b.Fatal(err)
	}
	raws := make([]source.Raw, 0, benchRows)
	for {
		raw, err := s.Next()
		if err == io.EOF {
			return raws
		}
		raws = append(raws, raw)
	}
}

func BenchmarkParse(b *testing.B) {
	data := benchData()
	raws := cut(b, data)
	s, err := csv.New(bytes.NewReader(data), csv.Options{})
	if err != nil {
		b.Fatal(err)
	}
	p := s.NewParser()
	var rec source.Record
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		for _, raw := range raws {
			p.Parse(raw, &rec)
			if rec.Problem != nil || rec.GeometryProblem != nil || len(rec.Fields) != 6 {
				b.Fatalf("%+v", rec)
			}
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/benchRows, "ns/row")
}
