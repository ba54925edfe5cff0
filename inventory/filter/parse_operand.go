package filter

import (
	"strings"
	"time"
)

// operand reads what an operator holds: a value, a property, a function, an
// expression in brackets, or one behind NOT or a minus.
func (p *parser) operand(least int) (Expr, error) {
	if p.depth++; p.depth > 4*MaxDepth {
		return nil, tooDeep(p.token.at)
	}
	defer func() { p.depth-- }()
	t := p.token
	switch {
	case t.kind == text:
		p.advance()
		return &String{t.at, t.value}, p.node(t.at)
	case t.kind == numeral:
		p.advance()
		return &Number{t.at, t.num}, p.node(t.at)
	case t.kind == name:
		p.advance()
		return &Property{t.at, t.value}, p.node(t.at)
	case t.is("-"), t.is("+"):
		return p.signed()
	case t.is("("):
		p.advance()
		e, err := p.expression(lowest)
		if err != nil {
			return nil, err
		}
		return e, p.expect(")", "to close the bracket at "+columnOf(t.at))
	case t.isWord("not"):
		if least > bindNot {
			return nil, errorAt(t.at, "found NOT behind an operator: expected a value, or brackets around NOT and what it denies")
		}
		p.advance()
		e, err := p.expression(bindNot)
		if err != nil {
			return nil, err
		}
		return p.op(t.at, "not", e)
	case t.isWord("true"), t.isWord("false"):
		p.advance()
		return &Bool{t.at, t.isWord("true")}, p.node(t.at)
	case t.kind == word:
		return p.word()
	}
	return nil, p.unexpected("a property, a value or a predicate")
}

func columnOf(a at) string { return "column " + number(float64(a.column)) }

// signed reads a number with its sign, or the negative of an operand, which the
// JSON encoding writes as a product with -1.
func (p *parser) signed() (Expr, error) {
	start, minus := p.token.at, p.token.is("-")
	p.advance()
	if t := p.token; t.kind == numeral {
		p.advance()
		if minus {
			t.num = -t.num
		}
		return &Number{start, t.num}, p.node(start)
	}
	if !minus {
		return nil, p.unexpected("a number after +")
	}
	e, err := p.operand(bindPower)
	if err != nil {
		return nil, err
	}
	if err := p.node(start); err != nil {
		return nil, err
	}
	return p.op(start, "*", &Number{start, -1}, e)
}

// word reads what begins with a word: a property, or what is written like a
// function.
func (p *parser) word() (Expr, error) {
	t := p.token
	small := strings.ToLower(t.value)
	if reserved[small] {
		return nil, errorAt(t.at, "found %s, a word of the language: expected a property, a value or a predicate (a property of that name is written %s)", quoted(t.value), `"`+t.value+`"`)
	}
	if shapes[small] != nil {
		if n := p.second(); n.is("(") || n.isWord("z") || n.isWord("m") || n.isWord("zm") || n.isWord("empty") {
			return p.geometry()
		}
	}
	if !p.second().is("(") {
		p.advance()
		return &Property{t.at, t.value}, p.node(t.at)
	}
	p.advance()
	p.advance()
	switch small {
	case "date", "timestamp":
		return p.instant(t, small)
	case "interval":
		return p.interval(t)
	case "bbox":
		return p.box(t)
	}
	args, trailed, err := p.list(t.at, p.argument)
	if err == nil && trailed {
		err = errorAt(t.at, "the last argument of %s has a comma behind it", quoted(t.value))
	}
	if err != nil {
		return nil, err
	}
	op, ok := named[small]
	for i, a := range args {
		if g, bracket := a.(*grouped); bracket && ok && operations[op].family == array {
			args[i] = g.list() // a list here and nothing else
		} else {
			args[i] = resolve(a)
		}
	}
	if ok {
		return p.op(t.at, op, args...)
	}
	return &Call{t.at, t.value, args}, p.node(t.at)
}

// grouped is an expression in brackets, in a place where that may as well be a
// list of one item. It never leaves the parser.
type grouped struct {
	at
	inner Expr
}

func (g *grouped) list() *Array { return &Array{g.at, []Expr{resolve(g.inner)}} }

// resolve decides what the grammar leaves open: a bracket about one item is a
// list, unless it holds an expression with operators.
func resolve(e Expr) Expr {
	g, ok := e.(*grouped)
	if !ok {
		return e
	}
	if b := bare(g); infix(b) {
		return b
	}
	return g.list()
}

// bare is an expression without the brackets about it.
func bare(e Expr) Expr {
	for {
		g, ok := e.(*grouped)
		if !ok {
			return e
		}
		e = g.inner
	}
}

// argument reads an argument of a function or an item of a list, which unlike
// other operands may be a list. A list of one expression with operators is told
// from that expression in brackets by a comma behind it.
func (p *parser) argument() (Expr, error) {
	if !p.token.is("(") {
		return p.expression(lowest)
	}
	if p.depth++; p.depth > 4*MaxDepth {
		return nil, tooDeep(p.token.at)
	}
	defer func() { p.depth-- }()
	start := p.token.at
	p.advance()
	items, trailed, err := p.list(start, p.argument)
	switch {
	case err != nil:
		return nil, err
	case len(items) == 1 && !trailed && p.operator() != "":
		return p.operators(bare(items[0]), lowest)
	case len(items) == 1 && !trailed:
		return &grouped{start, items[0]}, nil
	case trailed && len(items) > 1:
		return nil, errorAt(start, "the list that begins here ends with a comma")
	}
	for i := range items {
		items[i] = resolve(items[i])
	}
	return &Array{start, items}, nil
}

// instant reads DATE('…') and TIMESTAMP('…') behind the bracket.
func (p *parser) instant(t token, small string) (Expr, error) {
	s := p.token
	if s.kind != text {
		return nil, p.unexpected("a " + small + " in quotes")
	}
	p.advance()
	var e Expr
	if small == "date" {
		d, ok := parseDate(s.value)
		if !ok {
			return nil, errorAt(s.at, "%s is no date: expected one such as '2026-01-31'", quoted(s.value))
		}
		e = &Date{t.at, d}
	} else {
		v, ok := parseTimestamp(s.value)
		if !ok {
			return nil, errorAt(s.at, "%s is no timestamp: expected one in UTC such as '2026-01-31T12:00:00Z'", quoted(s.value))
		}
		e = &Timestamp{t.at, v}
	}
	if err := p.node(t.at); err != nil {
		return nil, err
	}
	return e, p.expect(")", "after the "+small)
}

// interval reads INTERVAL(…) behind the bracket.
func (p *parser) interval(t token) (Expr, error) {
	var ends [2]Expr
	for i := range ends {
		if i > 0 {
			if err := p.expect(",", "between the ends of the interval"); err != nil {
				return nil, err
			}
		}
		s := p.token
		if s.kind == text {
			p.advance()
			e, ok := intervalEnd(s.value, s.at)
			if !ok {
				return nil, errorAt(s.at, "%s is no end of an interval: expected a date, a timestamp in UTC or '..'", quoted(s.value))
			}
			ends[i] = e
			continue
		}
		e, err := p.expression(bindTest)
		if err != nil {
			return nil, err
		}
		if err := intervalMember(e); err != nil {
			return nil, errorAt(s.at, "%s", err)
		}
		ends[i] = e
	}
	if err := p.expect(")", "after the interval's two ends"); err != nil {
		return nil, err
	}
	p.nodes += 2
	return &Interval{t.at, ends[0], ends[1]}, p.node(t.at)
}

// intervalEnd reads an end of an interval that is a literal; nil where it is
// open.
func intervalEnd(s string, a at) (Expr, bool) {
	if s == ".." {
		return nil, true
	}
	if d, ok := parseDate(s); ok {
		return &Date{a, d}, true
	}
	v, ok := parseTimestamp(s)
	return &Timestamp{a, v}, ok
}

const (
	dateLayout      = "2006-01-02"
	timestampLayout = "2006-01-02T15:04:05.999999999Z"
)

func parseDate(s string) (time.Time, bool) {
	t, err := time.Parse(dateLayout, s)
	return t, err == nil
}

// parseTimestamp reads a timestamp as the standard writes it, in UTC.
func parseTimestamp(s string) (time.Time, bool) {
	t, err := time.Parse("2006-01-02T15:04:05Z", s) // takes a fraction too
	return t, err == nil && !strings.Contains(s, ",")
}
