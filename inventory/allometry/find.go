package allometry

import (
	"strings"
	"sync"
	"sync/atomic"
)

// Find resolves a botanical name, such as "Acer platanoides 'Crimson King'", "PLATANUS × ACERIFOLIA" or "Acer sp.".
// Case, spaces, the hybrid sign, cultivar, authorship, and ranks below the species are tolerated, and common synonyms
// are known. A species that the source has no equation for is resolved to its genus, that to its group, and anything
// else, such as an empty or a common name, to the general equation: the result is never nil. The words of
// Kind.Group are understood too. Safe for concurrent use.
func Find(species string) *Kind { return seen.find(species) }

// seen remembers the names of past calls: inventories hold a few hundred names for a million trees.
var seen names

const (
	mostNames   = 8192 // names beyond are resolved each time, so that odd input cannot fill the memory
	longestName = 128  // bytes
)

// names is a map that is read without a lock. New names gather in added, and become part of read when they are many
// enough to pay for the copy.
type names struct {
	read  atomic.Pointer[map[string]*Kind]
	mu    sync.Mutex
	added map[string]*Kind
	// misses counts look-ups that had to take the lock since the last copy.
	misses int
}

func (n *names) find(species string) *Kind {
	if m := n.read.Load(); m != nil {
		if k := (*m)[species]; k != nil {
			return k
		}
	}
	return n.findSlow(species)
}

func (n *names) findSlow(species string) *Kind {
	if len(species) > longestName {
		return theCatalog().kind(species)
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	var read map[string]*Kind
	if m := n.read.Load(); m != nil {
		read = *m
	}
	k := n.added[species]
	if k == nil {
		k = read[species]
	}
	if k == nil {
		k = theCatalog().kind(species)
		if len(read)+len(n.added) >= mostNames {
			return k
		}
		if n.added == nil {
			n.added = map[string]*Kind{}
		}
		n.added[strings.Clone(species)] = k // the caller's string may be part of a whole file
	}
	if n.misses++; n.misses > len(read) && len(n.added) > 0 {
		n.publish(read)
	}
	return k
}

// publish makes the added names readable without the lock.
func (n *names) publish(read map[string]*Kind) {
	all := make(map[string]*Kind, len(read)+len(n.added))
	for s, k := range read {
		all[s] = k
	}
	for s, k := range n.added {
		all[s] = k
	}
	n.read.Store(&all)
	n.added, n.misses = nil, 0
}
