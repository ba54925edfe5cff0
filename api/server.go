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
	"time"

	"github.com/go-chi/chi/v5"
	"golang.org/x/sync/singleflight"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
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
	question.SavedStore
	question.EditStore
	inventory.QuarantineStore
	question.HistoryStore
	inventory.TileStore
	WorkStore
	Ping(ctx context.Context) error
}

// Config says what a server serves and how. Store, Client and Profile must be
// set.
type Config struct {
	Store   Store
	Client  inventory.ClientID
	Profile *profile.Profile
	// Practice is what work is planned by; the built-in one where nil.
	Practice *practice.Practice
	// PublicURL is where the service is reached from outside, as links name it.
	// Without it they follow the request.
	PublicURL string
	// TrustProxy takes scheme, host and path of links from X-Forwarded-Proto,
	// -Host and -Prefix. Set it only behind a proxy that sets them.
	TrustProxy bool
	// Edit lets clients edit; without it the service only reads.
	Edit bool
	// EditOrigins are the origins, besides the service's own, whose pages may edit.
	EditOrigins []string
	// EditKeys are those who may edit; empty for everyone who reaches the service.
	EditKeys []EditKey
	// RequireMatch refuses edits that do not say which version they were made from.
	RequireMatch bool
	// Basemap is the template of the addresses of raster tiles that the map page
	// draws under all else, with {z}, {x} and {y}: of another host, which the page
	// then asks, or a path of this one. Without it no request leaves the machine.
	Basemap string
	// BasemapCredit names who made them, beside the map.
	BasemapCredit string
	// Importer reads files that clients send; without it the service takes none. It
	// needs UploadDir, a folder for them that nothing else uses, and takes files of
	// up to UploadBytes; of 1 GiB where zero.
	Importer    Importer
	UploadDir   string
	UploadBytes int64
	// TileCacheBytes is how much memory tiles are kept in; 64 MiB where zero.
	TileCacheBytes int
	Log            *slog.Logger
	Now            func() time.Time
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
	router  chi.Routes
	// runs lets many requests that find the exposures out of date wait for one
	// run rather than start one each.
	runs singleflight.Group
	// sweeps holds a place for each request that may go through a whole site at
	// the same time: the others wait.
	sweeps  chan struct{}
	exports chan struct{} // likewise for exports
	prints  chan struct{} // and for those who have a document printed
	uploads *uploads      // nil where the service takes no files
	extents extents
	counts  counts
	siteCRS knownReferences
	// tiles are kept as they are sent; tileStates reads the state they are of.
	tiles       *tileCache
	tileStates  stateGate
	tileExtents tileExtents
	// weeks are kept likewise; weekers holds a place for each who works them out.
	weeks   *tileCache
	weekers chan struct{}
}

// Validate reports what is wrong with the configuration.
func (c Config) Validate() error {
	if _, err := c.publicURL(); err != nil {
		return err
	}
	if err := c.checkBasemap(); err != nil {
		return err
	}
	return c.checkEditing()
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
	if c.Practice == nil {
		c.Practice = practice.Default()
	}
	c.TileCacheBytes = cmp.Or(c.TileCacheBytes, 64<<20)
	c.UploadBytes = cmp.Or(c.UploadBytes, 1<<30)
	c.RequestTimeout = cmp.Or(c.RequestTimeout, time.Minute)
	c.StallTimeout = cmp.Or(c.StallTimeout, 30*time.Second)
	c.ShutdownTimeout = cmp.Or(c.ShutdownTimeout, 10*time.Second)
	return c
}

// New returns a server. What Validate refuses, Run refuses too.
func New(c Config) *Server {
	s := &Server{config: c.withDefaults(), sweeps: make(chan struct{}, 1), exports: make(chan struct{}, mostExports), prints: make(chan struct{}, 1)}
	s.tiles = newTileCache(s.config.TileCacheBytes)
	s.weeks, s.weekers = newTileCache(weeksKept), make(chan struct{}, 2)
	s.public, _ = c.publicURL()
	s.uploads = newUploads(s)
	s.handler = s.routes()
	return s
}

// Handler returns the whole service as one handler.
func (s *Server) Handler() http.Handler { return s.handler }

// Close stops what is being loaded, which leaves nothing behind, and forgets the
// files that clients have sent. Run does it at its end.
func (s *Server) Close() {
	if s.uploads != nil {
		s.uploads.close()
	}
}

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
	go s.gatherAhead(ctx)
	defer s.Close()
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
