package importers_test

import (
	"fmt"
	"io"
	"runtime"
	"testing"

	"github.com/underbough/underbough/importers"
	"github.com/underbough/underbough/inventory"
)

// stream writes features without end and looks at the heap now and then.
type stream struct {
	n, of int
	rest  []byte
	most  uint64
}

func (s *stream) Read(p []byte) (int, error) {
	if len(s.rest) == 0 {
		if s.n == s.of {
			return 0, io.EOF
		}
		if s.n%20_000 == 0 {
			runtime.GC()
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			s.most = max(s.most, m.HeapAlloc)
		}
		s.rest = fmt.Appendf(s.rest[:0], `{"type":"Feature","properties":{"id":"T%07d","species":"Acer rubrum","dbh_cm":%d,"remark":"nothing much to say of it"},"geometry":{"type":"Point","coordinates":[8.%07d,47.2]}}`+"\n", s.n, s.n%90+1, s.n)
		s.n++
	}
	n := copy(p, s.rest)
	s.rest = s.rest[n:]
	return n, nil
}

func TestConstantMemory(t *testing.T) {
	const n = 400_000
	in := &stream{of: n}
	f, err := importers.Open(in, "stream", importers.OpenOptions{})
	if err != nil {
		t.Fatal(err)
	}
	m, _ := importers.Guess(inventory.RoleTrees, f.Columns)
	d := &discard{}
	if _, err := importers.Run(t.Context(), d, f, importers.Options{Role: inventory.RoleTrees, Mapping: m, Year: year}); err != nil {
		t.Fatal(err)
	}
	if d.trees != n {
		t.Fatalf("%d trees", d.trees)
	}
	// The file has 80 MB. The ids seen take some 16 to 40 bytes a record while
	// their table grows, and batches under way a few megabytes.
	if most := in.most >> 20; most > 32 {
		t.Errorf("%d MB on the heap", most)
	} else {
		t.Logf("%d MB on the heap at most", most)
	}
}
