package question_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/tiling"
)

type faultyTiles struct{ inventory.TileStore }

func (faultyTiles) FindTile(context.Context, inventory.TileQuery) ([]byte, error) {
	panic("a fault in a tile")
}

// A fault in one of many tiles is an error.
func TestFaultInATile(t *testing.T) {
	var layers []inventory.TileQuery
	for i := range inventory.TileLayers {
		layers = append(layers, inventory.TileQuery{Client: 1, Layer: &inventory.TileLayers[i]})
	}
	err := question.EachTile(t.Context(), faultyTiles{}, layers, 0, 3, "", func(int, int) {}, func(tiling.Tile, []byte) error { return nil })
	if err == nil || !strings.Contains(err.Error(), "a fault in a tile") || !strings.Contains(err.Error(), "panic_test.go") {
		t.Error(err)
	}
}

type faultyKeep struct {
	question.KeepStore
	end func()
}

func (faultyKeep) FindSites(context.Context, inventory.ClientID) ([]inventory.Site, error) {
	return []inventory.Site{{ID: 1, Name: "Low Quarter"}}, nil
}

func (faultyKeep) GetRun(context.Context, inventory.Site) (inventory.Run, bool, error) {
	return inventory.Run{ProfileDigest: profile.Default().Digest}, false, nil
}

func (faultyKeep) CatchUp(context.Context, inventory.Site, *profile.Profile, time.Time) (inventory.Run, bool, error) {
	panic("a fault in a site")
}

func (f faultyKeep) AwaitEdit(context.Context, time.Duration) error { f.end(); return nil }

// A fault in what goes on in the background is told and ends nothing.
func TestFaultInTheBackground(t *testing.T) {
	ctx, end := context.WithCancel(t.Context())
	said := ""
	question.KeepUpToDate(ctx, faultyKeep{end: end}, 1, profile.Default(), func(site string, err error) { said = site + ": " + err.Error() }, func(context.Context) {})
	if !strings.HasPrefix(said, "Low Quarter: panic: a fault in a site") {
		t.Error(said)
	}
}
