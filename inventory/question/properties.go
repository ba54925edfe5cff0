package question

import (
	"time"

	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/ranking"
)

// The answers as named values, so that the commands and the service say the same
// by the same names. Every name is there whether or not it has a value.

func optional(s string) any {
	if s == "" {
		return nil
	}
	return s
}

func counted(c exposure.Count) []ranking.Property {
	return []ranking.Property{
		{Name: "people", Value: ranking.Rounded(c.People + c.InVehicles)},
		{Name: "people_in_vehicles", Value: ranking.Rounded(c.InVehicles)},
		{Name: "people_sheltered", Value: ranking.Rounded(c.Sheltered)},
		{Name: "vehicles", Value: ranking.Rounded(c.Vehicles)},
	}
}

// Properties lists all that is said of a place: what is on all of it in the mean,
// and the trees that could harm it, the most harm first.
func (p *Place) Properties() []ranking.Property {
	n := len(p.Trees)
	tags, ids, harm := make([]string, n), make([]int, n), make([]float64, n)
	for i, t := range p.Trees {
		tags[i], ids[i], harm[i] = t.Label(), int(t.Tree), ranking.Rounded(t.Harm*1000)
	}
	t := &p.Target
	out := []ranking.Property{
		{Name: "target_id", Value: int(t.ID)},
		{Name: "kind", Value: string(t.Kind)},
		{Name: "name", Value: optional(t.Name)},
		{Name: "layer", Value: optional(t.Layer)},
		{Name: "source_id", Value: optional(t.SourceID)},
	}
	out = append(out, counted(p.Whole.Count)...)
	return append(out,
		ranking.Property{Name: "busiest_people", Value: ranking.Rounded(p.Whole.Persons.Busiest)},
		ranking.Property{Name: "busiest_hour", Value: p.Whole.Persons.BusiestHour},
		ranking.Property{Name: "busiest_vehicles", Value: ranking.Rounded(p.Whole.VehicleWeek.Busiest)},
		ranking.Property{Name: "trees_over", Value: p.UnderTrees},
		ranking.Property{Name: "trees_in_reach", Value: p.WithinTrees},
		ranking.Property{Name: "covered", Value: p.Covered()},
		ranking.Property{Name: "harm_index", Value: ranking.Rounded(p.Harm * 1000)},
		ranking.Property{Name: "tree_tags", Value: tags},
		ranking.Property{Name: "tree_ids", Value: ids},
		ranking.Property{Name: "tree_harm_index", Value: harm},
	)
}

// Properties lists what the trees of a cell come to. People and vehicles are sums
// over the trees: who stands under two crowns counts twice.
func (c *CellSum) Properties() []ranking.Property {
	return []ranking.Property{
		{Name: "trees", Value: c.Trees},
		{Name: "harm_index", Value: ranking.Rounded(c.Harm * 1000)},
		{Name: "people", Value: ranking.Rounded(c.People)},
		{Name: "vehicles", Value: ranking.Rounded(c.Vehicles)},
		{Name: "busiest_people", Value: ranking.Rounded(c.Busiest)},
	}
}

// Properties lists a tree's place and figures today and as they would be.
func (m *SupposedMove) Properties() []ranking.Property {
	out := []ranking.Property{
		{Name: "tree_id", Value: int(m.Tree.ID)},
		{Name: "tag", Value: optional(m.Tree.Tag)},
		{Name: "source_id", Value: optional(m.Tree.SourceID)},
		{Name: "species", Value: optional(m.Tree.Species)},
		{Name: "removed", Value: m.After == nil},
		{Name: "rank_before", Value: place(m.RankBefore)},
		{Name: "rank_after", Value: place(m.RankAfter)},
	}
	after := func(of func(*ranking.Result) any) any {
		if m.After == nil {
			return nil
		}
		return of(m.After)
	}
	for _, p := range []struct {
		name string
		of   func(*ranking.Result) any
	}{
		{"harm_index", func(r *ranking.Result) any { return ranking.Rounded(r.Harm * 1000) }},
		{"people", func(r *ranking.Result) any { return ranking.Rounded(r.Count.Persons()) }},
		{"vehicles", func(r *ranking.Result) any { return ranking.Rounded(r.Count.Vehicles) }},
		{"rating", func(r *ranking.Result) any { return r.Score.Rating.String() }},
	} {
		out = append(out, ranking.Property{Name: p.name + "_before", Value: p.of(&m.Before)}, ranking.Property{Name: p.name + "_after", Value: after(p.of)})
	}
	return out
}

// place is a number that counts from 1, such as a place in an order; nil for none.
func place(n int) any {
	if n == 0 {
		return nil
	}
	return n
}

// RecordProperties lists what a kept ranking was asked and of what.
func RecordProperties(r *ranking.Record) []ranking.Property {
	q := &r.Question
	return []ranking.Property{
		{Name: "ranking_id", Value: int(r.ID)},
		{Name: "name", Value: r.Name},
		{Name: "site", Value: r.Site.Name},
		{Name: "by", Value: string(q.By)},
		{Name: "over", Value: wordsOf(q.Over)},
		{Name: "cut", Value: wordsOf(q.Cuts)},
		{Name: "since", Value: place(q.Since)},
		{Name: "limit", Value: place(q.Limit)},
		{Name: "season", Value: optional(q.Season)},
		{Name: "draws", Value: place(q.Draws)},
		{Name: "seed", Value: drawn(q, q.Seed)},
		{Name: "top", Value: drawn(q, q.Top)},
		{Name: "profile", Value: r.ProfileName},
		{Name: "profile_digest", Value: r.ProfileDigest},
		{Name: "as_of", Value: r.AsOf.Format(time.DateOnly)},
		{Name: "inputs_at", Value: r.InputsAt.UTC().Format(time.RFC3339Nano)},
		{Name: "standing_trees", Value: r.Trees},
		{Name: "row_count", Value: r.Rows},
		{Name: "rows_sha256", Value: r.Digest},
		{Name: "made_at", Value: r.MadeAt.UTC().Format(time.RFC3339Nano)},
		{Name: "made_by", Value: r.MadeBy},
	}
}

// drawn is what says how draws were made; nil where there were none.
func drawn(q *ranking.Question, v any) any {
	if q.Draws == 0 {
		return nil
	}
	return v
}

func wordsOf[T ~string](list []T) []string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = string(s)
	}
	return out
}

// MoveProperties lists a tree's places in two rankings and why they differ.
func MoveProperties(m *ranking.Move) []ranking.Property {
	var by, before, after any
	if m.Before > 0 {
		before = ranking.Rounded(m.HarmBefore)
	}
	if m.After > 0 {
		after = ranking.Rounded(m.HarmAfter)
	}
	if m.Before > 0 && m.After > 0 {
		by = m.By()
	}
	return []ranking.Property{
		{Name: "tree_id", Value: int(m.Tree)},
		{Name: "tree", Value: m.Label},
		{Name: "rank_before", Value: place(m.Before)},
		{Name: "rank_after", Value: place(m.After)},
		{Name: "places_up", Value: by},
		{Name: "harm_index_before", Value: before},
		{Name: "harm_index_after", Value: after},
		{Name: "why", Value: m.Why},
	}
}
