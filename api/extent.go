package api

import (
	"context"
	"sync"
	"time"

	"github.com/underbough/underbough/inventory"
)

// extents remembers the extent of each collection as long as nothing changes.
type extents struct {
	sync.Mutex
	state string
	known map[string]*extent
}

const gregorian = "http://www.opengis.net/def/uom/ISO-8601/0/Gregorian"

// extent returns the box about all of a collection and the time from its first
// to its last feature; nil where it is empty.
func (s *Server) extent(ctx context.Context, state string, c *inventory.Collection) (*extent, error) {
	state += s.pastInstant(ctx)
	e := &s.extents
	e.Lock()
	out, ok := e.known[c.ID]
	ok = ok && e.state == state
	e.Unlock()
	if ok {
		return out, nil
	}
	out, err := s.findExtent(ctx, c)
	if err != nil {
		return nil, err
	}
	e.Lock()
	defer e.Unlock()
	if e.state != state {
		e.state, e.known = state, make(map[string]*extent)
	}
	e.known[c.ID] = out
	return out, nil
}

func (s *Server) findExtent(ctx context.Context, c *inventory.Collection) (*extent, error) {
	out := &extent{}
	box, found, err := s.features(ctx).Extent(ctx, s.config.Client, c)
	if err != nil {
		return nil, err
	}
	if found {
		out.Spatial = &spatialExtent{CRS: crs84, BBox: [][4]float64{{box.Min[0], box.Min[1], box.Max[0], box.Max[1]}}}
	}
	var span inventory.Span
	found = false
	if c.Time != "" {
		if span, found, err = s.config.Store.FeatureSpan(ctx, s.config.Client, c); err != nil {
			return nil, err
		}
	}
	if found {
		out.Temporal = &temporalExtent{TRS: gregorian, Interval: [][2]*string{{instantText(span.From.Truncate(time.Millisecond)), instantText(roundedUp(span.To))}}}
	}
	if out.Spatial == nil && out.Temporal == nil {
		return nil, nil
	}
	return out, nil
}

// roundedUp is the first whole millisecond from an instant on: an interval holds
// all, and is written to milliseconds.
func roundedUp(t time.Time) time.Time {
	if down := t.Truncate(time.Millisecond); !down.Equal(t) {
		return down.Add(time.Millisecond)
	}
	return t
}

// instantText writes one end of an interval; nil where it is open.
func instantText(t time.Time) *string {
	if t.IsZero() {
		return nil
	}
	s := t.UTC().Format(instantLayout)
	return &s
}
