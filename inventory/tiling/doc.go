// Package tiling holds vector tiles: the arithmetic of the tile matrix set
// WebMercatorQuad (OGC 17-083r4, annex D.1), an encoder of Mapbox Vector Tile
// version 2, and the cells that things are summed up in at low zooms. It is
// pure.
package tiling
