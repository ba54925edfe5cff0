package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"

	"github.com/underbough/underbough/importers"
	"github.com/underbough/underbough/inventory"
)

type importCmd struct {
	Files []string `arg:"" name:"file" help:"GeoJSON (also line by line) or CSV, plain or gzip; - reads standard input."`

	Site     string   `required:"" help:"Site to load into; made where there is none of that name." placeholder:"NAME"`
	As       string   `required:"" enum:"trees,targets,cuts,visits,counts,crowns" help:"What the records are: trees, targets, cuts, visits, counts at targets by the hour, or crowns (outlines of the crowns of trees that are there)."`
	Mapping  string   `help:"Mapping file (YAML): where each field comes from, and its unit." placeholder:"FILE" type:"existingfile"`
	Map      []string `help:"One rule of a mapping: field=COLUMN or field=COLUMN:unit, such as dbh=DIAMETER:in." placeholder:"RULE" sep:"none"`
	Set      []string `help:"One value for the whole file: field=value, such as people_per_hour=120." placeholder:"FIELD=VALUE" sep:"none"`
	Kind     string   `help:"Kind of target of the whole file, such as parking." placeholder:"KIND"`
	What     string   `help:"What the whole file's column count is of: people or vehicles." placeholder:"WHAT"`
	Layer    string   `help:"Name of the targets' source layer, within which ids are unique (default: the file's name without its endings; of counts, any layer)." placeholder:"NAME"`
	Where    []string `help:"Keep only records whose column has this value; give it again for more values or columns." placeholder:"COLUMN=VALUE" sep:"none"`
	Lon      string   `help:"CSV column of the longitude, where its name does not tell." placeholder:"COLUMN"`
	Lat      string   `help:"CSV column of the latitude." placeholder:"COLUMN"`
	WKT      string   `name:"wkt" help:"CSV column of the geometry as well-known text." placeholder:"COLUMN"`
	MaxKM    float64  `name:"max-km" default:"${max_km}" help:"Hold points farther than this from the middle of the site; 0 holds none."`
	TimeZone string   `help:"Time zone of a site made by this import, such as Europe/Zurich." placeholder:"NAME"`
	DryRun   bool     `help:"Do everything but write."`
	Format   string   `enum:"text,json" default:"text" help:"Form of the summary: text or json."`
}

// summary is what an import prints as JSON.
type summary struct {
	File string `json:"file"`
	As   string `json:"as"`
	Site string `json:"site"`
	inventory.Counts
	DryRun  bool    `json:"dry_run"`
	Seconds float64 `json:"seconds"`
}

// Run loads each file in turn, each in one transaction.
func (i *importCmd) Run(c *cli) error {
	// A large file leaves much garbage and little that lives: collecting it
	// sooner halves the memory for a few per cent of the time.
	debug.SetGCPercent(50)
	if i.TimeZone != "" {
		if _, err := time.LoadLocation(i.TimeZone); err != nil {
			return inventory.Errorf(inventory.Invalid, "--time-zone %s: no such time zone: expected a name such as Europe/Zurich", i.TimeZone)
		}
	}
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	for _, file := range i.Files {
		if err := i.one(c, s, file); err != nil {
			return err
		}
	}
	return nil
}

func (i *importCmd) one(c *cli, s *session, path string) error {
	start := time.Now()
	in, size, err := openInput(path)
	if err != nil {
		return err
	}
	defer in.Close()
	f, err := importers.Open(in, filepath.Base(path), importers.OpenOptions{Longitude: i.Lon, Latitude: i.Lat, WKT: i.WKT})
	if err != nil {
		return err
	}
	o := importers.Options{
		Client: s.client, Site: i.Site, TimeZone: i.TimeZone, Role: inventory.Role(i.As), MaxKM: i.MaxKM,
		DryRun: i.DryRun, Actor: user(), Year: time.Now().Year(),
	}
	if o.Mapping, err = i.mapping(c, f); err != nil {
		return err
	}
	if o.Where, err = parseWhere(i.Where); err != nil {
		return err
	}
	o.Layer = i.Layer
	if o.Role == inventory.RoleTargets && o.Layer == "" {
		o.Layer, _, _ = strings.Cut(f.Name, ".")
	}
	stop := c.progress(f, size)
	counts, err := importers.Run(c.ctx, s, f, o)
	stop()
	if err != nil {
		return fmt.Errorf("%s: %w", f.Name, err)
	}
	return i.report(c, summary{File: f.Name, As: i.As, Site: i.Site, Counts: counts, DryRun: i.DryRun, Seconds: time.Since(start).Seconds()})
}

// mapping puts together the rules given and, for the fields that none names,
// the ones that the columns' names propose; it shows them before loading.
func (i *importCmd) mapping(c *cli, f *importers.File) (importers.Mapping, error) {
	role := inventory.Role(i.As)
	given := make(importers.Mapping)
	if i.Mapping != "" {
		b, err := os.ReadFile(i.Mapping)
		if err != nil {
			return nil, err
		}
		if given, err = importers.ParseMapping(b); err != nil {
			return nil, fmt.Errorf("%s: %w", i.Mapping, err)
		}
	}
	for _, rule := range i.Map {
		if err := given.AddRule(rule, role); err != nil {
			return nil, err
		}
	}
	if i.Kind != "" {
		given["kind"] = importers.Rule{Value: i.Kind}
	}
	if i.What != "" {
		given["what"] = importers.Rule{Value: i.What}
	}
	for _, set := range i.Set {
		name, value, ok := strings.Cut(set, "=")
		if !ok || value == "" {
			return nil, inventory.Errorf(inventory.Invalid, "--set %s: expected field=value", set)
		}
		given[name] = importers.Rule{Value: value}
	}
	guessed, unclear := importers.GuessRest(role, f.Columns, given)
	maps.Copy(guessed, given)
	c.say("%s: %s, read as %s", f.Name, f.Format, role)
	for _, line := range guessed.Lines(role, given) {
		c.say("  %s", line)
	}
	for _, line := range unclear {
		c.say("  not read: %s", line)
	}
	// Later records of GeoJSON may have it: no reason to stop, but to say so.
	for _, name := range slices.Sorted(maps.Keys(given)) {
		if from := given[name].From; from != "" && f.Format == importers.FormatGeoJSON && !f.HasColumn(from) {
			c.say("  note: %s is to come from %q, which no record looked at has", name, from)
		}
	}
	return guessed, nil
}

func (i *importCmd) report(c *cli, s summary) error {
	if i.Format == "json" {
		return json.NewEncoder(c.stdout).Encode(s)
	}
	w := bufio.NewWriter(c.stdout)
	fmt.Fprintf(w, "%s: %d read = %d added + %d updated + %d unchanged + %d left out + %d quarantined (%.1f s)\n",
		s.File, s.Read, s.Added, s.Updated, s.Unchanged, s.LeftOut, s.Quarantined, s.Seconds)
	if s.CutsAdded+s.CutsUpdated+s.CutsUnchanged > 0 {
		fmt.Fprintf(w, "  cuts inside the trees: %d added, %d updated, %d unchanged\n", s.CutsAdded, s.CutsUpdated, s.CutsUnchanged)
	}
	if s.Summed > 0 {
		fmt.Fprintf(w, "  %s summed into the hours they are parts of\n", plural(s.Summed, "further record was", "further records were"))
	}
	switch {
	case s.Repaired > 0 && s.As != string(inventory.RoleTargets):
		fmt.Fprintf(w, "  %s repaired (outer rings united, holes taken away)\n", plural(s.Repaired, "invalid outline of a crown", "invalid outlines of crowns"))
	case s.Repaired > 0:
		fmt.Fprintf(w, "  %s repaired (outer rings united, holes taken away); the shape as read is kept beside each\n", plural(s.Repaired, "invalid shape", "invalid shapes"))
	}
	if s.Quarantined > 0 {
		fmt.Fprintf(w, "  see what is wrong with those held back: underbough quarantine list%s --site %q\n", c.dataFlag(), s.Site)
	}
	switch {
	case s.Read == 0:
		fmt.Fprintln(w, "  WARNING: the file holds no records")
	case s.Quarantined == s.Read:
		fmt.Fprintln(w, "  WARNING: no record could be used; is this the right file, and --as the right kind of record?")
	}
	if s.Broken > 0 {
		fmt.Fprintln(w, "  WARNING: the file breaks off or is damaged: what came after the last record held was not read")
	}
	if s.DryRun {
		fmt.Fprintln(w, "  dry run: nothing was written")
	}
	return w.Flush()
}

// say writes a line for people; it keeps standard output for results.
func (c *cli) say(format string, args ...any) { fmt.Fprintf(c.stderr, format+"\n", args...) }

func openInput(path string) (io.ReadCloser, int64, error) {
	if path == "-" {
		return io.NopCloser(os.Stdin), -1, nil
	}
	f, err := os.Open(path)
	if err != nil {
		why := "it cannot be opened"
		switch {
		case errors.Is(err, fs.ErrNotExist):
			why = "there is no such file"
		case errors.Is(err, fs.ErrPermission):
			why = "you may not read it"
		}
		return nil, 0, &inventory.Error{Kind: inventory.NotFound, Message: path + ": " + why, Err: err}
	}
	info, err := f.Stat()
	if err != nil || info.IsDir() {
		f.Close()
		if err == nil {
			err = inventory.Errorf(inventory.Invalid, "%s is a folder: name a file", path)
		}
		return nil, 0, err
	}
	return f, info.Size(), nil
}

// progress draws a bar on a terminal while a file is read; elsewhere it is
// silent, since the summary line says it all.
func (c *cli) progress(f *importers.File, size int64) (stop func()) {
	err, ok := c.stderr.(*os.File)
	if !ok || !term.IsTerminal(int(err.Fd())) {
		return func() {}
	}
	bar := progressbar.NewOptions64(size, progressbar.OptionSetWriter(err), progressbar.OptionShowBytes(true),
		progressbar.OptionSetDescription(f.Name), progressbar.OptionClearOnFinish(), progressbar.OptionThrottle(100*time.Millisecond))
	done, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		tick := time.NewTicker(150 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-tick.C:
				bar.Set64(f.BytesRead())
				if size > 0 && f.BytesRead() >= size {
					bar.Describe(f.Name + ": matching and writing")
				}
			case <-done:
				bar.Finish()
				return
			}
		}
	}()
	return func() { close(done); <-ended }
}

func parseWhere(list []string) ([]importers.Where, error) {
	var out []importers.Where
next:
	for _, text := range list {
		column, value, ok := strings.Cut(text, "=")
		if !ok || column == "" {
			return nil, inventory.Errorf(inventory.Invalid, "--where %s: expected COLUMN=VALUE", text)
		}
		for i := range out {
			if out[i].Column == column {
				out[i].Values = append(out[i].Values, value)
				continue next
			}
		}
		out = append(out, importers.Where{Column: column, Values: []string{value}})
	}
	return out, nil
}

func plural(n int64, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
