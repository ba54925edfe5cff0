package question

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"time"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/appraisal"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/pruning"
	"github.com/underbough/underbough/inventory/ranking"
	"github.com/underbough/underbough/inventory/season"
)

// Basis is what work is planned on: a site under a profile and a practice, with
// years counted to a day.
type Basis struct {
	Site     inventory.Site
	Profile  *profile.Profile
	Practice *practice.Practice
	AsOf     time.Time
}

func (b *Basis) sweep() ranking.Sweep {
	return ranking.Sweep{Site: b.Site, Profile: b.Profile, AsOf: b.AsOf}
}

// WorkStore is what planning work reads.
type WorkStore interface {
	ExposureStore
	SweepStore
	FactsStore
	TreeStore
	FindSpecifications(ctx context.Context, site inventory.Site, trees []int64) ([]inventory.KeptSpecification, error)
	Streets(ctx context.Context, site inventory.Site, trees []int64) (map[inventory.TreeID]string, error)
}

// WorkTree is a standing tree with what stands under it and what is asked for.
type WorkTree struct {
	ranking.Facts
	Result   ranking.Result
	Occupied float64   // share of hours with somebody under it
	Regrowth []float64 // of each cut, metres, measured or estimated
	Shade    appraisal.Shade
	Quiet    string // the quietest working hours under it, in words; empty where nobody is there
	OffRoad  bool   // no road passes by: neither a named one near nor any within reach
	Street   string // or area that it is worked on with
	Spec     pruning.Specification
	Kept     inventory.SpecificationID // of a specification that a person changed; 0 where rules made it
	Round    Round                     // of work that was done last
	goesOn   bool                      // Spec is the round's own
	Past     []inventory.Job           // of the tree that are done or checked, in order
	Open     []inventory.Job           // approved or in hand
}

// Label is how people know the tree.
func (t *WorkTree) Label() string { return labelOf(&t.Tree) }

func labelOf(t *inventory.Tree) string {
	switch {
	case t.Tag != "":
		return t.Tag
	case t.SourceID != "":
		return t.SourceID
	}
	return fmt.Sprintf("#%d", t.ID)
}

// OverKinds lists what the crown or a limb stands over.
func (t *WorkTree) OverKinds() []inventory.TargetKind { return t.Result.OverKinds().List() }

// LineInReach reports whether a utility line is within reach of the whole tree.
func (t *WorkTree) LineInReach() bool { return t.Result.Reaches(inventory.UtilityLine) }

// CostOf is what one visit of a tree's work takes.
func (b *Basis) CostOf(t *WorkTree) programme.Cost {
	return programme.CostOf(programme.Job{
		Work: t.Spec.Work, DBH: t.Tree.DBH.Or(b.Profile.Sizing.UnknownDBH.Value), Height: inventory.Some(t.Result.Height),
		Over: t.OverKinds(), UtilityWithinReach: t.LineInReach(), OffRoad: t.OffRoad,
	}, &b.Practice.Rates)
}

// Progress is how far the visits of the tree's specification have come.
func (t *WorkTree) Progress(asOf time.Time) pruning.Progress {
	var done []pruning.Done
	if t.goesOn || t.Kept != 0 && len(t.Round.Jobs) > 0 && t.Round.Spec.Work == t.Spec.Work {
		done = t.Round.visits()
	}
	return pruning.ProgressOf(&t.Spec, done, asOf)
}

// bearings is on how many bearings a surveyed outline is looked at.
const bearings = 72

// BalanceOf is a crown's asymmetry, from its surveyed outline or from its radii to
// four sides; ok is false where neither was measured.
func BalanceOf(t *inventory.Tree) (a pruning.Asymmetry, ok bool) {
	radii, ok := pruning.CrownRadii(t, bearings)
	if !ok {
		for i, r := range t.CrownRadii {
			if !r.OK {
				return a, false
			}
			radii = append(radii, pruning.Radius{BearingDeg: 90 * float64(i), Metres: r.V})
		}
	}
	a, err := pruning.Balance(radii)
	return a, err == nil
}

// Restoration is how far the tree's restoration has come; ok is false where none
// was begun.
func (t *WorkTree) Restoration(asOf time.Time) (p pruning.Progress, visits int, ok bool) {
	if len(t.Round.Jobs) == 0 || t.Round.Spec.Work != practice.Restoration {
		return p, 0, false
	}
	return pruning.ProgressOf(&t.Round.Spec, t.Round.visits(), asOf), len(t.Round.Spec.Visits), true
}

// factsAtATime is how many trees are read in a page.
const factsAtATime = 5000

// WorkTrees returns every standing tree of a site with its specification, in the
// order of ids, from one state of the inventory.
func WorkTrees(ctx context.Context, store WorkStore, b *Basis) (list []WorkTree, err error) {
	err = store.OneSnapshot(ctx, func(ctx context.Context) error {
		list, err = workTrees(ctx, store, b)
		return err
	})
	return list, err
}

func workTrees(ctx context.Context, store WorkStore, b *Basis) ([]WorkTree, error) {
	found, err := measured(ctx, store, b)
	if err != nil {
		return nil, err
	}
	kept, err := keptSpecifications(ctx, store, b)
	if err != nil {
		return nil, err
	}
	streets, err := store.Streets(ctx, b.Site, nil)
	if err != nil {
		return nil, err
	}
	jobs, err := store.FindJobs(ctx, inventory.JobQuery{Client: b.Site.Client, Site: b.Site.ID, States: []inventory.JobState{inventory.Approved, inventory.InHand, inventory.Done, inventory.Checked}})
	if err != nil {
		return nil, err
	}
	byTree := make(map[inventory.TreeID][]inventory.Job)
	for _, j := range jobs {
		byTree[j.Tree] = append(byTree[j.Tree], j)
	}
	list := make([]WorkTree, 0, len(found))
	for from := inventory.TreeID(0); ; {
		page, err := store.FindFacts(ctx, ranking.FactsQuery{Client: b.Site.Client, Sites: []string{b.Site.Name}, From: from, Limit: factsAtATime})
		if err != nil {
			return nil, err
		}
		for i := range page {
			t, ok := found[page[i].Tree.ID]
			if !ok {
				continue
			}
			t.Facts = page[i]
			t.placeIn(streets)
			if err := b.specify(&t, kept[t.Tree.ID], byTree[t.Tree.ID]); err != nil {
				return nil, err
			}
			list = append(list, t)
		}
		if len(page) < factsAtATime {
			return list, nil
		}
		from = page[len(page)-1].Tree.ID + 1
	}
}

// placeIn puts the tree in its street, or in the area that it stands in.
func (t *WorkTree) placeIn(streets map[inventory.TreeID]string) {
	if t.Street = streets[t.Tree.ID]; t.Street == "" {
		t.Street, t.OffRoad = areaOf(t.Tree.Point), !t.Result.Reaches(inventory.Road)
	}
}

// areaOf names the area that trees beside no named road are worked on in: about
// 220 m from north to south, named by its middle.
func areaOf(p orb.Point) string {
	const rows, columns = 0.002, 0.003
	return fmt.Sprintf("around %.3f, %.4f", (math.Floor(p[1]/rows)+0.5)*rows, (math.Floor(p[0]/columns)+0.5)*columns)
}

// measured sweeps the site for what stands under each tree.
func measured(ctx context.Context, store WorkStore, b *Basis) (map[inventory.TreeID]WorkTree, error) {
	found := make(map[inventory.TreeID]WorkTree)
	_, _, err := store.Sweep(ctx, b.sweep(), func(lot ranking.Lot) (any, error) {
		sizer := ranking.NewSizer(b.Profile, b.AsOf)
		list := make([]WorkTree, len(lot.Trees))
		for i := range lot.Trees {
			f := &lot.Trees[i]
			list[i] = b.measure(lot.Assessor.Assess(f), lot.Assessor.Meter(), sizer, f)
		}
		return list, nil
	}, func(lot any) error {
		for _, t := range lot.([]WorkTree) {
			found[t.Tree.ID] = t
		}
		return nil
	})
	return found, err
}

// measure keeps of a tree what specifications and sheets need.
func (b *Basis) measure(a *ranking.Assessment, meter *exposure.Meter, sizer *ranking.Sizer, f *ranking.Facts) WorkTree {
	t := WorkTree{Occupied: a.Week.Occupied}
	t.Tree.ID = f.Tree.ID
	t.Result.Summarize(a, f)
	t.Shade = appraisal.ShadeOf(appraisal.CrownArea(&f.Tree, a.Dimensions.CrownRadius), a.Parts[exposure.ZoneIndexCrown].Exposure.ByKind[:])
	for i := range f.Cuts {
		t.Regrowth = append(t.Regrowth, sizer.Regrowth(f, &f.Cuts[i]).Length)
	}
	if under := &a.Parts[a.Under]; under.Exposure.Count.Persons() > 0 {
		hours := meter.Hours(under.Exposure)
		if q, ok := season.QuietHours(hours.Persons(), &b.Practice.WorkHours); ok {
			t.Quiet = q.String()
		}
	}
	return t
}

func keptSpecifications(ctx context.Context, store WorkStore, b *Basis) (map[inventory.TreeID]inventory.KeptSpecification, error) {
	list, err := store.FindSpecifications(ctx, b.Site, nil)
	if err != nil {
		return nil, err
	}
	kept := make(map[inventory.TreeID]inventory.KeptSpecification)
	for _, k := range list {
		if k.ByPerson {
			kept[k.Tree] = k
		}
	}
	return kept, nil
}

// specify gives a tree its specification: the one that a person changed, or else
// the rules'.
func (b *Basis) specify(t *WorkTree, kept inventory.KeptSpecification, jobs []inventory.Job) (err error) {
	for _, j := range jobs {
		if j.State == inventory.Done || j.State == inventory.Checked {
			t.Past = append(t.Past, j)
		} else {
			t.Open = append(t.Open, j)
		}
	}
	if t.Round, err = roundOf(t.Past); err != nil {
		return err
	}
	if kept.ID != 0 {
		t.Kept = kept.ID
		if err := json.Unmarshal(kept.Body, &t.Spec); err != nil {
			return fmt.Errorf("specification %d: %w", kept.ID, err)
		}
		return nil
	}
	if len(t.Round.Jobs) > 0 {
		t.Spec, t.goesOn = b.specifyAfter(t, &t.Round)
		return nil
	}
	t.Spec = pruning.Specify(b.caseOf(t), b.Practice)
	return nil
}

func (b *Basis) caseOf(t *WorkTree) *pruning.Case {
	return &pruning.Case{
		Tree: &t.Tree, Cuts: t.Cuts, Visits: t.Visits, Height: t.Result.Height, CrownRadius: t.Result.CrownRadius,
		HeightEstimated: t.Result.HeightFrom != exposure.Measured, CrownEstimated: t.Result.CrownFrom != exposure.Measured,
		Over: t.OverKinds(), Occupied: t.Occupied, Regrowth: t.Regrowth, AsOf: b.AsOf,
	}
}
