package filter

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// kind is what a token is.
type kind uint8

const (
	end      kind = iota
	word          // an identifier or a keyword, unquoted
	name          // an identifier in double quotes
	text          // a text in single quotes
	numeral       // a number without sign
	sign          // an operator, bracket or comma
	mistaken      // what is no token; the error is in err
)

// token is the smallest piece of the text encoding.
type token struct {
	kind  kind
	value string // as it means: quotes and escapes undone
	num   float64
	at    at
	err   *Error
}

// is reports whether t is a sign.
func (t token) is(s string) bool { return t.kind == sign && t.value == s }

// isWord reports whether t is a keyword, in whatever case.
func (t token) isWord(small string) bool {
	return t.kind == word && strings.EqualFold(t.value, small)
}

// String describes a token for people.
func (t token) String() string {
	switch t.kind {
	case end:
		return "the end"
	case text:
		return "the text " + quoted(t.value)
	case numeral:
		return "the number " + number(t.num)
	}
	return quoted(t.value)
}

// lexer cuts the text into tokens.
type lexer struct {
	s      string
	offset int
	column int
}

func (l *lexer) here() at { return at{int32(l.offset), int32(l.column)} }

// skip moves on by n bytes.
func (l *lexer) skip(n int) {
	l.column += utf8.RuneCountInString(l.s[l.offset : l.offset+n])
	l.offset += n
}

func (l *lexer) peek() rune {
	r, _ := utf8.DecodeRuneInString(l.s[l.offset:])
	return r
}

// next returns the next token.
func (l *lexer) next() token {
	rest := l.s[l.offset:]
	l.skip(len(rest) - len(strings.TrimLeftFunc(rest, unicode.IsSpace)))
	rest, start := l.s[l.offset:], l.here()
	if rest == "" {
		return token{kind: end, at: start}
	}
	r := l.peek()
	switch {
	case r == '\'':
		return l.text()
	case r == '"':
		return l.name()
	case isDigit(rest[0]), rest[0] == '.' && len(rest) > 1 && isDigit(rest[1]):
		return l.numeral()
	case identifierStart(r):
		n := strings.IndexFunc(rest, func(r rune) bool { return !identifierPart(r) })
		if n < 0 {
			n = len(rest)
		}
		if n > MaxLiteral {
			return l.mistake(start, "a name of %d bytes: at most %d are read", n, MaxLiteral)
		}
		l.skip(n)
		return token{kind: word, value: rest[:n], at: start}
	}
	for _, s := range []string{"<>", "<=", ">=", "<", ">", "=", "(", ")", ",", "+", "-", "*", "/", "%", "^"} {
		if strings.HasPrefix(rest, s) {
			l.skip(len(s))
			return token{kind: sign, value: s, at: start}
		}
	}
	switch {
	case strings.HasPrefix(rest, "!="):
		return l.mistake(start, `found "!=": unequal is written <>`)
	case r == ';' || r == '`' || r == '[' || r == '{':
		return l.mistake(start, "found %s: no expression has it outside quotes", quoted(string(r)))
	}
	return l.mistake(start, "found the character %s: expected a name, a value or an operator", quoted(string(r)))
}

func (l *lexer) mistake(a at, format string, args ...any) token {
	return token{kind: mistaken, at: a, err: errorAt(a, format, args...)}
}

// escapes are those of a text (/req/cql2-text/escaping). A backslash before any
// other character stays, since the patterns of LIKE have a use for it.
var escapes = map[byte]byte{'\'': '\'', '\\': '\\', 'a': 7, 'b': 8, 't': 9, 'n': 10, 'v': 11, 'f': 12, 'r': 13}

// text reads a text in single quotes.
func (l *lexer) text() token {
	start := l.here()
	s := l.s[l.offset+1:]
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		c := s[i]
		switch {
		case c == '\'' && strings.HasPrefix(s[i+1:], "'"):
			i++
			b.WriteByte('\'')
		case c == '\'':
			l.skip(i + 2)
			return token{kind: text, value: b.String(), at: start}
		case c == '\\' && i+1 < len(s) && escapes[s[i+1]] != 0:
			i++
			b.WriteByte(escapes[s[i]])
		case c == 0:
			return l.mistake(start, "the text holds a character of code 0")
		default:
			b.WriteByte(c)
		}
		if b.Len() > MaxLiteral {
			return l.mistake(start, "a text of more than %d bytes", MaxLiteral)
		}
	}
	return l.mistake(start, "the text that begins here does not end: expected a closing '")
}

// name reads a name in double quotes; a double quote in it is doubled.
func (l *lexer) name() token {
	start := l.here()
	s := l.s[l.offset+1:]
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		switch {
		case s[i] == '"' && strings.HasPrefix(s[i+1:], `"`):
			i++
			b.WriteByte('"')
		case s[i] == '"' && b.Len() == 0:
			return l.mistake(start, "an empty name")
		case s[i] == '"':
			l.skip(i + 2)
			return token{kind: name, value: b.String(), at: start}
		case s[i] == 0:
			return l.mistake(start, "the name holds a character of code 0")
		default:
			b.WriteByte(s[i])
		}
		if b.Len() > MaxLiteral {
			return l.mistake(start, "a name of more than %d bytes", MaxLiteral)
		}
	}
	return l.mistake(start, `the name that begins here does not end: expected a closing "`)
}

// numeral reads a number without sign.
func (l *lexer) numeral() token {
	start, s := l.here(), l.s[l.offset:]
	digits := func(i int) int {
		for i < len(s) && isDigit(s[i]) {
			i++
		}
		return i
	}
	n := digits(0)
	if n < len(s) && s[n] == '.' {
		n = digits(n + 1)
	}
	if n < len(s) && (s[n] == 'e' || s[n] == 'E') {
		i := n + 1
		if i < len(s) && (s[i] == '+' || s[i] == '-') {
			i++
		}
		if j := digits(i); j > i {
			n = j
		}
	}
	if n > MaxLiteral {
		return l.mistake(start, "a number of %d characters", n)
	}
	v, err := strconv.ParseFloat(s[:n], 64)
	if err != nil {
		return l.mistake(start, "the number %s is too large", quoted(s[:n]))
	}
	l.skip(n)
	return token{kind: numeral, value: s[:n], num: v, at: start}
}

func isDigit(c byte) bool { return '0' <= c && c <= '9' }

// identifierStart and identifierPart are the rules of the grammar (cql2.bnf).
func identifierStart(r rune) bool {
	switch {
	case r < 0x80:
		return r == ':' || r == '_' || 'A' <= r && r <= 'Z' || 'a' <= r && r <= 'z'
	case r == utf8.RuneError, r == 0xD7, r == 0xF7, r == 0x37E:
		return false
	}
	for _, span := range [][2]rune{{0xC0, 0x2FF}, {0x370, 0x1FFE}, {0x200C, 0x200D}, {0x2070, 0x218F}, {0x2C00, 0x2FEF},
		{0x3001, 0xD7FF}, {0xF900, 0xFDCF}, {0xFDF0, 0xFFFD}, {0x10000, 0xEFFFF}} {
		if span[0] <= r && r <= span[1] {
			return !unicode.IsSpace(r)
		}
	}
	return false
}

func identifierPart(r rune) bool {
	return identifierStart(r) || r == '.' || '0' <= r && r <= '9' || 0x300 <= r && r <= 0x36F || r == 0x203F || r == 0x2040
}

// identifier reports whether s can stand in the text without quotes.
func identifier(s string) bool {
	for i, r := range s {
		if i == 0 && !identifierStart(r) || !identifierPart(r) {
			return false
		}
	}
	return s != "" && len(s) <= MaxLiteral
}
