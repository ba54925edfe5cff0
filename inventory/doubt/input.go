package doubt

import (
	"math"

	"github.com/underbough/underbough/inventory"
)

// Size says which measure of the tree a part's reach depends on.
type Size uint8

// The measures, each drawn once a tree.
const (
	ByHeight Size = iota // the whole tree
	ByCrown              // the crown and the limbs
	sizes
)

// Target is a place that terms refer to by its index.
type Target struct {
	// Key identifies the target, and no other, in every run.
	Key uint64
	// Sigma is the standard deviation of the logarithm of its occupancy.
	Sigma float32
}

// Term is the harm of one part of a tree over one target, chance included and
// people and weighted property together, with the uncertain measure one standard
// error below, at and one above its value. A measure without error has three
// equal figures.
type Term struct {
	Target         int32 // index in Input.Targets
	Low, Mid, High float32
}

// Part is one part of a tree; its terms are the next Terms of Input.Terms.
type Part struct {
	Terms int32
	Size  Size
	Draw  Draw // NoDraw where likelihood plays no part, as in an order by exposure
}

// Tree is one tree; its parts are the next Parts of Input.Parts.
type Tree struct {
	// Key identifies the tree, and no other, in every run.
	Key uint64
	// Order breaks ties: the tree's place by tag.
	Order int32
	// Class goes before harm: a higher class comes first whatever the harm. An
	// order by rating puts the rating here; the others leave it zero.
	Class uint8
	Parts int32
}

// Input is the trees to be ordered with all that their harm is made of. The
// slices of two inputs over the same targets can be joined by appending them.
type Input struct {
	Trees       []Tree
	Parts       []Part
	Terms       []Term
	Targets     []Target
	Likelihoods []Spread // by Draw; that of NoDraw is not looked at
}

// AddTree begins a tree, to which the next parts belong.
func (in *Input) AddTree(key uint64, order int32, class uint8) {
	in.Trees = append(in.Trees, Tree{Key: key, Order: order, Class: class})
}

// AddPart begins a part of the latest tree, to which the next terms belong.
func (in *Input) AddPart(s Size, d Draw) {
	in.Parts = append(in.Parts, Part{Size: s, Draw: d})
	in.Trees[len(in.Trees)-1].Parts++
}

// AddTerm adds what the latest part would do at one target.
func (in *Input) AddTerm(target int32, low, mid, high float32) {
	in.Terms = append(in.Terms, Term{Target: target, Low: low, Mid: mid, High: high})
	in.Parts[len(in.Parts)-1].Terms++
}

// Validate reports the first tree or target with a figure that cannot be.
func (in *Input) Validate() error {
	for i, t := range in.Targets {
		if !(t.Sigma >= 0 && t.Sigma <= maxSigma) {
			return inventory.Errorf(inventory.Invalid, "target %d (key %d): sigma %v, expected 0 to %v", i, t.Key, t.Sigma, float32(maxSigma))
		}
	}
	for i := range in.Likelihoods {
		if err := in.Likelihoods[i].validate(); err != nil {
			return inventory.Errorf(inventory.Invalid, "likelihood %d: %v", i, err)
		}
	}
	if len(in.Trees) > maxTrees {
		return inventory.Errorf(inventory.Invalid, "%d trees, expected at most %d at a time", len(in.Trees), maxTrees)
	}
	parts, terms := 0, 0
	for _, t := range in.Trees {
		if t.Parts < 0 || int(t.Parts) > len(in.Parts)-parts {
			return inventory.Errorf(inventory.Invalid, "tree %d: %d parts, but %d are left", t.Key, t.Parts, len(in.Parts)-parts)
		}
		for _, p := range in.Parts[parts : parts+int(t.Parts)] {
			if err := in.validatePart(t, p, terms); err != nil {
				return err
			}
			terms += int(p.Terms)
		}
		parts += int(t.Parts)
	}
	if parts != len(in.Parts) || terms != len(in.Terms) {
		return inventory.Errorf(inventory.Invalid, "%d parts and %d terms belong to no tree", len(in.Parts)-parts, len(in.Terms)-terms)
	}
	return nil
}

func (in *Input) validatePart(t Tree, p Part, terms int) error {
	if p.Terms < 0 || int(p.Terms) > len(in.Terms)-terms {
		return inventory.Errorf(inventory.Invalid, "tree %d: a part has %d terms, but %d are left", t.Key, p.Terms, len(in.Terms)-terms)
	}
	if p.Size >= sizes {
		return inventory.Errorf(inventory.Invalid, "tree %d: size %d, expected ByHeight or ByCrown", t.Key, p.Size)
	}
	if p.Draw != NoDraw && int(p.Draw) >= len(in.Likelihoods) {
		return inventory.Errorf(inventory.Invalid, "tree %d: draw %d, but %d likelihoods are given", t.Key, p.Draw, len(in.Likelihoods))
	}
	for _, m := range in.Terms[terms : terms+int(p.Terms)] {
		if m.Target < 0 || int(m.Target) >= len(in.Targets) {
			return inventory.Errorf(inventory.Invalid, "tree %d: target %d, but %d are given", t.Key, m.Target, len(in.Targets))
		}
		for _, v := range [...]float32{m.Low, m.Mid, m.High} {
			if !(v >= 0 && v <= math.MaxFloat32) {
				return inventory.Errorf(inventory.Invalid, "tree %d: a harm of %v over target %d, expected a number from 0", t.Key, v, m.Target)
			}
		}
	}
	return nil
}
