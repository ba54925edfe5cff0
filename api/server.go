// Package api answers HTTP: the collections as GeoJSON on the paths of OGC API -
// Features, rankings, and a map page. It holds the shapes of what goes over
// the wire, no SQL and no formulas.
package api

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"sync"
	"time"

	"github.com/paulmach/orb"
	"golang.org/x/sync/singleflight"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/question"
)

// Store is what the service reads from.
type Store interface {
	question.FeatureStore
	question.RankStore
	question.WhatIfStore
	question.GridStore
	question.RecordStore
	Ping(ctx context.Context) error
}

// Config says what a server serves and how. Store, Client and Profile must be
// set.
type Config struct {
	Store   Store
	Client  inventory.ClientID
	Profile *profile.Profile
	// PublicURL is where the service is reached from outside, as links name it.
	// Without it they follow the request.
	PublicURL string
	// TrustProxy takes scheme, host and path of links from X-Forwarded-Proto,
	// -Host and -Prefix. Set it only behind a proxy that sets them.
	TrustProxy bool
	Log        *slog.Logger
	Now        func() time.Time
	// RequestTimeout bounds all of a request's work; 60 s where zero.
	RequestTimeout time.Duration
	// StallTimeout bounds how long a client may take nothing; 30 s where zero.
	StallTimeout time.Duration
	// ShutdownTimeout bounds the wait for requests in hand; 10 s where zero.
	ShutdownTimeout time.Duration
}

// Server serves one client's inventory.
type Server struct {
	config  Config
	public  *url.URL // nil where links follow the request
	handler http.Handler
	// runs lets many requests that find the exposures out of date wait for one
	// run rather than start one each.
	runs singleflight.Group
	// sweeps holds a place for each request that may go through a whole site at
	// the same time: the others wait.
	sweeps  chan struct{}
	extents extents
}

// Validate reports what is wrong with the configuration.
func (c Config) Validate() error {
	_, err := c.publicURL()
	return err
}

// publicURL is nil where none is set.
func (c Config) publicURL() (*url.URL, error) {
	if c.PublicURL == "" {
		return nil, nil
	}
	u, err := url.Parse(c.PublicURL)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || u.RawQuery != "" {
		return nil, inventory.Errorf(inventory.Invalid, "public URL %q: expected https://host or https://host/path", c.PublicURL)
	}
	return u, nil
}

func (c Config) withDefaults() Config {
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	c.RequestTimeout = cmp.Or(c.RequestTimeout, time.Minute)
	c.StallTimeout = cmp.Or(c.StallTimeout, 30*time.Second)
	c.ShutdownTimeout = cmp.Or(c.ShutdownTimeout, 10*time.Second)
	return c
}

// New returns a server. What Validate refuses, Run refuses too.
func New(c Config) *Server {
	s := &Server{config: c.withDefaults(), sweeps: make(chan struct{}, 1)}
	s.public, _ = c.publicURL()
	s.handler = s.routes()
	return s
}

// Handler returns the whole service as one handler.
func (s *Server) Handler() http.Handler { return s.handler }

// Run serves on l until ctx ends, then lets requests in hand finish.
func (s *Server) Run(ctx context.Context, l net.Listener) error {
	if err := s.config.Validate(); err != nil {
		return err
	}
	server := &http.Server{
		Handler:           s.handler,
		ReadHeaderTimeout: 10 * time.Second,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    64 << 10,
		ErrorLog:          slog.NewLogLogger(s.config.Log.Handler(), slog.LevelWarn),
	}
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(l) }()
	select {
	case err := <-ended:
		return err
	case <-ctx.Done():
	}
	// The time for the last requests does not come out of a context that has
	// ended.
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), s.config.ShutdownTimeout)
	defer cancel()
	err := server.Shutdown(last)
	if errors.Is(err, context.DeadlineExceeded) {
		s.config.Log.Warn("requests were cut off at the end", "after", s.config.ShutdownTimeout)
		err = server.Close()
	}
	<-ended
	return err
}

func (s *Server) features() *question.Features {
	return &question.Features{Store: s.config.Store, Profile: s.config.Profile, AsOf: s.config.Now()}
}

// extents remembers the box about each collection as long as nothing changes.
type extents struct {
	sync.Mutex
	state string
	boxes map[string]*orb.Bound
}

// extent returns the box about all of a collection; nil where it is empty.
func (s *Server) extent(ctx context.Context, state string, c *inventory.Collection) (*orb.Bound, error) {
	e := &s.extents
	e.Lock()
	box, ok := e.boxes[c.ID]
	ok = ok && e.state == state
	e.Unlock()
	if ok {
		return box, nil
	}
	b, found, err := s.features().Extent(ctx, s.config.Client, c)
	if err != nil {
		return nil, err
	}
	if found {
		box = &b
	} else {
		box = nil
	}
	e.Lock()
	defer e.Unlock()
	if e.state != state {
		e.state, e.boxes = state, make(map[string]*orb.Bound)
	}
	e.boxes[c.ID] = box
	return box, nil
}
