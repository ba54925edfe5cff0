package paper

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/ranking"
)

// metres writes a length to a decimetre, and that it is estimated.
func metres(v float64, estimated bool) string {
	s := fixed(v, 1) + " m"
	if estimated {
		return "about " + s + " (estimated)"
	}
	return s
}

// fixed writes a number with so many digits, and never as minus zero.
func fixed(v float64, digits int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "–"
	}
	s := strconv.FormatFloat(v, 'f', digits, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}

// grouped writes a whole number in groups of three, with a thin space between.
func grouped(v float64) string {
	s := fixed(v, 0)
	sign := ""
	if strings.HasPrefix(s, "-") {
		sign, s = "−", s[1:]
	}
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "\u202f" + s[i:]
	}
	return sign + s
}

// optMetres, optCm: a recorded length, or a dash.
func optMetres(v inventory.Opt[float64], digits int) string {
	if !v.OK {
		return "–"
	}
	return fixed(v.V, digits)
}

func optCm(v inventory.Opt[float64]) string {
	if !v.OK {
		return "–"
	}
	return fixed(v.V*100, 0)
}

// endless is a figure with the last bits of a sum in it.
var endless = regexp.MustCompile(`\d+\.\d{7,}`)

// tidy rounds figures that another text brings along with all their bits:
// 55.00000000000001 becomes 55.
func tidy(s string) string {
	return endless.ReplaceAllStringFunc(s, func(f string) string {
		v, err := strconv.ParseFloat(f, 64)
		if err != nil {
			return f
		}
		return num(v)
	})
}

func percent(v float64) string {
	s := fixed(v*100, 1)
	return strings.TrimSuffix(s, ".0") + " %"
}

// count writes a number of things: "1 cut", "no cuts", "3 cuts".
func count(n int, word string) string {
	switch n {
	case 0:
		return "no " + plural(word)
	case 1:
		return "1 " + word
	}
	return grouped(float64(n)) + " " + plural(word)
}

func plural(word string) string {
	if strings.HasSuffix(word, "s") || strings.HasSuffix(word, "sh") {
		return word + "es"
	}
	return word + "s"
}

// shareWord is a share as a crew says it: a third, a half.
func shareWord(v float64) string {
	switch {
	case math.Abs(v-1.0/3) < 1e-3:
		return "a third"
	case math.Abs(v-0.5) < 1e-3:
		return "a half"
	}
	return percent(v)
}

// yearsAfter says how long after the first visit another is; empty for the first.
func yearsAfter(n int) string {
	if n <= 0 {
		return ""
	}
	return count(n, "year") + " after the first"
}

// conditionWords is the condition as somebody recorded it, and that the tree is
// recorded as dead: one can be older than the other.
func conditionWords(t *inventory.Tree) string {
	word := orNone(t.Condition, "not recorded")
	if t.Status != inventory.Dead || strings.EqualFold(word, "dead") {
		return word
	}
	return "as recorded: " + word + "; recorded as dead"
}

// kindWord is a kind of target in words.
func kindWord(k inventory.TargetKind) string { return strings.ReplaceAll(string(k), "_", " ") }

// overWords says what a tree stands over, with the amounts.
func overWords(over []ranking.Under) string {
	parts := make([]string, len(over))
	for i, u := range over {
		parts[i] = strings.ReplaceAll(u.String(), "_", " ")
	}
	if len(parts) == 0 {
		return "nothing that is recorded"
	}
	return strings.Join(parts, ", ")
}

// day writes a date in full: 5 March 2026.
func day(t time.Time) string {
	if t.IsZero() {
		return "no day given"
	}
	return t.Format("2 January 2006")
}

// compass is a bearing with the point of the compass: 95° E.
func compass(v inventory.Opt[float64]) string {
	if !v.OK {
		return "–"
	}
	points := [...]string{"N", "NE", "E", "SE", "S", "SW", "W", "NW"}
	b := math.Mod(math.Mod(v.V, 360)+360, 360)
	return fmt.Sprintf("%s° %s", fixed(b, 0), points[int(b/45+0.5)%8])
}

// shortDigest is enough of a digest to tell texts apart by eye.
func shortDigest(s string) string {
	if len(s) > 12 {
		return s[:12]
	}
	return s
}

// sentence ends a text with one full stop.
func sentence(s string) string {
	s = plain(s)
	if s == "" || strings.HasSuffix(s, ".") || strings.HasSuffix(s, "!") || strings.HasSuffix(s, "?") {
		return s
	}
	return s + "."
}

// heading is a text without its full stop, beginning with a small letter unless
// its first word is all capitals.
func heading(s string) string {
	s = strings.TrimSuffix(plain(s), ".")
	first, rest, _ := strings.Cut(s, " ")
	if len([]rune(first)) > 1 && first == strings.ToUpper(first) {
		return s
	}
	if r := []rune(first); len(r) > 0 {
		r[0] = unicode.ToLower(r[0])
		first = string(r)
	}
	return strings.TrimSuffix(first+" "+rest, " ")
}
