package question

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/filter"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
)

// Weeks are the ordinary weeks of many trees or places at once. Each is told by
// how many persons keep which week: a site has some dozens of weeks at most, and
// its trees by the thousand share them.
type Weeks struct {
	Kept []exposure.KeptWeek // that Of speaks of, by place
	Of   []WeekOf
	More bool // of them than were asked for
}

// WeekOf is the week of one tree, under the part that Hours looks under, or of
// all of one place.
type WeekOf struct {
	ID     int64
	Name   string // the tag or source id of a tree
	Part   exposure.Part
	Mean   float64 // persons, over the year or season, exceptions included
	Shares []exposure.WeekShare
}

// WeeksStore reads what weeks are made of.
type WeeksStore interface {
	inventory.FeatureStore
	FactsStore
}

// keeper gives weeks their places in an answer.
type keeper struct {
	out   Weeks
	place map[int]int // by place in a field
}

func (k *keeper) add(v WeekOf, week func(int) exposure.KeptWeek) {
	for i, s := range v.Shares {
		at, ok := k.place[s.Week]
		if !ok {
			at = len(k.out.Kept)
			k.place[s.Week] = at
			k.out.Kept = append(k.out.Kept, week(s.Week))
		}
		v.Shares[i].Week = at
	}
	k.out.Of = append(k.out.Of, v)
}

// TreeWeeks opens the weeks under the standing trees of a site, in boxes where
// some are given and for which a condition holds where one is given: at the most
// so many, those with the most harm.
func TreeWeeks(ctx context.Context, store WeeksStore, site inventory.Site, boxes []orb.Bound, asked filter.Expr, limit int, p *profile.Profile, asOf time.Time) (*Weeks, error) {
	trees, err := inventory.GetCollection("trees")
	if err != nil {
		return nil, err
	}
	q := inventory.FeatureQuery{
		Client: site.Client, Collection: trees, Boxes: boxes, Limit: limit + 1, Pick: make([]bool, len(trees.Properties)), Order: []inventory.SortKey{{Property: "harm_index", Descending: true}},
		Filter: filter.And(filter.In("site", &filter.String{Value: site.Name}), filter.In("status", &filter.String{Value: "alive"}, &filter.String{Value: "dead"}), asked),
	}
	var ids []int64
	if err := store.FindFeatures(ctx, q, func(f *inventory.Feature) error { ids = append(ids, f.ID); return nil }); err != nil {
		return nil, err
	}
	k := keeper{place: make(map[int]int)}
	if len(ids) == 0 {
		return &k.out, nil
	}
	if k.out.More = len(ids) > limit; k.out.More {
		ids = ids[:limit]
	}
	list, err := store.FindFacts(ctx, ranking.FactsQuery{Client: site.Client, Trees: ids, Limit: len(ids)})
	if err != nil {
		return nil, err
	}
	field, err := fieldUnder(ctx, store, site, list, p, asOf)
	if err != nil {
		return nil, err
	}
	assessor := ranking.NewAssessor(field, p, asOf)
	for i := range list {
		t := &list[i].Tree
		a := assessor.Assess(&list[i])
		part := &a.Parts[a.Under]
		name := ranking.TreeName{Tree: t.ID, Tag: t.Tag, SourceID: t.SourceID}
		k.add(WeekOf{ID: int64(t.ID), Name: name.Label(), Part: part.Part, Mean: part.Exposure.Count.Persons(), Shares: assessor.Meter().Shares(nil, &part.Exposure)}, field.Week)
	}
	return &k.out, nil
}

// fieldUnder loads the targets under some trees of a site.
func fieldUnder(ctx context.Context, store FactsStore, site inventory.Site, list []ranking.Facts, p *profile.Profile, asOf time.Time) (*exposure.Field, error) {
	sizer := ranking.NewSizer(p, asOf)
	var boxes []ranking.SiteBox
	var zones []exposure.TreeZone
	for i := range list {
		_, zones = sizer.Zones(zones[:0], &list[i])
		boxes = append(boxes, ranking.ZoneBoxes(site.ID, list[i].Tree.Point, zones)...)
	}
	targets, err := store.FindTargetsIn(ctx, site.Client, boxes)
	if err != nil {
		return nil, err
	}
	b := exposure.NewFieldBuilder(p)
	for _, t := range targets {
		if err := b.Add(t); err != nil {
			return nil, err
		}
	}
	return b.Build(), nil
}

// PlaceWeeks opens the weeks of the whole places of a site that meet some boxes;
// everywhere where none is given. More than so many are too many.
func PlaceWeeks(ctx context.Context, store WeeksStore, site inventory.Site, boxes []orb.Bound, limit int, p *profile.Profile) (*Weeks, error) {
	targets, err := inventory.GetCollection("targets")
	if err != nil {
		return nil, err
	}
	n, err := store.CountFeatures(ctx, inventory.FeatureQuery{Client: site.Client, Collection: targets, Boxes: boxes, Filter: filter.In("site", &filter.String{Value: site.Name})}, limit+1)
	if err != nil {
		return nil, err
	}
	if n > limit {
		return nil, inventory.Errorf(inventory.Invalid, "more than %d places of site %q lie there: ask for a smaller box", limit, site.Name)
	}
	if boxes == nil {
		boxes = []orb.Bound{{Min: orb.Point{-180, -90}, Max: orb.Point{180, 90}}}
	}
	var in []ranking.SiteBox
	for _, b := range boxes {
		in = append(in, ranking.SiteBox{Site: site.ID, Bound: b})
	}
	list, err := store.FindTargetsIn(ctx, site.Client, in)
	if err != nil {
		return nil, err
	}
	b := exposure.NewFieldBuilder(p)
	k := keeper{place: make(map[int]int)}
	for i := range list {
		whole, _, shares, err := b.WholeWeek(&list[i])
		if err != nil {
			return nil, err
		}
		k.add(WeekOf{ID: int64(list[i].ID), Mean: whole.Count.Persons(), Shares: shares}, func(at int) exposure.KeptWeek { return b.Week(at, &list[i]) })
	}
	return &k.out, nil
}

// WorstShare is from what share of its most on an hour is told as one of a
// place's worst (no source: a choice of what to show).
const WorstShare = 0.9

// Daily is some hours of the day on some days.
type Daily struct {
	Days     []int // of the week, 0 = Monday
	From, To int   // hours of the day; To is 24 for the end of the day
}

// Worst tells the hours with at least WorstShare of the most by days: those of
// several days in one line. What goes over midnight is told day by day.
func Worst(hours []float64) (list []Daily) {
	for _, r := range exposure.Peaks(hours, WorstShare) {
		for left := r; left.Length > 0; {
			day, from := left.Start/24%7, left.Start%24
			n := min(left.Length, 24-from)
			list = together(list, day, from, from+n)
			left = exposure.Run{Start: left.Start + n, Length: left.Length - n}
		}
	}
	return list
}

func together(list []Daily, day, from, to int) []Daily {
	for i := range list {
		if d := &list[i]; d.From == from && d.To == to {
			d.Days = append(d.Days, day)
			slices.Sort(d.Days)
			return list
		}
	}
	return append(list, Daily{[]int{day}, from, to})
}

// String says the hours in words: "Mon to Fri 08:00 to 10:00", "Mon, Sat 18:00 to
// 24:00".
func (d Daily) String() string {
	var days []string
	for i := 0; i < len(d.Days); {
		k := i
		for k+1 < len(d.Days) && d.Days[k+1] == d.Days[k]+1 {
			k++
		}
		first, last := ranking.HourName(d.Days[i] * 24)[:3], ranking.HourName(d.Days[k] * 24)[:3]
		switch {
		case k > i+1:
			days = append(days, first+" to "+last)
		case k > i:
			days = append(days, first, last)
		default:
			days = append(days, first)
		}
		i = k + 1
	}
	return fmt.Sprintf("%s %02d:00 to %02d:00", strings.Join(days, ", "), d.From, d.To)
}
