package filter

import (
	"strings"
	"unicode/utf8"
)

// ParseText reads the text encoding (cql2-text). An error is an *Error that
// tells the column.
func ParseText(s string) (Expr, error) {
	switch {
	case len(s) > MaxLength:
		return nil, &Error{At: -1, Msg: "the filter is longer than 1 MiB"}
	case !utf8.ValidString(s):
		return nil, &Error{At: -1, Msg: "the filter is not UTF-8"}
	}
	p := &parser{lexer: lexer{s: s, column: 1}}
	p.advance()
	e, err := p.expression(lowest)
	if err == nil && p.token.kind != end {
		err = p.unexpected("the end or an operator")
	}
	if err == nil {
		err = checkDepth(e, MaxDepth)
	}
	if err != nil {
		return nil, err
	}
	return e, nil
}

// How strongly an operator holds its operands: the order of the grammar.
const (
	lowest   = iota
	bindOr   // the weakest
	bindAnd  //
	bindNot  //
	bindTest // comparisons and the other predicates; they do not chain
	bindSum  //
	bindTerm // * / % div
	bindPower
)

var binds = map[string]int{
	"or": bindOr, "and": bindAnd, "not": bindTest, "like": bindTest, "between": bindTest, "in": bindTest, "is": bindTest,
	"=": bindTest, "<>": bindTest, "<": bindTest, ">": bindTest, "<=": bindTest, ">=": bindTest,
	"+": bindSum, "-": bindSum, "*": bindTerm, "/": bindTerm, "%": bindTerm, "div": bindTerm, "^": bindPower,
}

// parser is a Pratt parser: an operand, then operators as long as they bind more
// strongly than what stands before.
type parser struct {
	lexer
	token    token   // the next one
	ahead    []token // those looked at beyond it
	depth    int
	nodes    int
	vertices int
}

func (p *parser) advance() {
	if len(p.ahead) > 0 {
		p.token, p.ahead = p.ahead[0], p.ahead[1:]
		return
	}
	p.token = p.lexer.next()
}

// second is the token after the next one.
func (p *parser) second() token {
	if len(p.ahead) == 0 {
		p.ahead = append(p.ahead, p.lexer.next())
	}
	return p.ahead[0]
}

// unexpected says that the next token is not what the grammar asks for.
func (p *parser) unexpected(expected string) *Error {
	if p.token.kind == mistaken {
		return p.token.err
	}
	return errorAt(p.token.at, "found %s: expected %s", p.token, expected)
}

// expect passes a sign.
func (p *parser) expect(s, after string) error {
	if !p.token.is(s) {
		return p.unexpected(quoted(s) + " " + after)
	}
	p.advance()
	return nil
}

// node counts one more.
func (p *parser) node(a at) error {
	if p.nodes++; p.nodes > MaxNodes {
		return errorAt(a, "the filter has more than %d parts", MaxNodes)
	}
	return nil
}

// operator is the key of the next token in binds; "" where it is no operator.
func (p *parser) operator() string {
	if p.token.kind == sign || p.token.kind == word {
		if s := strings.ToLower(p.token.value); binds[s] > 0 {
			return s
		}
	}
	return ""
}

// expression reads an operand and all operators that bind more strongly than
// least.
func (p *parser) expression(least int) (Expr, error) {
	left, err := p.operand(least)
	if err != nil {
		return nil, err
	}
	return p.operators(left, least)
}

// operators goes on behind an operand.
func (p *parser) operators(left Expr, least int) (Expr, error) {
	// Every level of brackets may take four calls.
	if p.depth++; p.depth > 4*MaxDepth {
		return nil, tooDeep(p.token.at)
	}
	defer func() { p.depth-- }()
	start, chained := position(left), 0
	for {
		op := p.operator()
		bind := binds[op]
		if bind <= least {
			if p.token.kind == mistaken {
				return nil, p.token.err
			}
			return left, nil
		}
		if bind == chained {
			return nil, errorAt(p.token.at, "found %s after another of its kind: expected AND or OR between them, or brackets around one", p.token)
		}
		if bind == bindTest || bind == bindPower {
			chained = bind
		}
		var err error
		switch {
		case bind <= bindAnd:
			left, err = p.connect(left, op, bind)
		case bind == bindTest && p.token.kind == word:
			left, err = p.predicate(left, op)
		default:
			p.advance()
			var right Expr
			if right, err = p.expression(bind); err == nil {
				left, err = p.op(start, op, left, right)
			}
		}
		if err != nil {
			return nil, err
		}
	}
}

// connect reads a chain of one and the same AND or OR.
func (p *parser) connect(left Expr, op string, bind int) (Expr, error) {
	args := []Expr{left}
	for p.operator() == op {
		p.advance()
		right, err := p.expression(bind)
		if err != nil {
			return nil, err
		}
		args = append(args, right)
	}
	return p.op(position(left), op, args...)
}

// predicate reads what follows an operand of LIKE, BETWEEN, IN and IS NULL.
func (p *parser) predicate(left Expr, op string) (Expr, error) {
	start, negated := position(left), false
	if op == "not" {
		p.advance()
		negated = true
		if op = p.operator(); op != "like" && op != "between" && op != "in" {
			return nil, p.unexpected("LIKE, BETWEEN or IN after NOT")
		}
	}
	p.advance()
	var e Expr
	var err error
	switch op {
	case "like":
		var pattern Expr
		if pattern, err = p.expression(bindTest); err == nil {
			e, err = p.op(start, "like", left, pattern)
		}
	case "between":
		e, err = p.between(start, left)
	case "in":
		at := p.token.at
		if err = p.expect("(", "after IN"); err != nil {
			return nil, err
		}
		var items []Expr
		var trailed bool
		items, trailed, err = p.list(at, func() (Expr, error) { return p.expression(lowest) })
		if err == nil && trailed {
			err = errorAt(at, "the list that begins here ends with a comma")
		}
		if err == nil {
			e, err = p.op(start, "in", left, &Array{at: at, Items: items})
		}
	case "is":
		if p.token.isWord("not") {
			p.advance()
			negated = true
		}
		if !p.token.isWord("null") {
			return nil, p.unexpected("NULL or NOT NULL after IS")
		}
		p.advance()
		e, err = p.op(start, "isNull", left)
	}
	if err == nil && negated {
		e, err = p.op(start, "not", e)
	}
	return e, err
}

func (p *parser) between(start at, left Expr) (Expr, error) {
	low, err := p.expression(bindTest)
	if err != nil {
		return nil, err
	}
	if !p.token.isWord("and") {
		return nil, p.unexpected("AND between the bounds of BETWEEN")
	}
	p.advance()
	high, err := p.expression(bindTest)
	if err != nil {
		return nil, err
	}
	return p.op(start, "between", left, low, high)
}

// op makes an operation of the right shape.
func (p *parser) op(a at, name string, args ...Expr) (Expr, error) {
	if err := shape(name, args); err != nil {
		return nil, errorAt(a, "%s", err)
	}
	return &Op{at: a, Name: name, Args: args}, p.node(a)
}

// list reads items up to the closing bracket, the opening one being read. trailed
// reports a comma before the closing bracket.
func (p *parser) list(a at, item func() (Expr, error)) (items []Expr, trailed bool, err error) {
	for !p.token.is(")") {
		e, err := item()
		if err != nil {
			return nil, false, err
		}
		if items = append(items, e); len(items) > MaxItems {
			return nil, false, errorAt(a, "the list that begins here has more than %d items", MaxItems)
		}
		if trailed = p.token.is(","); !trailed {
			break
		}
		p.advance()
	}
	if !p.token.is(")") {
		return nil, false, p.unexpected(`"," or ")" in the list`)
	}
	p.advance()
	return items, trailed, p.node(a)
}

// position is where a node begins.
func position(e Expr) at { return at{int32(max(e.At(), 0)), int32(e.Column())} }

func tooDeep(a at) *Error {
	return errorAt(a, "expressions are nested more than %d deep", MaxDepth)
}

// checkDepth sees that a tree is no deeper than most: chains such as a+b+c grow
// deep without brackets.
func checkDepth(e Expr, most int) error {
	if most == 0 {
		return tooDeep(position(e))
	}
	for _, child := range children(e) {
		if err := checkDepth(child, most-1); err != nil {
			return err
		}
	}
	return nil
}
