package doubt

import (
	"cmp"
	"slices"

	"github.com/underbough/underbough/inventory"
)

// segment is the trees of one class: plants from to end, the first of which has
// the place rank (from 0), and after them those that can do no harm.
type segment struct {
	from, end, rank int
	harmless        []int32 // places in Input.Trees
}

// newModel makes an input ready; the input is valid.
func newModel(in *Input) (*model, error) {
	m := &model{normals: newNormals(), chances: make([]chances, max(len(in.Likelihoods), 1))}
	for i, s := range in.Likelihoods {
		m.chances[i] = newChances(s)
	}
	m.chances[NoDraw] = newChances(Spread{})
	firstPart, firstTerm := starts(in)
	order := make([]int32, len(in.Trees))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(i, j int32) int {
		a, b := &in.Trees[i], &in.Trees[j]
		return cmp.Or(cmp.Compare(b.Class, a.Class), cmp.Compare(a.Order, b.Order), cmp.Compare(a.Key, b.Key))
	})
	use := newUse(in.Targets)
	for at, i := range order {
		t := &in.Trees[i]
		if at > 0 {
			if before := &in.Trees[order[at-1]]; before.Class == t.Class && before.Order == t.Order && before.Key == t.Key {
				return nil, inventory.Errorf(inventory.Invalid, "tree %d is given twice", t.Key)
			}
		}
		if at == 0 || in.Trees[order[at-1]].Class != t.Class {
			m.segments = append(m.segments, segment{from: len(m.plants), end: len(m.plants), rank: at})
		}
		s := &m.segments[len(m.segments)-1]
		if m.plant(in, t, firstPart[i], firstTerm[i], use) {
			m.origin = append(m.origin, i)
			s.end++
		} else {
			s.harmless = append(s.harmless, i)
		}
	}
	m.targets = use.places
	return m, nil
}

// starts returns where each tree's parts and terms begin.
func starts(in *Input) (parts, terms []int32) {
	parts, terms = make([]int32, len(in.Trees)), make([]int32, len(in.Trees))
	part, term := int32(0), int32(0)
	for i, t := range in.Trees {
		parts[i], terms[i] = part, term
		for _, p := range in.Parts[part : part+t.Parts] {
			term += p.Terms
		}
		part += t.Parts
	}
	return parts, terms
}

// plant adds a tree, or reports that it can do no harm.
func (m *model) plant(in *Input, t *Tree, firstPart, firstTerm int32, use *use) bool {
	parts := in.Parts[firstPart : firstPart+t.Parts]
	before, next := len(m.terms), firstTerm
	for _, p := range parts {
		from := len(m.terms)
		for _, term := range in.Terms[next : next+p.Terms] {
			if term.Low != 0 || term.Mid != 0 || term.High != 0 {
				m.terms = append(m.terms, newTerm(term, use.of(term.Target)))
			}
		}
		next += p.Terms
		m.parts = append(m.parts, part{terms: int32(len(m.terms) - from), size: p.Size, draw: p.Draw})
	}
	if len(m.terms) == before {
		m.parts = m.parts[:len(m.parts)-len(parts)]
		return false
	}
	m.plants = append(m.plants, plant{key: t.Key, parts: t.Parts})
	return true
}

// use numbers the targets that some tree can harm: only they are drawn.
type use struct {
	targets []Target
	number  []int32 // by target, from 1
	places  []place
}

func newUse(targets []Target) *use {
	return &use{targets: targets, number: make([]int32, len(targets))}
}

func (u *use) of(target int32) uint32 {
	if u.number[target] == 0 {
		u.places = append(u.places, newPlace(u.targets[target]))
		u.number[target] = int32(len(u.places))
	}
	return uint32(u.number[target] - 1)
}
