package sheets

import (
	"cmp"
	"context"
	"slices"

	"github.com/underbough/underbough/api/paper"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/pruning"
	"github.com/underbough/underbough/inventory/question"
)

// Drawing is a tree with what is drawn on it: the instructions of the visit to
// come, or of the first where none is to come.
type Drawing struct {
	Tree    paper.Tree
	Items   []pruning.Item
	Targets []inventory.Target // in reach, by number
}

// Drawn gathers the drawing of one tree by its tag or source id, as a crew sheet
// would have it. Its errors are those of question.Specify.
func Drawn(ctx context.Context, store question.SpecificationStore, b *question.Basis, tag string) (*Drawing, error) {
	found, err := question.Specify(ctx, store, b, tag)
	if err != nil {
		return nil, err
	}
	e := found.Explanation
	out := &Drawing{Tree: treeOfExplained(e)}
	if visits := found.Spec.Visits; len(visits) > 0 {
		out.Items = visits[min(max(found.Progress.Next, 1), len(visits))-1].Items
	}
	for _, t := range e.Targets {
		out.Targets = append(out.Targets, t)
	}
	slices.SortFunc(out.Targets, func(a, b inventory.Target) int { return cmp.Compare(a.ID, b.ID) })
	return out, nil
}

// treeOfExplained is a tree with the ground its parts can reach.
func treeOfExplained(e *question.Explanation) paper.Tree {
	t := paper.Tree{Tree: e.Facts.Tree, Size: e.Assessment.Dimensions, Cuts: e.Facts.Cuts}
	for i := range e.Assessment.Parts {
		t.Zones = append(t.Zones, e.Assessment.Parts[i].TreeZone)
	}
	return t
}
