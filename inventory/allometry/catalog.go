package allometry

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"sync"
)

//go:embed equations.csv
var equationsCSV string

// catalog holds every Kind, by key: "acer platanoides", "acer", or the words of a group.
type catalog struct {
	species, genera map[string]*Kind
	groups          map[treeType]*Kind
	general         *Kind
}

// theCatalog reads the table built into the program, once. A fault in it is a fault of the program.
var theCatalog = sync.OnceValue(func() *catalog {
	c, err := readCatalog(equationsCSV)
	if err != nil {
		panic("allometry: the built-in equations: " + err.Error())
	}
	return c
})

// columns of equations.csv; the last four are for its reader and its tests.
const (
	colLevel = iota
	colName
	colType
	colComponent
	colForm
	colA
	colB
	colC
	colD
	colDBHMin
	colDBHMax
	colMin
	colMax
	colRelSE
	colTrees
	colRegion
	colSourceName
	colSpread
	columns
)

func readCatalog(text string) (*catalog, error) {
	r := csv.NewReader(strings.NewReader(text))
	r.Comment, r.FieldsPerRecord = '#', columns
	rows, err := r.ReadAll()
	if err != nil {
		return nil, err
	}
	c := &catalog{species: map[string]*Kind{}, genera: map[string]*Kind{}, groups: map[treeType]*Kind{}}
	for _, row := range rows[1:] {
		if err := c.add(row); err != nil {
			return nil, fmt.Errorf("%s %q, %s: %w", row[colLevel], row[colName], row[colComponent], err)
		}
	}
	return c, c.complete()
}

// add puts one row's curve to its Kind.
func (c *catalog) add(row []string) error {
	t := treeType(row[colType])
	if t != "" && t.words() == "" {
		return fmt.Errorf("tree type %q is not known", t)
	}
	k, from, err := c.kindOf(row[colLevel], row[colName], t)
	if err != nil {
		return err
	}
	q, err := readCurve(row)
	if err != nil {
		return err
	}
	q.from = from
	switch row[colComponent] {
	case "height":
		k.height = q
	case "crown":
		k.crown = q
	default:
		return fmt.Errorf("component %q: must be height or crown", row[colComponent])
	}
	return nil
}

// kindOf finds or makes the Kind that a row describes.
func (c *catalog) kindOf(level, name string, t treeType) (*Kind, Source, error) {
	switch level {
	case "species":
		return entry(c.species, parseName(name).key(), name, t), Species, nil
	case "genus":
		return entry(c.genera, strings.ToLower(name), name, t), Genus, nil
	case "group":
		return entry(c.groups, t, t.words(), t), Group, nil
	case "general":
		if c.general == nil {
			c.general = &Kind{name: "any species"}
		}
		return c.general, General, nil
	}
	return nil, General, fmt.Errorf("level %q is not known", level)
}

func entry[K comparable](kinds map[K]*Kind, key K, name string, t treeType) *Kind {
	k := kinds[key]
	if k == nil {
		k = &Kind{name: name, kind: t}
		kinds[key] = k
	}
	return k
}

func readCurve(row []string) (curve, error) {
	f, known := forms[row[colForm]]
	if !known {
		return curve{}, fmt.Errorf("form %q is not known", row[colForm])
	}
	var v [colRelSE - colA + 1]float64
	for i := range v {
		text := row[colA+i]
		if text == "" && i > 0 && i <= colD-colA {
			continue // a coefficient that the form does not have
		}
		n, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return curve{}, err
		}
		v[i] = n
	}
	q := curve{form: f, a: v[0], b: v[1], c: v[2], d: v[3], dbhMin: v[4], dbhMax: v[5],
		valueMin: v[6], valueMax: v[7], relSE: v[8]}
	return q, q.prepare()
}

// complete checks that every level is there, gives a species the genus's curve for what the source has no equation
// of, and lets a subspecies stand for its species where that has none of its own.
func (c *catalog) complete() error {
	if c.general == nil {
		return fmt.Errorf("there is no general equation")
	}
	for key, k := range c.species {
		genus, rest, _ := strings.Cut(key, " ")
		fill := c.genera[genus]
		if fill == nil {
			return fmt.Errorf("%s: there is no equation for the genus", key)
		}
		if k.height.relSE == 0 {
			k.height = fill.height
		}
		if k.crown.relSE == 0 {
			k.crown = fill.crown
		}
		epithet, _, infra := strings.Cut(rest, " ")
		if plain := genus + " " + epithet; infra && c.species[plain] == nil {
			c.species[plain] = k
		}
	}
	for t := range treeTypes {
		if c.groups[t] == nil { // deciduous conifers
			like := c.groups[t.curves()]
			if like == nil {
				return fmt.Errorf("there is no equation for %s", t.words())
			}
			c.groups[t] = &Kind{name: t.words(), kind: t, height: like.height, crown: like.crown}
		}
	}
	return nil
}

// kind resolves a name: species, genus, group, general.
func (c *catalog) kind(species string) *Kind {
	n := parseName(species).accepted()
	if k := c.species[n.key()]; k != nil {
		return k
	}
	if k := c.species[n.plain()]; k != nil {
		return k
	}
	// Before the genus: these grow unlike what the source has of their genus.
	if t := speciesTypes[n.plain()]; t != "" {
		return c.groups[t]
	}
	if k := c.genera[n.genus]; k != nil {
		return k
	}
	if t := genusTypes[n.genus]; t != "" {
		return c.groups[t]
	}
	words := strings.ToLower(strings.TrimSpace(species))
	for t, w := range treeTypes {
		if w == words {
			return c.groups[t]
		}
	}
	return c.general
}
