package ranking

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/underbough/underbough/inventory"
)

// Move is one tree in two rankings. A place of 0 is that of a tree which is not
// in the ranking.
type Move struct {
	Tree          inventory.TreeID
	Label         string
	Before, After int
	HarmBefore    float64 // harm index
	HarmAfter     float64
	// Why lists what differs between its two rows, in words and figures.
	Why []string
}

// By is how many places the tree moved up; down is negative. A tree that is in
// one ranking only has not moved.
func (m *Move) By() int {
	if m.Before == 0 || m.After == 0 {
		return 0
	}
	return m.Before - m.After
}

// CompareRows sets two rankings side by side: who moved and why. Trees that came
// or went are first, then those that moved the farthest; trees whose row says
// the same in the same place are left out.
func CompareRows(before, after []RankedRow) ([]Move, error) {
	moves := make(map[inventory.TreeID]*Move)
	rows := make(map[inventory.TreeID]map[string]any)
	for _, r := range before {
		row, err := decodeRow(r)
		if err != nil {
			return nil, err
		}
		rows[r.Tree] = row
		moves[r.Tree] = &Move{Tree: r.Tree, Label: labelOf(row), Before: r.Place, HarmBefore: number(row["harm_index"])}
	}
	for _, r := range after {
		row, err := decodeRow(r)
		if err != nil {
			return nil, err
		}
		m := moves[r.Tree]
		if m == nil {
			m = &Move{Tree: r.Tree, Label: labelOf(row)}
			moves[r.Tree] = m
		}
		m.After, m.HarmAfter = r.Place, number(row["harm_index"])
		if m.Before > 0 {
			m.Why = differences(rows[r.Tree], row)
		}
	}
	var list []Move
	for _, m := range moves {
		switch {
		case m.Before == 0:
			m.Why = []string{"not in the earlier ranking"}
		case m.After == 0:
			m.Why = []string{"not in the later ranking"}
		case m.Before == m.After && len(m.Why) == 0:
			continue
		case len(m.Why) == 0:
			m.Why = []string{"the same itself; others moved past it"}
		}
		list = append(list, *m)
	}
	slices.SortFunc(list, func(a, b Move) int {
		return cmp.Or(cmp.Compare(b.gone(), a.gone()), cmp.Compare(abs(b.By()), abs(a.By())), cmp.Compare(a.Label, b.Label), cmp.Compare(a.Tree, b.Tree))
	})
	return list, nil
}

func (m *Move) gone() int {
	if m.Before == 0 || m.After == 0 {
		return 1
	}
	return 0
}

func abs(n int) int {
	if n < 0 {
		return -n
	}
	return n
}

func decodeRow(r RankedRow) (map[string]any, error) {
	var row map[string]any
	if err := json.Unmarshal(r.Row, &row); err != nil {
		return nil, fmt.Errorf("place %d of the ranking: %w", r.Place, err)
	}
	return row, nil
}

func labelOf(row map[string]any) string {
	for _, name := range []string{"tag", "source_id"} {
		if s, ok := row[name].(string); ok && s != "" {
			return s
		}
	}
	return fmt.Sprintf("tree %.0f", number(row["tree_id"]))
}

func number(v any) float64 {
	f, _ := v.(float64)
	return f
}

// Differences lists what differs between two rows of one tree, in words and
// figures.
func Differences(before, after *Row) ([]string, error) {
	var rows [2]map[string]any
	for i, r := range []*Row{before, after} {
		b, err := r.AppendJSON(nil)
		if err != nil {
			return nil, err
		}
		if rows[i], err = decodeRow(RankedRow{Place: r.Rank, Row: b}); err != nil {
			return nil, err
		}
	}
	return differences(rows[0], rows[1]), nil
}

// compared are the properties that explain a move, with the words for each.
var compared = []struct{ name, words string }{
	{"likelihood", "failure"}, {"rule", "by"}, {"part", "part"}, {"stale", "visit out of date"},
	{"people", "people"}, {"busiest_people", "people in the busiest hour"}, {"vehicles", "vehicles"}, {"over", "over"},
	{"part_people", "people under that part"}, {"part_vehicles", "vehicles under that part"},
	{"height_m", "height m"}, {"crown_radius_m", "crown radius m"}, {"crown_radius_from", "crown radius from"}, {"height_from", "height from"}, {"cuts", "cuts"},
	{"rating", "rating"}, {"rating_busiest_hour", "rating by the busiest hour"}, {"longitude", "longitude"}, {"latitude", "latitude"},
}

func differences(a, b map[string]any) []string {
	var why []string
	for _, c := range compared {
		x, y := a[c.name], b[c.name]
		if f, ok := x.(float64); ok {
			if g, ok := y.(float64); ok && math.Abs(f-g) <= 1e-4*math.Max(math.Abs(f), math.Abs(g)) && !strings.HasSuffix(c.name, "itude") {
				continue
			}
		}
		// The part that weighs most is often the one over the most: say it once.
		if whole, ok := strings.CutPrefix(c.name, "part_"); ok && x == a[whole] && y == b[whole] {
			continue
		}
		if s, t := shown(x, c.name), shown(y, c.name); s != t {
			why = append(why, fmt.Sprintf("%s %s → %s", c.words, s, t))
		}
	}
	return why
}

func shown(v any, name string) string {
	switch v := v.(type) {
	case float64:
		if !strings.HasSuffix(name, "itude") {
			return Figure(v)
		}
	case nil:
		return "none"
	case bool:
		if v {
			return "yes"
		}
		return "no"
	case []any:
		words := make([]string, len(v))
		for i, w := range v {
			words[i] = strings.ReplaceAll(fmt.Sprint(w), "_", " ")
		}
		if len(words) == 0 {
			return "nothing"
		}
		return strings.Join(words, ", ")
	}
	return fmt.Sprint(v)
}
