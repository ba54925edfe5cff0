package importers

import (
	"math/rand/v2"
	"testing"
)

// A Go map is the judge.
func TestKeySetIsAMap(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	var set keySet
	judge := make(map[uint64]uint32)
	for i := range 200_000 {
		h := r.Uint64() % 150_000 * 0x9e3779b97f4a7c15 // many come twice
		got, ok := set.get(h)
		want, known := judge[h]
		if ok != known || got != want {
			t.Fatalf("key %d of %d: %d, %v; the map has %d, %v", h, i, got, ok, want, known)
		}
		set.put(h, uint32(i))
		judge[h] = uint32(i)
	}
	if _, ok := set.get(0); ok != (judge[0] != 0) {
		t.Error("the key 0 is not kept apart from no key")
	}
}
