package importers

// keySet leads from the hash of a key to the number of the record that had it.
// It takes about 16 bytes a key and nothing for the collector to follow, where a
// Go map takes twice that and twice again while it grows: it is what keeps the
// memory of a large import small.
type keySet struct {
	// Keys are spread over shards by their first bits, so that one small shard at
	// a time is copied when it grows.
	shards [256]shard
}

type shard struct {
	hashes  []uint64 // 0 = free
	records []uint32
	used    int
}

// slot returns where h is, or the free place where it would go.
func (s *shard) slot(h uint64) int {
	n := uint64(len(s.hashes))
	i := (h << 8 >> 8) % n
	for s.hashes[i] != 0 && s.hashes[i] != h {
		if i++; i == n {
			i = 0
		}
	}
	return int(i)
}

// nonzero keeps 0 free to mean "no key".
func nonzero(h uint64) uint64 {
	if h == 0 {
		return 1
	}
	return h
}

func (k *keySet) get(h uint64) (record uint32, ok bool) {
	h = nonzero(h)
	s := &k.shards[h>>56]
	if s.used == 0 {
		return 0, false
	}
	i := s.slot(h)
	return s.records[i], s.hashes[i] != 0
}

func (k *keySet) put(h uint64, record uint32) {
	h = nonzero(h)
	s := &k.shards[h>>56]
	if s.used >= len(s.hashes)*3/4 {
		s.grow()
	}
	i := s.slot(h)
	if s.hashes[i] == 0 {
		s.used++
	}
	s.hashes[i], s.records[i] = h, record
}

func (s *shard) grow() {
	old := *s
	n := max(16, len(old.hashes)*3/2)
	*s = shard{hashes: make([]uint64, n), records: make([]uint32, n), used: old.used}
	for i, h := range old.hashes {
		if h != 0 {
			at := s.slot(h)
			s.hashes[at], s.records[at] = h, old.records[i]
		}
	}
}
