package filter_test

import (
	"testing"
	"time"

	"github.com/twpayne/go-geom"
	"pgregory.net/rapid"

	"github.com/underbough/underbough/inventory/filter"
)

// Whatever tree can be read is written so that it reads back the same, in both
// encodings.
func TestWhatIsWrittenReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := expression(4).Draw(t, "filter")
		text := filter.Text(e)
		back, err := filter.ParseText(text)
		if err != nil {
			t.Fatalf("%s: %v\nof %s", text, err, filter.JSON(e))
		}
		if !filter.Equal(e, back) {
			t.Fatalf("%s is read back as\n%s, not as\n%s", text, filter.JSON(back), filter.JSON(e))
		}
		json := filter.JSON(e)
		if back, err = filter.ParseJSON(json); err != nil {
			t.Fatalf("%s: %v", json, err)
		}
		if !filter.Equal(e, back) {
			t.Fatalf("%s is read back as\n%s", json, filter.JSON(back))
		}
	})
}

var (
	names = rapid.OneOf(rapid.SampledFrom([]string{"height_m", "and", "DATE", "eo:cloud_cover", "point", "Straße", "a b", `say "x"`, "1st", "isNull", "s_within"}), rapid.StringN(1, 8, 40).Filter(clean))
	texts = rapid.OneOf(rapid.SampledFrom([]string{"", "'", `\`, `\'`, `a\`, `100\%`, "Ålesund", "\n\t\a", "/* -- */"}), rapid.StringN(0, 12, 60).Filter(clean))
	// Whole numbers, and doubles of every size.
	numbers = rapid.OneOf(rapid.Float64Range(-1e300, 1e300), rapid.Map(rapid.IntRange(-1000, 1000), func(i int) float64 { return float64(i) }))
	dates   = rapid.Map(rapid.Int64Range(-62135596800, 253402300799), func(s int64) time.Time { return time.Unix(s, 0).UTC() })
)

// clean is what a text may hold: anything but the character of code 0.
func clean(s string) bool {
	for _, r := range s {
		if r == 0 {
			return false
		}
	}
	return true
}

func leaf() *rapid.Generator[filter.Expr] {
	return rapid.Custom(func(t *rapid.T) filter.Expr {
		switch rapid.IntRange(0, 7).Draw(t, "leaf") {
		case 0:
			return &filter.String{Value: texts.Draw(t, "text")}
		case 1:
			return &filter.Number{Value: numbers.Draw(t, "number")}
		case 2:
			return &filter.Bool{Value: rapid.Bool().Draw(t, "bool")}
		case 3:
			return instant(t)
		case 4:
			return &filter.Interval{Start: end(t), End: end(t)}
		case 5:
			n := rapid.SampledFrom([]int{4, 6}).Draw(t, "size")
			return &filter.BBox{Numbers: rapid.SliceOfN(numbers, n, n).Draw(t, "box")}
		case 6:
			return &filter.Geometry{Geometry: geometry(t, true)}
		}
		return &filter.Property{Name: names.Draw(t, "name")}
	})
}

func instant(t *rapid.T) filter.Expr {
	at := dates.Draw(t, "instant")
	if rapid.Bool().Draw(t, "day") {
		return &filter.Date{Value: at.Truncate(24 * time.Hour)}
	}
	return &filter.Timestamp{Value: at.Add(time.Duration(rapid.IntRange(0, 999_999_999).Draw(t, "ns")))}
}

func end(t *rapid.T) filter.Expr {
	switch rapid.IntRange(0, 2).Draw(t, "end") {
	case 0:
		return nil
	case 1:
		return &filter.Property{Name: names.Draw(t, "name")}
	}
	return instant(t)
}

func geometry(t *rapid.T, collections bool) geom.T {
	layout := rapid.SampledFrom([]geom.Layout{geom.XY, geom.XYZ}).Draw(t, "layout")
	return geometryOf(t, layout, collections)
}

func geometryOf(t *rapid.T, layout geom.Layout, collections bool) geom.T {
	position := func() geom.Coord {
		return rapid.SliceOfN(numbers, layout.Stride(), layout.Stride()).Draw(t, "position")
	}
	line := func(least int) (l []geom.Coord) {
		for range rapid.IntRange(least, least+3).Draw(t, "positions") {
			l = append(l, position())
		}
		return l
	}
	rings := func() (all [][]geom.Coord) {
		for range rapid.IntRange(1, 2).Draw(t, "rings") {
			r := line(3)
			all = append(all, append(r, r[0]))
		}
		return all
	}
	switch k := rapid.IntRange(0, 6).Draw(t, "geometry"); {
	case k == 0:
		return geom.NewPoint(layout).MustSetCoords(position())
	case k == 1:
		return geom.NewLineString(layout).MustSetCoords(line(2))
	case k == 2:
		return geom.NewPolygon(layout).MustSetCoords(rings())
	case k == 3:
		return geom.NewMultiPoint(layout).MustSetCoords(line(1))
	case k == 4:
		return geom.NewMultiLineString(layout).MustSetCoords([][]geom.Coord{line(2), line(2)})
	case k == 5 || !collections:
		return geom.NewMultiPolygon(layout).MustSetCoords([][][]geom.Coord{rings(), rings()})
	}
	c := geom.NewGeometryCollection()
	for range rapid.IntRange(1, 3).Draw(t, "geometries") {
		c.MustPush(geometryOf(t, layout, false))
	}
	return c
}

// expression draws a tree whose operations have the right shape, if seldom the
// right types.
func expression(depth int) *rapid.Generator[filter.Expr] {
	if depth == 0 {
		return leaf()
	}
	return rapid.Custom(func(t *rapid.T) filter.Expr {
		operand := func() filter.Expr { return expression(depth-1).Draw(t, "operand") }
		op := func(name string, n int) filter.Expr {
			e := &filter.Op{Name: name}
			for range n {
				e.Args = append(e.Args, operand())
			}
			return e
		}
		one := func(names ...string) string { return rapid.SampledFrom(names).Draw(t, "op") }
		switch rapid.IntRange(0, 11).Draw(t, "kind") {
		case 0:
			return op(one("and", "or"), rapid.IntRange(2, 4).Draw(t, "operands"))
		case 1:
			return op("not", 1)
		case 2:
			return op(one("=", "<>", "<", ">", "<=", ">="), 2)
		case 3:
			return op(one("+", "-", "*", "/", "%", "div", "^"), 2)
		case 4:
			return op("like", 2)
		case 5:
			return op("between", 3)
		case 6:
			return op("isNull", 1)
		case 7:
			items := rapid.SliceOfN(expression(depth-1), 1, 3).Draw(t, "items")
			return &filter.Op{Name: "in", Args: []filter.Expr{operand(), &filter.Array{Items: items}}}
		case 8:
			return op(one("casei", "accenti"), 1)
		case 9:
			return op(one("s_intersects", "s_touches", "t_after", "t_finishedBy", "t_metBy"), 2)
		case 10:
			return &filter.Op{Name: one("a_contains", "a_containedBy", "a_equals"), Args: []filter.Expr{list(depth-1).Draw(t, "list"), list(depth-1).Draw(t, "list")}}
		}
		args := rapid.SliceOfN(rapid.OneOf(expression(depth-1), list(depth-1)), 0, 3).Draw(t, "arguments")
		return &filter.Call{Name: one("within_m", "Foo", "buffer"), Args: args}
	})
}

// list draws a list, whose items may be lists.
func list(depth int) *rapid.Generator[filter.Expr] {
	return rapid.Custom(func(t *rapid.T) filter.Expr {
		item := expression(depth)
		if depth > 0 {
			item = rapid.OneOf(item, list(depth-1))
		}
		return &filter.Array{Items: rapid.SliceOfN(item, 0, 3).Draw(t, "items")}
	})
}
