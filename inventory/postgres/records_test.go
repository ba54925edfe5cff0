package postgres_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
	"github.com/underbough/underbough/inventory/risk"
)

// A ranking is made again to the same bytes, whatever was edited since and by
// whatever path, and even while somebody is editing.
func TestRankingRunsAgainToTheSameBytes(t *testing.T) {
	ctx, p := t.Context(), profile.Default()
	db := open(t)
	site := town(t, db, 150)
	r := rand.New(rand.NewPCG(3, 3))
	if _, err := db.Pool().Exec(ctx, `INSERT INTO sites (client_id, name) VALUES (1, 'other')`); err != nil {
		t.Fatal(err)
	}
	stop, stopped := make(chan bool), make(chan error)
	go func() { // somebody edits all the while
		for i := 0; ; i++ {
			select {
			case <-stop:
				stopped <- nil
				return
			case <-time.After(2 * time.Millisecond):
			}
			if _, err := db.Pool().Exec(ctx, `UPDATE trees SET crown_radius_m = 1 + ($1 % 7) WHERE tree_id = 1 + $1 % 140`, i); err != nil {
				stopped <- err
				return
			}
		}
	}()
	questions := []ranking.Question{
		{By: ranking.ByHarm, Draws: 50, Seed: 4, Top: 10},
		{By: ranking.ByExposure, Season: "leaf-on"},
		{By: ranking.ByRating, Over: []inventory.TargetKind{inventory.Walkway}, Limit: 20},
		{By: ranking.ByHarm, Cuts: []inventory.CutKind{inventory.CutTopping}, Since: 2010},
	}
	var ids []int64
	for _, q := range questions {
		made, err := question.Record(ctx, db, site, "autumn", "tester", q, p, day)
		if err != nil {
			t.Fatal(err)
		}
		if made.Rows == 0 {
			t.Fatalf("%+v: no rows", q)
		}
		ids = append(ids, made.ID)
	}
	close(stop)
	if err := <-stopped; err != nil {
		t.Fatal(err)
	}
	for range 25 {
		if _, err := db.Pool().Exec(ctx, edit(r)); err != nil {
			t.Fatal(err)
		}
	}
	for i, id := range ids {
		again, err := question.RunAgain(ctx, db, 1, id)
		if err != nil {
			t.Fatal(err)
		}
		if !again.Same {
			t.Errorf("%+v made again differs at place %d:\n%s\n%s", questions[i], again.Place, again.Kept, again.Now)
		}
	}
	now, err := question.Record(ctx, db, site, "later", "tester", questions[0], p, day)
	if err != nil {
		t.Fatal(err)
	}
	first, _, _, err := db.GetRanking(ctx, 1, ids[0])
	if err != nil || first.Digest == now.Digest {
		t.Errorf("25 edits changed nothing in the ranking (%v)", err)
	}
	// Nothing stays behind of the tables that rankings are worked out in.
	var tables int
	if err := db.Pool().QueryRow(ctx, `SELECT count(*) FROM pg_class WHERE relname LIKE 'exposures_g%' AND relkind = 'r'`).Scan(&tables); err != nil || tables != 0 {
		t.Errorf("%d tables left behind (%v)", tables, err)
	}
	list, err := db.FindRankings(ctx, 1, site.ID)
	if err != nil || len(list) != len(ids)+1 || list[0].ID != now.ID || list[0].Rows != now.Rows {
		t.Errorf("%d rankings listed, the first %+v (%v)", len(list), list[0], err)
	}
}

// A full run and a ranking of the instant after it say the same.
func TestRankingIsWhatTheRunInForceSays(t *testing.T) {
	ctx, p := t.Context(), profile.Default()
	db := open(t)
	site := town(t, db, 80)
	if _, err := db.Recompute(ctx, site, p, day); err != nil {
		t.Fatal(err)
	}
	q := ranking.Query{Client: 1, Site: site.ID, By: ranking.ByHarm}
	want, _, err := db.Rank(ctx, q)
	if err != nil {
		t.Fatal(err)
	}
	at, err := db.Instant(ctx)
	if err != nil {
		t.Fatal(err)
	}
	got, _, err := db.RankAt(ctx, ranking.Sweep{Site: site, Profile: p, AsOf: day, At: inventory.Some(at)}, q)
	if err != nil || len(got) != len(want) {
		t.Fatalf("%d rows, in force %d (%v)", len(got), len(want), err)
	}
	for i := range want {
		a, _ := want[i].AppendJSON(nil)
		b, _ := got[i].AppendJSON(nil)
		if string(a) != string(b) {
			t.Fatalf("place %d\n%s\nin force\n%s", i+1, b, a)
		}
	}
}

// The words in the database are those of the program.
func TestWordsAreThoseOfTheProgram(t *testing.T) {
	db := open(t)
	want := map[string]map[int]string{"target": {}, "part": {}, "likelihood": {}, "origin": {}, "rule": {}, "rating": {}}
	for i, k := range inventory.TargetKinds {
		want["target"][i] = string(k)
	}
	for i := exposure.WholeTree; i <= exposure.Limb; i++ {
		want["part"][int(i)] = i.String()
	}
	for l := inventory.Improbable; l <= inventory.Imminent; l++ {
		want["likelihood"][int(l)] = l.String()
	}
	for o := exposure.Measured; o <= exposure.FromGeneral; o++ {
		want["origin"][int(o)] = o.String()
	}
	for _, r := range risk.Rules() {
		want["rule"][int(r)] = r.String()
	}
	for g := risk.RatingLow; g <= risk.RatingExtreme; g++ {
		want["rating"][int(g)] = g.String()
	}
	for points := range uint8(13) {
		want["rating"][int(risk.GradeOfPoints(points))] = risk.GradeOfPoints(points).String()
	}
	rows, err := db.Pool().Query(t.Context(), `SELECT list, code, word FROM words`)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for rows.Next() {
		var list, word string
		var code int
		if err := rows.Scan(&list, &code, &word); err != nil {
			t.Fatal(err)
		}
		if got, ok := want[list][code]; !ok || got != word {
			t.Errorf("%s %d is %q in the database and %q in the program: add a migration", list, code, word, got)
		}
		n++
	}
	all := 0
	for _, list := range want {
		all += len(list)
	}
	if n != all {
		t.Errorf("%d words in the database, %d in the program", n, all)
	}
	var kinds []string
	if err := db.Pool().QueryRow(t.Context(), `SELECT kinds(1023)`).Scan(&kinds); err != nil || len(kinds) != len(inventory.TargetKinds) {
		t.Fatalf("kinds(): %v (%v)", kinds, err)
	}
	for i, k := range inventory.TargetKinds {
		if kinds[i] != string(k) {
			t.Errorf("kind %d is %s in kinds()", i, kinds[i])
		}
	}
}
