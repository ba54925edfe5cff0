package filter

import (
	"strconv"
	"strings"

	"github.com/twpayne/go-geom"
)

// Text writes a tree in the text encoding. What it writes is read back as the
// same tree.
func Text(e Expr) string {
	p := &printer{}
	p.expression(e, lowest)
	return p.String()
}

type printer struct{ strings.Builder }

func (p *printer) add(parts ...string) {
	for _, s := range parts {
		p.WriteString(s)
	}
}

// expression writes e as the operand of an operator that binds as strongly as
// least: in brackets where e's own binds no more strongly.
func (p *printer) expression(e Expr, least int) {
	switch e := e.(type) {
	case *Property:
		p.add(propertyName(e.Name))
	case *String:
		p.add(literal(e.Value))
	case *Number:
		p.add(number(e.Value))
	case *Bool:
		p.add(strings.ToUpper(strconv.FormatBool(e.Value)))
	case *Date:
		p.add("DATE(", dateText(e), ")")
	case *Timestamp:
		p.add("TIMESTAMP(", dateText(e), ")")
	case *Interval:
		p.add("INTERVAL(")
		p.end(e.Start)
		p.add(", ")
		p.end(e.End)
		p.add(")")
	case *Geometry:
		p.wkt(e.Geometry)
	case *BBox:
		p.add("BBOX(")
		p.numbers(e.Numbers, ", ")
		p.add(")")
	case *Array:
		p.list(e.Items, p.item)
	case *Call:
		p.add(e.Name)
		p.list(e.Args, p.item)
	case *Op:
		if name := operations[e.Name]; name.family >= folding {
			p.add(shown(e.Name))
			p.list(e.Args, func(a Expr) {
				if name.family == array {
					p.expression(a, lowest)
				} else {
					p.item(a)
				}
			})
			return
		}
		if strength(e) <= least {
			p.add("(")
			p.operation(e)
			p.add(")")
		} else {
			p.operation(e)
		}
	}
}

// strength is how strongly the operator of an operation binds.
func strength(e *Op) int {
	switch {
	case e.Name == "not" && negatable(e.Args[0]):
		return bindTest
	case e.Name == "not":
		return bindNot
	case e.Name == "isNull":
		return bindTest
	}
	return binds[e.Name]
}

// negatable reports whether the text has a word for the negation of e.
func negatable(e Expr) bool {
	op, ok := e.(*Op)
	return ok && (op.Name == "like" || op.Name == "between" || op.Name == "in" || op.Name == "isNull")
}

// operation writes an operation with an operator.
func (p *printer) operation(e *Op) {
	if e.Name == "not" {
		if negatable(e.Args[0]) {
			p.predicate(e.Args[0].(*Op), "NOT ")
			return
		}
		p.add("NOT ")
		p.expression(e.Args[0], bindTest)
		return
	}
	switch operations[e.Name].family {
	case like, between, in, isNull:
		p.predicate(e, "")
		return
	}
	for i, a := range e.Args {
		if i > 0 {
			p.add(" ", shown(e.Name), " ")
		}
		bind := binds[e.Name]
		if i == 0 && bind > bindTest && bind < bindPower {
			bind-- // a-b-c is (a-b)-c
		}
		p.expression(a, bind)
	}
}

// predicate writes LIKE, BETWEEN, IN and IS NULL, negated by "NOT ".
func (p *printer) predicate(e *Op, not string) {
	p.expression(e.Args[0], bindTest)
	switch e.Name {
	case "like":
		p.add(" ", not, "LIKE ")
		p.expression(e.Args[1], bindTest)
	case "between":
		p.add(" ", not, "BETWEEN ")
		p.expression(e.Args[1], bindTest)
		p.add(" AND ")
		p.expression(e.Args[2], bindTest)
	case "in":
		p.add(" ", not, "IN ")
		p.list(e.Args[1].(*Array).Items, func(a Expr) { p.expression(a, lowest) })
	case "isNull":
		p.add(" IS ", not, "NULL")
	}
}

// list writes what is between brackets.
func (p *printer) list(items []Expr, write func(Expr)) {
	p.add("(")
	for i, e := range items {
		if i > 0 {
			p.add(", ")
		}
		write(e)
	}
	p.add(")")
}

// item writes an argument or an item of a list. A list of one expression with
// operators has a comma behind it (see argument).
func (p *printer) item(e Expr) {
	if list, ok := e.(*Array); ok && len(list.Items) == 1 && infix(list.Items[0]) {
		p.add("(")
		p.item(list.Items[0])
		p.add(",)")
		return
	}
	p.expression(e, lowest)
}

// end writes an end of an interval.
func (p *printer) end(e Expr) {
	switch e.(type) {
	case nil:
		p.add("'..'")
	case *Date, *Timestamp:
		p.add(dateText(e))
	default:
		p.expression(e, lowest)
	}
}

// instantString is a date or a timestamp as the standard writes it.
func instantString(e Expr) string {
	switch e := e.(type) {
	case *Date:
		return e.Value.UTC().Format(dateLayout)
	case *Timestamp:
		return e.Value.UTC().Format(timestampLayout)
	}
	return ".."
}

func dateText(e Expr) string { return literal(instantString(e)) }

func literal(s string) string {
	return "'" + strings.NewReplacer("'", "''", `\`, `\\`).Replace(s) + "'"
}

func propertyName(s string) string {
	if identifier(s) && !reserved[strings.ToLower(s)] && !literals[strings.ToLower(s)] {
		return s
	}
	return `"` + strings.ReplaceAll(s, `"`, `""`) + `"`
}

// number writes a number as short as reads back the same.
func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

func (p *printer) numbers(list []float64, between string) {
	for i, v := range list {
		if i > 0 {
			p.add(between)
		}
		p.add(number(v))
	}
}

// wkt writes a geometry.
func (p *printer) wkt(g geom.T) {
	p.add(strings.ToUpper(kindOf(g)))
	if c, ok := g.(*geom.GeometryCollection); ok {
		p.add("(")
		for i, part := range c.Geoms() {
			if i > 0 {
				p.add(", ")
			}
			p.wkt(part)
		}
		p.add(")")
		return
	}
	if g.Layout() == geom.XYZ {
		p.add(" Z ")
	}
	p.nested(nestedOf(g), kindOf(g) == "Point" || kindOf(g) == "MultiPoint")
}

// nested writes coordinates; the positions of points have brackets of their own.
func (p *printer) nested(c coordinates, bracketed bool) {
	switch {
	case c.parts == nil && bracketed:
		p.add("(")
		p.numbers(c.position, " ")
		p.add(")")
	case c.parts == nil:
		p.numbers(c.position, " ")
	default:
		p.add("(")
		for i, part := range c.parts {
			if i > 0 {
				p.add(", ")
			}
			p.nested(part, bracketed)
		}
		p.add(")")
	}
}

// nestedOf is the coordinates of a geometry as GeoJSON nests them.
func nestedOf(g geom.T) coordinates {
	flat, stride := g.FlatCoords(), g.Stride()
	line := func(from, to int) (c coordinates) {
		for i := from; i < to; i += stride {
			c.parts = append(c.parts, coordinates{position: flat[i : i+stride]})
		}
		return c
	}
	lines := func(from int, ends []int) (c coordinates) {
		for _, to := range ends {
			c.parts = append(c.parts, line(from, to))
			from = to
		}
		return c
	}
	switch g.(type) {
	case *geom.Point:
		return coordinates{position: flat}
	case *geom.LineString, *geom.MultiPoint:
		return line(0, len(flat))
	case *geom.Polygon, *geom.MultiLineString:
		return lines(0, g.Ends())
	}
	var c coordinates
	from := 0
	for _, ends := range g.Endss() {
		c.parts = append(c.parts, lines(from, ends))
		if len(ends) > 0 {
			from = ends[len(ends)-1]
		}
	}
	return c
}
