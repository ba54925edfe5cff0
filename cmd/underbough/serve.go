package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"strings"
	"syscall"
	"time"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/question"
)

type serveCmd struct {
	Listen     string `default:"127.0.0.1:8017" env:"UNDERBOUGH_LISTEN" help:"Address to listen on; only this machine unless told otherwise." placeholder:"HOST:PORT"`
	PublicURL  string `name:"public-url" env:"UNDERBOUGH_PUBLIC_URL" help:"Where the service is reached from outside, for its links." placeholder:"URL"`
	TrustProxy bool   `env:"UNDERBOUGH_TRUST_PROXY" help:"Take links' scheme and host from X-Forwarded headers; only behind a proxy that sets them."`
	Basemap    string `env:"UNDERBOUGH_BASEMAP" help:"Draw these raster tiles under the map; browsers then ask their host. Without it the map asks nobody but this service." placeholder:"URL with {z}, {x}, {y}"`
	Credit     string `name:"basemap-credit" env:"UNDERBOUGH_BASEMAP_CREDIT" help:"Who made the basemap, named beside the map." placeholder:"TEXT"`
	editFlags
	uploadFlags
	profileFlag
	practiceFlag

	logLevel slog.Level
}

// Run serves until interrupted.
func (s *serveCmd) Run(c *cli) error {
	inv, err := c.session()
	if err != nil {
		return err
	}
	defer inv.close()
	return s.serve(c, inv)
}

func (s *serveCmd) serve(c *cli, inv *session) error {
	p, err := s.read()
	if err != nil {
		return err
	}
	k, err := s.practice()
	if err != nil {
		return err
	}
	config := api.Config{
		Store: inv, Client: inv.client, Profile: p, Practice: k, PublicURL: s.PublicURL, TrustProxy: s.TrustProxy, Basemap: s.Basemap, BasemapCredit: s.Credit,
		Log: slog.New(slog.NewTextHandler(c.stderr, &slog.HandlerOptions{Level: s.logLevel})),
	}
	if err := s.editing(&config); err != nil {
		return err
	}
	if err := config.Validate(); err != nil {
		return err
	}
	forget, err := s.taking(c, inv, &config)
	if err != nil {
		return err
	}
	defer forget()
	l, err := net.Listen("tcp", s.Listen)
	if err != nil {
		if errors.Is(err, syscall.EADDRINUSE) {
			return inventory.Errorf(inventory.Conflict, "%s is taken by another program: give another address with --listen (port 0 takes any free one)", s.Listen)
		}
		return inventory.Errorf(inventory.Invalid, "--listen %s: no address of this machine to listen on: expected HOST:PORT such as 127.0.0.1:8017", s.Listen)
	}
	defer s.keepUpToDate(c, inv, p, config.Log)()
	fmt.Fprintf(c.stdout, "Serving at http://%s/ (map at http://%s/map); Ctrl-C ends it.\n%s", l.Addr(), l.Addr(), editNote(&config, l.Addr().String()))
	if c.Database == "" {
		fmt.Fprintf(c.stdout, "For a desktop GIS on this machine, PostGIS is at %s, schema gis.\n", connection(inv.url))
	}
	return api.New(config).Run(c.ctx, l)
}

// connection names a database on a private cluster as desktop programs ask for it.
func connection(address string) string {
	u, err := url.Parse(address)
	if err != nil {
		return address
	}
	q := u.Query()
	return fmt.Sprintf("host=%s port=%s dbname=%s user=%s", q.Get("host"), q.Get("port"), strings.TrimPrefix(u.Path, "/"), u.User.Username())
}

// keepUpToDate brings exposures up to date in the background whenever the
// inventory is edited, by whatever path. The function that it returns ends that
// and waits for the end.
func (s *serveCmd) keepUpToDate(c *cli, inv *session, p *profile.Profile, log *slog.Logger) func() {
	ctx, stop := context.WithCancel(c.ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		question.KeepUpToDate(ctx, inv, inv.client, p, func(site string, err error) {
			log.Error("exposures are not brought up to date; the next ranking tries again", "site", site, "error", err)
		}, pause)
	}()
	return func() { stop(); <-done }
}

// afterFailure is how long the service waits before it tries again what failed
// as a whole, such as a database that cannot be reached.
const afterFailure = time.Minute

func pause(ctx context.Context) {
	select {
	case <-time.After(afterFailure):
	case <-ctx.Done():
	}
}
