package api

import (
	"context"
	"fmt"
	"net/http"

	"github.com/underbough/underbough/inventory"
)

// What a request may ask that goes through a whole site. Beyond it the command
// line answers, which keeps nobody else waiting.
const (
	maxDraws      = 2_000
	maxDrawnTrees = 300_000     // also for a season of its own
	maxDrawings   = 200_000_000 // draws times trees
	maxSweptTrees = 2_000_000
)

// checkSweep reports a site that is too large to be gone through here. aside is
// a full run that is not kept.
func checkSweep(run inventory.Run, aside bool, draws int) error {
	switch {
	case run.Trees > maxSweptTrees:
		return tooLarge("site", "%d standing trees; up to %d are gone through here", run.Trees, maxSweptTrees)
	case aside && run.Trees > maxDrawnTrees:
		return tooLarge("season", "another one than that in force, for %d standing trees; up to %d are ranked anew here", run.Trees, maxDrawnTrees)
	case draws > 0 && run.Trees > maxDrawnTrees:
		return tooLarge("draws", "for %d standing trees; up to %d are drawn for here", run.Trees, maxDrawnTrees)
	case int64(draws)*run.Trees > maxDrawings:
		return tooLarge("draws", "%d for %d standing trees; up to %d can be made here", draws, run.Trees, maxDrawings/run.Trees)
	}
	return nil
}

// tooLarge is a question that is well asked but not answered here.
func tooLarge(parameter, format string, args ...any) error {
	return &parameterFault{parameter, &statusError{http.StatusUnprocessableEntity, fmt.Sprintf(format, args...) + ": use the command underbough for it"}}
}

// waitToSweep waits until no other request goes through a whole site. Call done
// at the end.
func (s *Server) waitToSweep(ctx context.Context) (done func(), err error) {
	return wait(ctx, s.sweeps)
}

// wait waits for one of some places. Call done at the end.
func wait(ctx context.Context, places chan struct{}) (done func(), err error) {
	select {
	case places <- struct{}{}:
		return func() { <-places }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}
