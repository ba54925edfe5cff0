package importers_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/underbough/underbough/importers"
	"github.com/underbough/underbough/inventory"
)

func TestUnits(t *testing.T) {
	w := newTown(t)
	// The inch is 25.4 mm and the foot 0.3048 m exactly (NIST SP 811, B.8; the
	// international yard and pound agreement of 1959), so that a mile an hour is
	// 1609.344/3600 m/s; combined stems are TV 5.3 of the method's check values.
	for _, c := range []struct {
		name, field, unit, cell string
		want                    float64 // NaN: not measured
		held                    string  // part of the reason
	}{
		{name: "inches", field: "dbh", unit: "in", cell: "10", want: 0.254},
		{name: "inches in full", field: "dbh", unit: "inches", cell: "1", want: 0.0254},
		{name: "feet", field: "height", unit: "ft", cell: "100", want: 30.48},
		{name: "yards", field: "height", unit: "yd", cell: "10", want: 9.144},
		{name: "centimetres", field: "dbh", unit: "cm", cell: "42.5", want: 0.425},
		{name: "millimetres", field: "dbh", unit: "mm", cell: "425", want: 0.425},
		{name: "girth", field: "dbh", unit: "cm-girth", cell: "100", want: 1 / math.Pi},
		{name: "girth in inches", field: "dbh", unit: "in-girth", cell: "62.83185307", want: 20 * 0.0254},
		{name: "unit in the value", field: "dbh", unit: "cm", cell: "15 in", want: 0.381},
		{name: "unit close to the value", field: "dbh", unit: "cm", cell: "15in", want: 0.381},
		{name: "a mark of inches", field: "dbh", unit: "cm", cell: `15"`, want: 0.381},
		{name: "a mark of feet", field: "height", unit: "m", cell: "20'", want: 6.096},
		{name: "decimal comma", field: "dbh", unit: "cm", cell: "42,5", want: 0.425},
		{name: "power of ten", field: "dbh", unit: "mm", cell: "4.25e2", want: 0.425},
		{name: "stems", field: "dbh", unit: "cm", cell: "30; 20; 10", want: math.Sqrt(900+400+100) / 100},
		{name: "stems with slashes", field: "dbh", unit: "cm", cell: "12/12", want: math.Sqrt(288) / 100},
		{name: "stems with plus", field: "dbh", unit: "cm", cell: "15+10+8", want: math.Sqrt(389) / 100},
		{name: "zero", field: "dbh", unit: "cm", cell: "0", want: math.NaN()},
		{name: "nothing", field: "dbh", unit: "cm", cell: "", want: math.NaN()},
		{name: "not available", field: "dbh", unit: "cm", cell: "N/A", want: math.NaN()},
		{name: "only zero stems", field: "dbh", unit: "cm", cell: "0;0", want: math.NaN()},
		{name: "negative", field: "dbh", unit: "cm", cell: "-3", held: "below 0"},
		{name: "impossible", field: "dbh", unit: "in", cell: "1820", held: "above 118.1 in"},
		{name: "stems impossible together", field: "dbh", unit: "cm", cell: "250;250", held: "above 300 cm"},
		{name: "one bad stem", field: "dbh", unit: "cm", cell: "12;x", held: "not a number"},
		{name: "taller than any tree", field: "height", unit: "m", cell: "150", held: "above 116 m"},
		{name: "unknown unit", field: "dbh", unit: "cm", cell: "3 spans", held: `unknown unit "spans"`},
		{name: "feet and inches", field: "height", unit: "ft", cell: `5'6"`, held: "unknown unit"},
		{name: "thousands", field: "dbh", unit: "mm", cell: "1,250", held: "without separators of thousands"},
		{name: "words", field: "dbh", unit: "cm", cell: "big", held: "not a number"},
		{name: "hexadecimal", field: "dbh", unit: "cm", cell: "0x1p4", held: "unknown unit"},
		{name: "infinity", field: "dbh", unit: "cm", cell: "Inf", held: "not a number"},
		{name: "too big for a float", field: "dbh", unit: "cm", cell: "1e999", held: "not a number"},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := *w
			w.t = t
			column := map[string]string{"dbh": "dbh_m", "height": "height_m"}[c.field]
			f := file{text: table("id,FIGURE", `1,"`+strings.ReplaceAll(c.cell, `"`, `""`)+`"`), site: c.name, rules: []string{c.field + "=FIGURE:" + c.unit}}
			w.load(f)
			got := w.rows(`SELECT ` + column + ` FROM trees JOIN sites USING (client_id, site_id) WHERE name = '` + c.name + `'`)
			held := w.rows(`SELECT field || ': ' || reason FROM quarantine JOIN sites USING (client_id, site_id) WHERE name = '` + c.name + `'`)
			switch {
			case c.held != "":
				if len(got) > 0 || len(held) != 1 || !strings.HasPrefix(held[0], "FIGURE: ") || !strings.Contains(held[0], c.held) {
					t.Errorf("loaded %q, held %q", got, held)
				}
			case len(got) != 1:
				t.Errorf("not loaded: %q", held)
			case math.IsNaN(c.want):
				if got[0] != "∅" {
					t.Errorf("%s is kept", got[0])
				}
			default:
				v, err := strconv.ParseFloat(got[0], 64)
				if err != nil || math.Abs(v-c.want) > 1e-9 {
					t.Errorf("%v m, want %v", got[0], c.want)
				}
			}
		})
	}
	if got := math.Round(inventory.CombinedDiameter(30, 20, 10)*100) / 100; got != 37.42 {
		t.Errorf("stems of 30, 20 and 10 combine to %v, want 37.42", got)
	}
}

func TestTargetUnits(t *testing.T) {
	w := newTown(t)
	w.want(file{
		role: inventory.RoleTargets, kind: "road",
		text:  table("id,LIMIT,SHARE,VOL,WALK", "1,90,35,1200,12.5", "2,50 mph,0.5 ratio,1200,0", "3,0,0,0,0", "4,30,120,1,1", "5,30,-5,1,1", "6,30,5,-1,1"),
		rules: []string{"speed=LIMIT:km/h", "share_occupied=SHARE:%", "vehicles_per_day=VOL", "people_per_hour=WALK"},
	}, 6, 3, 0, 0, 0, 3)
	// 90 km/h is 25 m/s; 50 mi/h is 22.352 m/s exactly (NIST SP 811, B.8).
	w.is(`SELECT round(speed_mps::numeric, 9), round(share_occupied::numeric, 9), vehicles_per_day, people_per_hour FROM targets ORDER BY source_id`,
		"25.000000000|0.350000000|1200|12.5", "22.352000000|0.500000000|1200|0", "∅|0.000000000|0|0")
}

func TestCrown(t *testing.T) {
	w := newTown(t)
	w.want(file{text: table("id,crown_spread_ft,planted_year", "1,30,1998", "2,0,2014-05-01", "3,10,0", "4,10,19980")}, 4, 3, 0, 0, 0, 1)
	// Half a spread of 30 ft of 0.3048 m (NIST SP 811, B.8).
	w.is(`SELECT round(crown_radius_m::numeric, 6), planted_year FROM trees ORDER BY source_id`, "4.572000|1998", "∅|2014", "1.524000|∅")
}

// A limit that a mapping raises must not let through what the database refuses,
// since that would end the whole import.
func TestRaisedLimit(t *testing.T) {
	w := newTown(t)
	f := file{text: table("id,D", "1,400", "2,1300"), set: importers.Mapping{"dbh": {From: "D", Unit: "cm", Max: 500}}}
	w.want(f, 2, 1, 0, 0, 0, 1)
	f.set = importers.Mapping{"dbh": {From: "D", Unit: "cm", Max: 20000}}
	if _, err := w.try(f); err == nil || inventory.KindOf(err) != inventory.Invalid || !strings.Contains(err.Error(), "at most 1400 cm") {
		t.Errorf("a limit of 200 m: %v", err)
	}
}
