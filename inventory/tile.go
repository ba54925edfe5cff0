package inventory

import (
	"cmp"
	"context"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory/filter"
	"github.com/underbough/underbough/inventory/tiling"
)

// TileLayer is a layer of vector tiles.
type TileLayer struct {
	ID, Title, Note string
	// Collection is the one whose features it shows; empty for none.
	Collection string
	// MinZoom and MaxZoom are the levels it is there at. From SingleFrom on a
	// feature of it is a feature of the collection; before, it is all of a cell's.
	MinZoom, MaxZoom, SingleFrom int
	// Dimension is that of its geometries, 0 to 2.
	Dimension int
	Fields    []TileField
}

// TileField is a value of a layer's features. They are there where they are set.
type TileField struct {
	Name    string
	Numeric bool
	Note    string
}

// The levels of tiles. A tile of level 14 over a dense town, 2,500 trees to the
// square kilometre, takes some 400 kB with each tree by itself: the level above
// would take four times as much.
const (
	MaxTileZoom = 18
	singleFrom  = 14
	ZonesFrom   = 16
)

// CellsPerTile is how many cells a summed tile has along its side.
const CellsPerTile = 64

// The layers, from the lowest drawn to the uppermost.
var TileLayers = []TileLayer{
	{ID: "exposure", Title: "Exposure by cell", MaxZoom: singleFrom - 1, SingleFrom: singleFrom, Dimension: 2,
		Note:   "Squares, 64 along a tile's side, with the sums of all trees in each. Each tree is in one square of each level. People and vehicles under two crowns count twice.",
		Fields: exposureFields()},
	{ID: "targets", Title: "Targets", Collection: "targets", MaxZoom: MaxTileZoom, SingleFrom: singleFrom, Dimension: 2,
		Note: "From level 14 on each target by itself, as a point where it is smaller than a pixel; before, a point for each cell, 64 along a tile's side, with the number of targets whose middle lies in it.",
		Fields: append([]TileField{
			{"kind", false, ""}, {"name", false, ""}, {"site", false, ""},
			{"people_per_hour", true, ""}, {"people_present", true, ""}, {"vehicles_per_day", true, ""},
			{"targets", true, "before level 14, how many there are in the cell, and below how many of each kind"},
		}, kindFields()...)},
	{ID: "zones", Title: "Zones", Collection: "zones", MinZoom: ZonesFrom, MaxZoom: MaxTileZoom, SingleFrom: ZonesFrom, Dimension: 2,
		Note: "The ground that whole trees can reach, and crowns as surveyed or else as discs, by the run in force. Limbs are left out.",
		Fields: []TileField{
			{"tree_id", true, ""}, {"tag", false, ""}, {"part", false, "whole tree or crown"},
			{"rating", false, ""}, {"harm_index", true, "to three digits"},
		}},
	{ID: "trees", Title: "Trees", Collection: "trees", MaxZoom: MaxTileZoom, SingleFrom: singleFrom, Dimension: 0,
		Note: "From level 14 on each tree by itself; before, a point for each cell, 64 along a tile's side: the tree of the most harm in it, with the number of trees there.",
		Fields: []TileField{
			{"trees", true, "how many the point stands for"},
			{"tag", false, ""}, {"species", false, ""}, {"status", false, ""}, {"site", false, ""},
			{"rating", false, ""}, {"harm_index", true, "to three digits"}, {"people", true, "to three digits"}, {"vehicles", true, "to three digits"},
			{"over", false, "kinds of target under the crown or a limb, the busiest first, with commas between"},
			{"cut_kinds", false, "with commas between"},
		}},
}

func exposureFields() []TileField {
	list := []TileField{
		{"trees", true, "of any status"}, {"people", true, "sum"}, {"vehicles", true, "sum"},
		{"harm_sum", true, "of the harm index"}, {"harm_max", true, "the largest harm index"},
	}
	for _, w := range ratings {
		list = append(list, TileField{"rating_" + w, true, "how many trees are rated " + w})
	}
	return append(list, TileField{"rating_none", true, "how many trees have no rating"})
}

func kindFields() (list []TileField) {
	for _, k := range TargetKinds {
		list = append(list, TileField{string(k), true, ""})
	}
	return list
}

// GetTileLayer returns a layer by id.
func GetTileLayer(id string) (*TileLayer, bool) {
	for i := range TileLayers {
		if TileLayers[i].ID == id {
			return &TileLayers[i], true
		}
	}
	return nil, false
}

// At reports whether the layer is there at a level.
func (l *TileLayer) At(zoom int) bool { return zoom >= l.MinZoom && zoom <= l.MaxZoom }

// TileQuery asks for a layer of a tile.
type TileQuery struct {
	Client ClientID
	Site   Opt[SiteID] // of this site only
	Layer  *TileLayer
	Tile   tiling.Tile
	Filter filter.Expr // of the layer's collection; nil for all
	Name   string      // of the layer in the tile, where it is not the layer's id
	// State is what FeatureStore.FeatureState said of the inventory, or empty: what
	// was gathered of one state serves all of its tiles.
	State string
}

// LayerName is the name of the layer in the tile.
func (q *TileQuery) LayerName() string { return cmp.Or(q.Name, q.Layer.ID) }

// TileStore makes tiles.
type TileStore interface {
	// FindTile returns a layer as part of a tile in the form of Mapbox Vector
	// Tile, without compression; nil where there is nothing. The same of one
	// state of the inventory has the same bytes.
	FindTile(ctx context.Context, q TileQuery) ([]byte, error)
	// TileExtent returns the box, in degrees, about all that a layer shows of a
	// client or a site; false where there is nothing. It does not look at q's
	// tile and filter.
	TileExtent(ctx context.Context, q TileQuery) (orb.Bound, bool, error)
}
