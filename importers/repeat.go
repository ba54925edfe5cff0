package importers

import (
	"fmt"
	"hash/maphash"
	"regexp"
	"strconv"
	"strings"

	"github.com/underbough/underbough/inventory"
)

// repeats finds ids that come twice in a file.
type repeats struct {
	role inventory.Role
	seed maphash.Seed
	// seen leads from the hash of a key to the record that had it. Two keys with
	// one hash are a matter of one in a million for files of millions of records;
	// the later record would be held as repeated, and says so.
	seen keySet
	// next numbers the records that are known only by one and the same place.
	next map[uint64]int
}

func newRepeats(role inventory.Role, taken map[string]int64) *repeats {
	r := &repeats{role: role, seed: maphash.MakeSeed(), next: make(map[uint64]int)}
	for key, record := range taken {
		r.seen.put(maphash.String(r.seed, key), uint32(record))
	}
	return r
}

// hold takes out the rows whose id an earlier record had. Rows that are known
// only by where they are get a number instead: two trees may well share the
// coordinates of a plot.
func (r *repeats) hold(res *result, m Mapping) {
	repeated := make(map[int]uint32)
	for i, key := range res.keys {
		if key == "" {
			continue
		}
		h := maphash.String(r.seed, key)
		first, dup := r.seen.get(h)
		if dup && unnamed(key) {
			place := h
			for dup {
				n := max(r.next[place], 1) + 1
				r.next[place] = n
				numbered := key + "#" + strconv.Itoa(n)
				h = maphash.String(r.seed, numbered)
				if _, dup = r.seen.get(h); !dup {
					res.renumber(i, numbered)
				}
			}
		}
		if dup {
			repeated[i] = first
			continue
		}
		r.seen.put(h, uint32(res.recordOf(i)))
	}
	if len(repeated) > 0 {
		res.take(repeated, r.role, m)
	}
}

// unnamed reports whether a key was made from the place or shape of a record.
func unnamed(key string) bool {
	return strings.HasPrefix(key, "at:") || strings.Contains(key, "/shape:")
}

func (res *result) recordOf(i int) int64 {
	switch {
	case res.trees != nil:
		return res.trees[i].Record
	case res.targets != nil:
		return res.targets[i].Record
	case res.counts != nil:
		return res.counts[i].Record
	}
	return res.cuts[i].Record
}

func (res *result) renumber(i int, key string) {
	if res.trees != nil {
		for c := range res.trees[i].Cuts {
			res.trees[i].Cuts[c].TreeKey = key
		}
		res.trees[i].Key = key
		return
	}
	res.targets[i].Key = key
}

// take moves the repeated rows to the held ones.
func (res *result) take(repeated map[int]uint32, role inventory.Role, m Mapping) {
	for i := range res.keys {
		first, ok := repeated[i]
		if !ok {
			continue
		}
		word, id := nameInKey(role, res.keys[i])
		field := m[map[string]string{"id": "source_id", "tag": "tag", "count": "counted_at"}[word]].From
		if field == "" {
			field = word
		}
		res.held = append(res.held, inventory.Held{
			Record: res.recordOf(i), Field: field, Text: res.texts[i],
			Reason: fmt.Sprintf(repeatedReason, word, id, first, map[string]string{"count": " time, with its offset from UTC where the clock goes back"}[word]),
		})
	}
	res.trees = without(res.trees, repeated)
	res.targets = without(res.targets, repeated)
	res.cuts = without(res.cuts, repeated)
	res.counts = without(res.counts, repeated)
}

func without[T any](rows []T, gone map[int]uint32) []T {
	out := rows[:0]
	for i := range rows {
		if _, ok := gone[i]; !ok {
			out = append(out, rows[i])
		}
	}
	return out
}

const repeatedReason = "the %s %q is that of record %d already: give each its own%s"

var repeatedPattern = regexp.MustCompile(`^the (id|tag|count) (".*") is that of record (\d+) already: `)

// nameInKey returns what a key was made of: an id or a tag, as the source has it.
func nameInKey(role inventory.Role, key string) (word, name string) {
	switch role {
	case inventory.RoleTrees:
		if tag, ok := strings.CutPrefix(key, "tag:"); ok {
			return "tag", tag
		}
	case inventory.RoleTargets:
		_, key, _ = strings.Cut(key, "/id:")
	case inventory.RoleCuts:
		key = strings.TrimPrefix(key, "id:")
	case inventory.RoleCounts:
		return "count", strings.TrimPrefix(key, countPrefix)
	}
	return "id", key
}

// takenBy undoes nameInKey for a row that was held because of its repeated id:
// the key, and the record that had it first.
func takenBy(q *inventory.QuarantineRow, layer string) (key string, record int64, ok bool) {
	m := repeatedPattern.FindStringSubmatch(q.Reason)
	if m == nil {
		return "", 0, false
	}
	name, err := strconv.Unquote(m[2])
	if err != nil {
		return "", 0, false
	}
	record, err = strconv.ParseInt(m[3], 10, 64)
	switch {
	case m[1] == "tag":
		name = "tag:" + name
	case q.Role == inventory.RoleTargets:
		name = layer + "/id:" + name
	case q.Role == inventory.RoleCuts:
		name = "id:" + name
	case q.Role == inventory.RoleCounts:
		name = countPrefix + name
	}
	return name, record, err == nil
}
