package api_test

import (
	"context"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/postgres"
)

// faultyStore has a fault in one of its methods.
type faultyStore struct {
	*postgres.DB
	at atomic.Value // the name of the method
}

func (f *faultyStore) fault(method string) {
	if f.at.Load() == method {
		panic("a fault in " + method)
	}
}

func (f *faultyStore) FindTile(ctx context.Context, q inventory.TileQuery) ([]byte, error) {
	f.fault("FindTile")
	return f.DB.FindTile(ctx, q)
}

func (f *faultyStore) GetRun(ctx context.Context, site inventory.Site) (inventory.Run, bool, error) {
	f.fault("GetRun")
	return f.DB.GetRun(ctx, site)
}

func (f *faultyStore) FeatureState(ctx context.Context, client inventory.ClientID) (string, error) {
	f.fault("FeatureState")
	return f.DB.FeatureState(ctx, client)
}

// A fault in what several requests wait for together is an answer to each of
// them, with the stack in the log, and the service goes on.
func TestFaultsBesideTheRequest(t *testing.T) {
	store := &faultyStore{}
	s := serve(t, nil)
	store.DB = s.db
	s = serveOn(t, s, func(c *api.Config) { c.Store = store })
	s.run(t)
	tile := "/collections/trees" + quad + rowColumn(quarterTile)
	for _, c := range []struct{ method, path string }{
		{"FindTile", tile}, {"FeatureState", tile}, {"GetRun", "/ranking?limit=1"},
	} {
		store.at.Store(c.method)
		for range 2 {
			r := s.get(t, c.path)
			if r.status != 500 || strings.Contains(string(r.body), "fault in") {
				t.Errorf("%s: %d %s", c.method, r.status, r.body)
			}
		}
		if said := fmt.Sprint(s.log.all(t)); !strings.Contains(said, "a fault in "+c.method) || !strings.Contains(said, "panic_test.go") {
			t.Errorf("%s: the log does not say where", c.method)
		}
		store.at.Store("")
		if r := s.get(t, c.path); r.status != 200 {
			t.Errorf("after %s: %d %s", c.method, r.status, r.body)
		}
	}
}
