package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"time"

	"github.com/schollz/progressbar/v3"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/tiling"
	"github.com/underbough/underbough/inventory/tiling/pmtiles"
)

type tilesCmd struct {
	Site    string `help:"Site to write; can be left out where there is only one." placeholder:"NAME"`
	Out     string `required:"" help:"File to write, such as town.pmtiles." placeholder:"FILE" type:"path"`
	MinZoom int    `name:"min-zoom" default:"0" help:"Lowest level (default: 0)." placeholder:"N"`
	MaxZoom int    `name:"max-zoom" default:"16" help:"Deepest level, up to 18 (default: 16, which viewers enlarge beyond)." placeholder:"N"`
	profileFlag
}

// Run writes the tiles of a site, as they stand at one instant, as one file for
// static hosting.
func (t *tilesCmd) Run(c *cli) error {
	if t.MinZoom < 0 || t.MaxZoom > inventory.MaxTileZoom || t.MinZoom > t.MaxZoom {
		return inventory.Errorf(inventory.Invalid, "--min-zoom %d --max-zoom %d: expected levels from 0 to %d, the lower first", t.MinZoom, t.MaxZoom, inventory.MaxTileZoom)
	}
	// Before the work rather than after it.
	if _, err := writable(t.Out); err != nil {
		return err
	}
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	site, err := s.GetSite(c.ctx, s.client, t.Site)
	if err != nil {
		return err
	}
	p, err := t.read()
	if err != nil {
		return err
	}
	begun := time.Now()
	y, m, d := begun.Date()
	if _, err := question.UpToDate(c.ctx, s, site, p, time.Date(y, m, d, 0, 0, 0, 0, time.UTC), false); err != nil {
		return err
	}
	out, err := newTilesFile(t.Out)
	if err != nil {
		return err
	}
	defer out.discard()
	err = s.OneSnapshot(c.ctx, func(ctx context.Context) error { return t.fill(ctx, c, s, site, out) })
	if err != nil {
		return err
	}
	tiles, contents := out.directory.Tiles()
	fmt.Fprintf(c.stdout, "%s: %s, %d different, levels %d to %d, %.1f MB (%.1f s)\n", t.Out, counted(int(tiles), "tile"), contents, t.MinZoom, t.MaxZoom,
		float64(out.size)/1e6, time.Since(begun).Seconds())
	return nil
}

// fill writes the file from one snapshot.
func (t *tilesCmd) fill(ctx context.Context, c *cli, s *session, site inventory.Site, out *tilesFile) error {
	var layers []inventory.TileQuery
	head := pmtiles.Head{MinZoom: t.MinZoom, MaxZoom: t.MaxZoom}
	found := false
	for i := range inventory.TileLayers {
		q := inventory.TileQuery{Client: s.client, Site: inventory.Some(site.ID), Layer: &inventory.TileLayers[i]}
		layers = append(layers, q)
		box, ok, err := s.TileExtent(ctx, q)
		switch {
		case err != nil:
			return err
		case ok && !found:
			head.Bounds, found = box, true
		case ok:
			head.Bounds = head.Bounds.Union(box)
		}
	}
	if !found {
		return inventory.Errorf(inventory.NotFound, "site %q has neither trees nor targets: import some first", site.Name)
	}
	for head.CenterZoom = t.MaxZoom; head.CenterZoom > t.MinZoom; head.CenterZoom-- {
		if l := tiling.Cover(head.Bounds, head.CenterZoom); l.MaxX-l.MinX < 2 && l.MaxY-l.MinY < 2 {
			break
		}
	}
	var err error
	if head.Metadata, err = json.Marshal(tilesMetadata(site, layers, t.MinZoom, t.MaxZoom)); err != nil {
		return err
	}
	// All is read from one snapshot: what is gathered of it holds for it alone.
	bar := c.levelBar()
	err = question.EachTile(ctx, s, layers, t.MinZoom, t.MaxZoom, out.temporary, bar.level, func(tile tiling.Tile, b []byte) error {
		bar.one()
		return out.add(tile, b)
	})
	bar.end()
	if err != nil {
		return err
	}
	return out.finish(head)
}

// tilesMetadata says what the tiles hold, as TileJSON does.
func tilesMetadata(site inventory.Site, layers []inventory.TileQuery, least, most int) *orderedMap {
	m := &orderedMap{}
	m.set("name", site.Name)
	m.set("description", "Trees by what they would land on, with the places under them. "+question.Cautions)
	m.set("type", "overlay")
	m.set("version", "1.0.0")
	var list []*orderedMap
	for _, q := range layers {
		if q.Layer.MinZoom > most || q.Layer.MaxZoom < least {
			continue
		}
		l, fields := &orderedMap{}, &orderedMap{}
		for _, f := range q.Layer.Fields {
			kind := "String"
			if f.Numeric {
				kind = "Number"
			}
			fields.set(f.Name, kind)
		}
		l.set("id", q.LayerName())
		l.set("description", q.Layer.Note)
		l.set("minzoom", max(least, q.Layer.MinZoom))
		l.set("maxzoom", min(most, q.Layer.MaxZoom))
		l.set("fields", fields)
		list = append(list, l)
	}
	m.set("vector_layers", list)
	return m
}

// levelBar shows on a terminal how far the levels are; elsewhere it is silent.
type levelBar struct {
	c   *cli
	bar *progressbar.ProgressBar
}

func (c *cli) levelBar() *levelBar { return &levelBar{c: c} }

func (b *levelBar) level(z, tiles int) {
	b.end()
	err, ok := b.c.stderr.(*os.File)
	if !ok || terminalWidth(err) == 0 {
		return
	}
	b.bar = progressbar.NewOptions(tiles, progressbar.OptionSetWriter(err), progressbar.OptionSetDescription(fmt.Sprintf("level %d", z)),
		progressbar.OptionClearOnFinish(), progressbar.OptionThrottle(100*time.Millisecond))
}

func (b *levelBar) one() {
	if b.bar != nil {
		b.bar.Add(1)
	}
}

func (b *levelBar) end() {
	if b.bar != nil {
		b.bar.Finish()
		b.bar = nil
	}
}
