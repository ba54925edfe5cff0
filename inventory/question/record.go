package question

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
)

// RecordStore keeps rankings.
type RecordStore interface {
	SweepStore
	// Instant returns an instant that splits all edits in two.
	Instant(ctx context.Context) (time.Time, error)
	// RankAt ranks a site as it stood at an instant.
	RankAt(ctx context.Context, s ranking.Sweep, q ranking.Query) ([]ranking.Row, inventory.Run, error)
	SaveRanking(ctx context.Context, r *ranking.Record, p *profile.Profile, rows []ranking.RankedRow) error
	FindRankings(ctx context.Context, client inventory.ClientID, site inventory.SiteID) ([]ranking.Record, error)
	// GetRanking returns a ranking, the text of its profile, and its rows.
	GetRanking(ctx context.Context, client inventory.ClientID, id int64) (ranking.Record, []byte, []ranking.RankedRow, error)
}

// Record ranks a site and keeps the ranking. name is what people call it; by is
// who made it.
func Record(ctx context.Context, store RecordStore, site inventory.Site, name, by string, q ranking.Question, p *profile.Profile, asOf time.Time) (*ranking.Record, error) {
	if name == "" || len(name) > 200 {
		return nil, inventory.Errorf(inventory.Invalid, "the ranking's name %q: expected 1 to 200 bytes", name)
	}
	at, err := store.Instant(ctx)
	if err != nil {
		return nil, err
	}
	r := &ranking.Record{Client: site.Client, Site: site, Name: name, MadeBy: by, Question: q, ProfileName: p.Name, ProfileDigest: p.TextDigest(), AsOf: asOf, InputsAt: at}
	rows, err := rowsOf(ctx, store, r, p)
	if err != nil {
		return nil, err
	}
	r.Digest, r.Rows = digest(rows), len(rows)
	if err := store.SaveRanking(ctx, r, p, rows); err != nil {
		return nil, err
	}
	return r, nil
}

// rowsOf works out a record's rows from the inventory as it stood.
func rowsOf(ctx context.Context, store RecordStore, r *ranking.Record, p *profile.Profile) ([]ranking.RankedRow, error) {
	k := &r.Question
	s := ranking.Sweep{Site: r.Site, Profile: p.In(profile.Season(k.Season)), AsOf: r.AsOf, At: inventory.Some(r.InputsAt)}
	list, run, err := store.RankAt(ctx, s, ranking.Query{Client: r.Client, Site: r.Site.ID, Over: k.Over, Cuts: k.Cuts, Since: k.Since, By: k.By, Limit: k.Limit})
	if err != nil {
		return nil, err
	}
	r.Trees = run.Trees
	if k.Draws > 0 {
		doubts, err := Intervals(ctx, store, s, k.By, Draws{Number: k.Draws, Seed: k.Seed, Top: k.Top})
		if err != nil {
			return nil, err
		}
		for i := range list {
			list[i].Doubt = inventory.Some(doubts[list[i].Tree])
		}
	}
	rows := make([]ranking.RankedRow, len(list))
	for i := range list {
		b, err := list[i].AppendJSON(nil)
		if err != nil {
			return nil, err
		}
		rows[i] = ranking.RankedRow{Place: list[i].Rank, Tree: list[i].Tree, Row: b}
	}
	return rows, nil
}

// digest is of the rows, each ended by a line feed.
func digest(rows []ranking.RankedRow) string {
	h := sha256.New()
	for i := range rows {
		h.Write(rows[i].Row)
		h.Write([]byte{'\n'})
	}
	return hex.EncodeToString(h.Sum(nil))
}

// Rerun is a kept ranking made again from its inputs.
type Rerun struct {
	Record ranking.Record
	Digest string
	Same   bool // byte for byte
	// Where the first difference is, its place and both rows.
	Place     int
	Kept, Now []byte
}

// RunAgain makes a kept ranking again and compares every byte.
func RunAgain(ctx context.Context, store RecordStore, client inventory.ClientID, id int64) (*Rerun, error) {
	r, body, kept, err := store.GetRanking(ctx, client, id)
	if err != nil {
		return nil, err
	}
	p, err := profile.Parse(body)
	if err != nil {
		return nil, inventory.Errorf(inventory.Invalid, "the profile of ranking %d cannot be read by this program: %w", id, err)
	}
	again := r
	rows, err := rowsOf(ctx, store, &again, p)
	if err != nil {
		return nil, err
	}
	out := &Rerun{Record: r, Digest: digest(rows)}
	out.Same = out.Digest == r.Digest && digest(kept) == r.Digest
	for i := 0; !out.Same && i < max(len(rows), len(kept)); i++ {
		var a, b []byte
		if i < len(kept) {
			a = kept[i].Row
		}
		if i < len(rows) {
			b = rows[i].Row
		}
		if !bytes.Equal(a, b) {
			out.Place, out.Kept, out.Now = i+1, a, b
			break
		}
	}
	return out, nil
}
