package main

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"runtime/debug"
	"strconv"
	"strings"
	"time"

	"github.com/alecthomas/kong"

	"github.com/underbough/underbough/importers"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/postgres/cluster"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// cautions stands under everything that someone could act on.
var cautions = strings.Replace(question.Cautions, " Check", "\nCheck", 1)

// cli is the command line: what every command takes, and the commands.
type cli struct {
	Data     string           `help:"Folder of the private database." env:"UNDERBOUGH_DATA" placeholder:"DIR"`
	Database string           `help:"Use this PostgreSQL (15+ with PostGIS 3.3+) in place of the private one." env:"UNDERBOUGH_DATABASE" placeholder:"URL"`
	Client   string           `help:"Whose data." env:"UNDERBOUGH_CLIENT" default:"default"`
	Version  kong.VersionFlag `help:"Print the version."`
	Verbose  bool             `help:"Say more about what the database does." short:"v"`

	Import     importCmd     `cmd:"" help:"Load trees, targets, cuts, visits, counts or crowns from files."`
	Rank       rankCmd       `cmd:"" help:"List the trees in order of what they would land on."`
	Explain    explainCmd    `cmd:"" help:"Open one tree's sum down to each overlap, with the reason in words."`
	Hours      hoursCmd      `cmd:"" help:"Show the week under a tree hour by hour, and when to close the place for work."`
	Places     placesCmd     `cmd:"" help:"List the places with the most to lose, and from which trees."`
	Grid       gridCmd       `cmd:"" help:"Sum the trees' exposure up by square or hexagon, for a map."`
	Ranking    rankingCmd    `cmd:"" help:"Keep rankings as records: run, list, show, compare or rerun them."`
	Specify    specifyCmd    `cmd:"" help:"Show what to cut on a tree, when and why, or keep it as a person wants it."`
	Reduce     reduceCmd     `cmd:"" help:"Work out what cutting a limb back to a lateral takes off."`
	Programme  programmeCmd  `cmd:"" help:"Plan work over years within a budget: make, list, show or propose programmes."`
	Jobs       jobsCmd       `cmd:"" help:"Carry work through: list, show, approve, clear, take, done, check, photo."`
	CrewSheet  crewSheetCmd  `cmd:"" help:"Write the sheet that a crew takes along to a package of jobs (HTML or PDF)."`
	BidSheet   bidSheetCmd   `cmd:"" help:"Write the quantities for bidders (XLSX or CSV)."`
	Report     reportCmd     `cmd:"" help:"Write the report on a site for an owner or a council (HTML or PDF)."`
	Due        dueCmd        `cmd:"" help:"List the trees that are due to be looked at again."`
	Appraise   appraiseCmd   `cmd:"" help:"Appraise a tree by the trunk formula technique, with a person's ratings."`
	Question   questionCmd   `cmd:"" help:"Keep filters by name, as collections of the service: save, list or drop them."`
	Quarantine quarantineCmd `cmd:"" help:"List, export, readmit or drop the records that imports held back."`
	Tiles      tilesCmd      `cmd:"" help:"Write a site as vector tiles into one file (PMTiles), for static hosting."`
	Serve      serveCmd      `cmd:"" help:"Serve the inventory over HTTP."`
	Demo       demoCmd       `cmd:"" help:"Load an invented town, rank it and serve it."`
	Practice   practiceCmd   `cmd:"" help:"Print the built-in practice of pruning, windows, hours and effects to copy and change, or check one."`
	Profile    profileCmd    `cmd:"" help:"Print a built-in profile of assumptions to copy and change, check one, or print the schema."`

	stdout, stderr io.Writer
	ctx            context.Context
}

// run is the program: it parses args and runs the command.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	c := &cli{stdout: stdout, stderr: stderr, ctx: ctx}
	exited := false
	parser, err := kong.New(c,
		kong.Name("underbough"),
		kong.Description("Finds the trees that carry old bad pruning cuts over places where people and cars are, and ranks them by what they would land on."),
		kong.Writers(stdout, stderr),
		kong.Vars{
			"version": version(), "max_km": strconv.Itoa(importers.DefaultMaxKM),
			"profiles": strings.Join(profile.BuiltinNames, ", "), "change_forms": ranking.ChangeForms, "cut_form": cutForm,
		},
		kong.Exit(func(int) { exited = true }),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true}),
	)
	if err != nil {
		return err
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	k, err := parser.Parse(joinNegative(args))
	if exited {
		return nil
	}
	if err != nil {
		return &inventory.Error{Kind: inventory.Invalid, Message: err.Error() + " (underbough --help lists the commands)", Err: err}
	}
	return k.Run(c)
}

// joinNegative joins a number below zero to the flag before it. On its own it
// passes for a flag, and the answer would be about that rather than the number.
func joinNegative(args []string) []string {
	var out []string
	for _, a := range args {
		_, err := strconv.ParseFloat(a, 64)
		if last := len(out) - 1; last >= 0 && err == nil && a[0] == '-' && strings.HasPrefix(out[last], "--") && !strings.Contains(out[last], "=") && out[last] != "--" {
			out[last] += "=" + a
			continue
		}
		out = append(out, a)
	}
	return out
}

// version is what the build knows of itself.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	text := info.Main.Version
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" || s.Key == "vcs.time" {
			text += " " + s.Value
		}
	}
	return text
}

// exitStatus is 2 for what the user can mend and 1 for the rest.
func exitStatus(err error) int {
	switch inventory.KindOf(err) {
	case inventory.Invalid, inventory.NotFound, inventory.Conflict:
		return 2
	}
	return 1
}

// open connects to the database: the one at --database, or the private one,
// which is shared with whoever runs it already or started for the length of
// this command. It returns its address too.
func (c *cli) open() (*postgres.DB, string, func(), error) {
	url, release := c.Database, func() {}
	if url == "" {
		data, err := c.dataFolder()
		if err != nil {
			return nil, "", nil, err
		}
		lease, err := cluster.Acquire(c.ctx, cluster.Options{Data: data, Log: c.log()})
		if err != nil {
			return nil, "", nil, err
		}
		url, release = lease.URL(), func() { lease.Release() }
	}
	db, err := postgres.Open(c.ctx, url)
	if err != nil {
		release()
		return nil, "", nil, err
	}
	return db, url, func() { db.Close(); release() }, nil
}

func (c *cli) dataFolder() (string, error) {
	if c.Data != "" {
		return filepath.Abs(c.Data)
	}
	return cluster.DefaultData()
}

func (c *cli) log() *slog.Logger {
	level := slog.LevelWarn
	if c.Verbose {
		level = slog.LevelDebug
	}
	return slog.New(slog.NewTextHandler(c.stderr, &slog.HandlerOptions{Level: level}))
}

// session is an open inventory of one client.
type session struct {
	*postgres.DB
	client inventory.ClientID
	url    string // of the database
	close  func()
}

// siteNamed is the number of a site; 0, which stands for all, where none is named.
func (s *session) siteNamed(ctx context.Context, name string) (inventory.SiteID, error) {
	if name == "" {
		return 0, nil
	}
	site, err := s.GetSite(ctx, s.client, name)
	return site.ID, err
}

func (c *cli) session() (*session, error) {
	db, url, closeAll, err := c.open()
	if err != nil {
		return nil, err
	}
	client, err := db.GetClient(c.ctx, c.Client)
	if err != nil {
		closeAll()
		return nil, err
	}
	return &session{DB: db, client: client, url: url, close: closeAll}, nil
}

// profileFlag is which assumptions to take.
type profileFlag struct {
	ProfileName string `name:"profile" help:"Profile of assumptions: the name of a built-in one (${profiles}) or a YAML file." env:"UNDERBOUGH_PROFILE" placeholder:"NAME|FILE"`
}

func (f *profileFlag) read() (*profile.Profile, error) {
	if f.ProfileName == "" {
		return profile.Default(), nil
	}
	if text, ok := profile.Builtin(f.ProfileName); ok {
		return profile.Parse(text)
	}
	return readProfile(f.ProfileName)
}

// readProfile reads a profile from a file.
func readProfile(path string) (*profile.Profile, error) {
	b, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, inventory.Errorf(inventory.Invalid, "there is no profile %s: expected a YAML file, or one of the built-in profiles %s", path, strings.Join(profile.BuiltinNames, ", "))
	case err != nil:
		return nil, inventory.Errorf(inventory.Invalid, "the profile cannot be read: %w", err)
	}
	p, err := profile.Parse(b)
	if err != nil {
		return nil, inventory.Errorf(inventory.Invalid, "%s: %w", path, err)
	}
	return p, nil
}

// assumptions are what computing commands take.
type assumptions struct {
	profileFlag
	Season string `enum:",year,leaf-on,leaf-off" default:"" help:"Part of the year to look at: year, leaf-on or leaf-off (default: the profile's own). Chances of failure are then at the yearly rate of that season." placeholder:"SEASON"`
	Day    string `help:"Count years since a cut to this day (default: today)." placeholder:"YYYY-MM-DD"`
	AsOf   string `help:"Look at the inventory as it stood then: an instant such as 2024-05-01T12:00:00Z, or a day for its end (UTC). Years since a cut count to that day too, unless --day says otherwise." placeholder:"INSTANT"`
}

// profile returns the profile for the season asked for.
func (a *assumptions) profile() (*profile.Profile, error) {
	p, err := a.read()
	if err != nil {
		return nil, err
	}
	return p.In(profile.Season(a.Season)), nil
}

// Years that a day may be of: no cut on record is older, and none is foreseen
// that far; what is outside is a slip of the finger.
const firstYear, lastYear = 1900, 2200

// day is the one that years are counted to.
func (a *assumptions) day() (time.Time, error) {
	if a.Day == "" {
		now, err := a.instant()
		if err != nil {
			return now, err
		}
		y, m, d := now.Date()
		return time.Date(y, m, d, 0, 0, 0, 0, time.UTC), nil
	}
	t, err := time.Parse(time.DateOnly, a.Day)
	if err != nil {
		return t, inventory.Errorf(inventory.Invalid, "--day %s: expected the form 2026-03-31", a.Day)
	}
	if t.Year() < firstYear || t.Year() > lastYear {
		return t, inventory.Errorf(inventory.Invalid, "--day %s: expected a day of the years %d to %d", a.Day, firstYear, lastYear)
	}
	return t, nil
}

// instant is the one that the inventory is looked at as of.
func (a *assumptions) instant() (time.Time, error) {
	if a.AsOf == "" {
		return time.Now(), nil
	}
	at, err := inventory.ParseAsOf(a.AsOf, time.Now())
	if err != nil {
		return at, inventory.Errorf(inventory.Invalid, "--as-of %w", err)
	}
	return at, nil
}

// look opens the inventory at a site, under some assumptions; what is asked with
// the command's context is then answered as of their instant.
func (c *cli) look(site string, a *assumptions) (*session, *ranking.Sweep, error) {
	p, err := a.profile()
	if err != nil {
		return nil, nil, err
	}
	day, err := a.day()
	if err != nil {
		return nil, nil, err
	}
	s, err := c.session()
	if err != nil {
		return nil, nil, err
	}
	if err := c.lookBack(s, a); err != nil {
		s.close()
		return nil, nil, err
	}
	found, err := s.GetSite(c.ctx, s.client, site)
	if err != nil {
		s.close()
		return nil, nil, err
	}
	return s, &ranking.Sweep{Site: found, Profile: p, AsOf: day}, nil
}

// lookBack makes the command's context ask for the inventory as it stood.
func (c *cli) lookBack(s *session, a *assumptions) error {
	if a.AsOf == "" {
		return nil
	}
	at, err := a.instant()
	c.ctx = s.AsOf(c.ctx, at)
	return err
}

// user names who makes changes, for the history.
func user() string {
	for _, name := range []string{"SUDO_USER", "USER", "LOGNAME"} {
		if v := os.Getenv(name); v != "" {
			return v
		}
	}
	return "underbough"
}

// splitList reads a comma-separated list.
func splitList(s string) []string {
	var out []string
	for _, part := range strings.Split(s, ",") {
		if p := strings.TrimSpace(part); p != "" {
			out = append(out, p)
		}
	}
	return out
}

// dataFlag is how to name the database in use on the command line again.
func (c *cli) dataFlag() string {
	if c.Data == "" || c.Database != "" {
		return ""
	}
	if strings.ContainsAny(c.Data, " \t'\"$\\") {
		return " --data '" + strings.ReplaceAll(c.Data, "'", `'\''`) + "'"
	}
	return " --data " + c.Data
}
