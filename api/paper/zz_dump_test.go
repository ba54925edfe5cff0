package paper

import (
	"compress/gzip"
	"fmt"
	"io"
	"os"
	"testing"
	"time"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/geojson"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
)

func load(t *testing.T, name string) *geojson.FeatureCollection {
	f, err := os.Open("/work/shared/data/cambridge/" + name + ".geojson.gz")
	if err != nil { t.Fatal(err) }
	z, _ := gzip.NewReader(f)
	b, _ := io.ReadAll(z)
	fc, err := geojson.UnmarshalFeatureCollection(b)
	if err != nil { t.Fatal(err) }
	return fc
}

func TestDump(t *testing.T) {
	view := orb.Bound{Min: orb.Point{-71.120, 42.365}, Max: orb.Point{-71.100, 42.378}}
	var targets []inventory.Target
	for _, l := range []struct{ n string; k inventory.TargetKind }{{"ParkingLots", inventory.Parking}, {"Roads", inventory.Road}, {"SidewalkCenterlines", inventory.Walkway}, {"Playgrounds", inventory.Playground}, {"BusShelters", inventory.TransitStop}, {"Porches", inventory.Building}} {
		for _, f := range load(t, l.n).Features {
			if f.Geometry != nil && f.Geometry.Bound().Intersects(view) {
				targets = append(targets, inventory.Target{Kind: l.k, Geometry: f.Geometry})
			}
		}
	}
	r := siteReport(5000)
	r.Targets = targets
	n := 0
	for _, f := range load(t, "trees").Features {
		p, ok := f.Geometry.(orb.Point)
		if ok && view.Contains(p) && n < len(r.Trees) { r.Trees[n].Point = p; r.Trees[n].Row.Harm = 0.01/float64(n+1); n++ }
	}
	// scatter ranks
	for i := 0; i < 20; i++ { j := (i*211+17) % n; r.Trees[i].Point, r.Trees[j].Point = r.Trees[j].Point, r.Trees[i].Point; r.Trees[i].Zones = nil
		if i%2 == 0 { z := toppedTree(); r.Trees[i].Zones = z.Zones; r.Trees[i].Cuts = z.Cuts; r.Trees[i].Size = exposure.Dimensions{Height: 17, CrownRadius: 6.2} } }
	r.Trees = r.Trees[:n]
	at := time.Now()
	b, err := Report(r)
	if err != nil { t.Fatal(err) }
	fmt.Println(n, len(targets), time.Since(at), len(b))
	os.WriteFile("/tmp/ub/paper/real.html", b, 0o644)
	s := crewSheet()
	for i := range s.Jobs { s.Jobs[i].Tree.Point = r.Trees[i].Point }
	for i := 1; i < 12; i++ { s.Jobs[i].Tree.Point = r.Trees[100+i].Point }
	s.Targets = targets
	b, _ = Crew(s)
	os.WriteFile("/tmp/ub/paper/realcrew.html", b, 0o644)
	fmt.Println(len(b))
	b, _ = Crew(hostileCrew("<script>alert('x')</script> very long name שלום \u202eabc "+hostile[11]))
	os.WriteFile("/tmp/ub/paper/hostile.html", b, 0o644)
}
