package postgres

import (
	"encoding/binary"
	"fmt"
	"math"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/ranking"
	"github.com/underbough/underbough/inventory/risk"
)

// exposureColumns are written in this order by copyBuffer.exposure, and read in
// it by scanResult.
const exposureColumns = `client_id, generation, tree_id, over, within, amounts, overlap_count,
	people, people_in_vehicles, people_sheltered, vehicles, vehicles_meeting, busiest_people, busiest_hour, busiest_vehicles, occupied,
	part, likelihood, rule, stale, cut_id, part_people, part_vehicles, harm, harm_people, harm_property,
	rating, rating_people, rating_property, rating_busiest, height_m, height_from, crown_radius_m, crown_from, ground_m, ground_bearing_deg, ground_width_deg`

const exposureFields = 37

// exposure appends one row of exposures.
func (w *copyBuffer) exposure(client inventory.ClientID, generation int64, r *ranking.Result) {
	w.row(exposureFields)
	w.int32(int32(client))
	w.int64(generation)
	w.int64(int64(r.Tree))
	w.int32(int32(r.OverKinds()))
	w.int32(int32(r.Within))
	w.amounts(r.Over)
	w.int32(int32(r.Overlaps))
	w.float32(r.Count.People)
	w.float32(r.Count.InVehicles)
	w.float32(r.Count.Sheltered)
	w.float32(r.Count.Vehicles)
	w.float32(r.Meeting)
	w.float32(r.Week.Busiest)
	w.int16(int16(r.Week.BusiestHour))
	w.float32(r.BusiestVehicles)
	w.float32(r.Week.Occupied)
	w.int16(int16(r.Part))
	w.int16(int16(r.Likelihood))
	w.int16(int16(r.Rule))
	w.bool(r.Stale)
	if r.Cut != 0 {
		w.int64(int64(r.Cut))
	} else {
		w.null()
	}
	w.float32(r.PartPeople)
	w.float32(r.PartVehicles)
	w.float64(r.Harm)
	w.float32(r.HarmPeople)
	w.float32(r.HarmProperty)
	w.int16(int16(r.Score.Rating))
	w.int16(int16(r.Score.People))
	w.int16(int16(r.Score.Property))
	w.int16(int16(r.Score.Busiest))
	w.float32(r.Height)
	w.int16(int16(r.HeightFrom))
	w.float32(r.CrownRadius)
	w.int16(int16(r.CrownFrom))
	w.float32(r.Ground.Radius)
	w.float32(r.Ground.Bearing)
	w.float32(r.Ground.Width)
}

// exposureValues are the same columns as parameters of an INSERT.
func exposureValues(client inventory.ClientID, generation int64, r *ranking.Result) []any {
	cut := pgtype.Int8{Int64: int64(r.Cut), Valid: r.Cut != 0}
	return []any{
		int32(client), generation, int64(r.Tree), int32(r.OverKinds()), int32(r.Within), appendAmounts([]byte{}, r.Over), int32(r.Overlaps),
		float32(r.Count.People), float32(r.Count.InVehicles), float32(r.Count.Sheltered), float32(r.Count.Vehicles), float32(r.Meeting),
		float32(r.Week.Busiest), int16(r.Week.BusiestHour), float32(r.BusiestVehicles), float32(r.Week.Occupied),
		int16(r.Part), int16(r.Likelihood), int16(r.Rule), r.Stale, cut, float32(r.PartPeople), float32(r.PartVehicles),
		r.Harm, float32(r.HarmPeople), float32(r.HarmProperty),
		int16(r.Score.Rating), int16(r.Score.People), int16(r.Score.Property), int16(r.Score.Busiest),
		float32(r.Height), int16(r.HeightFrom), float32(r.CrownRadius), int16(r.CrownFrom),
		float32(r.Ground.Radius), float32(r.Ground.Bearing), float32(r.Ground.Width),
	}
}

var exposureParameters = func() string {
	names := make([]string, exposureFields)
	for i := range names {
		names[i] = fmt.Sprintf("$%d", i+1)
	}
	return strings.Join(names, ", ")
}()

// amountBytes is what one kind of target takes in exposures.amounts: its code,
// then metres and square metres, in hundredths, and the number of points, four
// bytes each, big-endian. The database's function amounts() reads it too.
const amountBytes = 13

func (w *copyBuffer) amounts(list []ranking.Under) {
	w.length(amountBytes * len(list))
	w.b = appendAmounts(w.b, list)
}

func appendAmounts(b []byte, list []ranking.Under) []byte {
	for i := range list {
		u := &list[i]
		b = append(b, byte(u.Kind.KindIndex()))
		b = binary.BigEndian.AppendUint32(b, hundredths(u.LengthM))
		b = binary.BigEndian.AppendUint32(b, hundredths(u.AreaM2))
		b = binary.BigEndian.AppendUint32(b, uint32(u.Points))
	}
	return b
}

// hundredths keeps the least amount from becoming none.
func hundredths(v float64) uint32 {
	if v <= 0 {
		return 0
	}
	return uint32(min(max(math.Round(v*100), 1), math.MaxInt32))
}

func readAmounts(b []byte) ([]ranking.Under, error) {
	var list []ranking.Under
	for ; len(b) >= amountBytes; b = b[amountBytes:] {
		if int(b[0]) >= len(inventory.TargetKinds) {
			return nil, fmt.Errorf("exposures: no kind of target has the code %d", b[0])
		}
		list = append(list, ranking.Under{
			Kind:    inventory.TargetKinds[b[0]],
			LengthM: float64(binary.BigEndian.Uint32(b[1:])) / 100,
			AreaM2:  float64(binary.BigEndian.Uint32(b[5:])) / 100,
			Points:  int(binary.BigEndian.Uint32(b[9:])),
		})
	}
	return list, nil
}

// resultSelect are the columns that scanResult reads, of e.
const resultSelect = `e.tree_id, e.within, e.amounts, e.overlap_count,
	e.people, e.people_in_vehicles, e.people_sheltered, e.vehicles, e.vehicles_meeting, e.busiest_people, e.busiest_hour, e.busiest_vehicles, e.occupied,
	e.part, e.likelihood, e.rule, e.stale, coalesce(e.cut_id, 0), e.part_people, e.part_vehicles, e.harm, e.harm_people, e.harm_property,
	e.rating, e.rating_people, e.rating_property, e.rating_busiest, e.height_m, e.height_from, e.crown_radius_m, e.crown_from, e.ground_m, e.ground_bearing_deg, e.ground_width_deg`

// scanResult scans resultSelect and then more.
func scanResult(row pgx.CollectableRow, r *ranking.Result, more ...any) error {
	var amounts []byte
	var code [9]int16
	var within int32
	fields := append([]any{
		&r.Tree, &within, &amounts, &r.Overlaps,
		&r.Count.People, &r.Count.InVehicles, &r.Count.Sheltered, &r.Count.Vehicles, &r.Meeting, &r.Week.Busiest, &r.Week.BusiestHour, &r.BusiestVehicles, &r.Week.Occupied,
		&code[0], &code[1], &code[2], &r.Stale, &r.Cut, &r.PartPeople, &r.PartVehicles, &r.Harm, &r.HarmPeople, &r.HarmProperty,
		&code[3], &code[4], &code[5], &code[6], &r.Height, &code[7], &r.CrownRadius, &code[8], &r.Ground.Radius, &r.Ground.Bearing, &r.Ground.Width,
	}, more...)
	if err := row.Scan(fields...); err != nil {
		return err
	}
	r.Within = ranking.Kinds(within)
	r.Part, r.Likelihood, r.Rule = exposure.Part(code[0]), inventory.Likelihood(code[1]), risk.Rule(code[2])
	r.Score = risk.Score{Rating: risk.Grade(code[3]), People: risk.Grade(code[4]), Property: risk.Grade(code[5]), Busiest: risk.Grade(code[6])}
	r.HeightFrom, r.CrownFrom = exposure.Origin(code[7]), exposure.Origin(code[8])
	var err error
	r.Over, err = readAmounts(amounts)
	return err
}
