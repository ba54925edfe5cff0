package postgres

import (
	"fmt"
	"strings"
	"unicode"

	"github.com/underbough/underbough/inventory/filter"
)

// folded compiles CASEI and ACCENTI. Both sides of a comparison are folded by
// the same SQL, so that they always agree.
func (c *filterSQL) folded(e *filter.Op) (string, error) {
	s, err := c.value(e.Args[0], filter.TextType)
	if e.Name == "casei" {
		return fmt.Sprintf(caseFold, s), err
	}
	return fmt.Sprintf(accentFold, s), err
}

// caseFold folds case in full (/req/case-insensitive-comparison/casei-function),
// whatever the locale of the database: by capitals and back, so that ß meets SS
// and both small sigmas meet. Small letters come first because ẞ has no capitals.
// The dotless ı is kept apart, which has I for its capital and yet does not fold.
const caseFold = `(translate(lower(upper(lower(translate(%s, 'ı', E'\uE000') COLLATE "und-x-icu"))), E'ς\uE000', 'σı') COLLATE "C")`

// accentFold strips accents (/req/accent-insensitive-comparison/accenti-function)
// by the standard's guidance: canonical decomposition, then no marks. Letters
// that Unicode does not decompose, such as ø and ł, lose their strokes by a table
// of the letters Unicode names so, and ligatures are spelt out.
var accentFold = func() string {
	sql := `normalize(regexp_replace(normalize(%s, NFD), E'[` + marks() + `]', '', 'g'), NFC)`
	var from, to strings.Builder
	for _, p := range strings.Fields(strokes) {
		r := []rune(p)
		from.WriteRune(r[0])
		to.WriteRune(r[1])
	}
	sql = fmt.Sprintf("translate(%s, '%s', '%s')", sql, from.String(), to.String())
	for _, p := range strings.Fields(ligatures) {
		r := []rune(p)
		sql = fmt.Sprintf("replace(%s, '%s', '%s')", sql, string(r[0]), string(r[1:]))
	}
	return "(" + sql + ` COLLATE "C")`
}()

// strokes are the Latin letters to U+024F that Unicode names LETTER … WITH … and
// gives no decomposition, each with its letter without; and ð and ı.
const strokes = `ØO øo ÐD ðd ĐD đd ĦH ħh ıi ĿL ŀl ŁL łl ŦT ŧt ƀb ƁB ƂB ƃb ƇC ƈc ƊD ƋD ƌd ƑF ƒf ƓG ƗI ƘK ƙk ƚl ƝN ƞn ƤP ƥp ƫt ƬT ƭt ƮT ƲV ƳY ƴy ƵZ ƶz ǤG ǥg ȡd ȤZ ȥz ȴl ȵn ȶt ȺA ȻC ȼc ȽL ȾT ȿs ɀz ɃB ɆE ɇe ɈJ ɉj ɌR ɍr ɎY ɏy`

// ligatures are letters that are spelt with two where they are not at hand.
const ligatures = `ÆAE æae ŒOE œoe ßss ẞSS ÞTH þth`

// marks is a class of a regular expression: the nonspacing marks that are of no
// one script. Those of a script of its own are letters' parts, and the Japanese
// voicing marks tell letters apart (rec special-japanese-non-spacing-marks).
func marks() string {
	var b strings.Builder
	add := func(lo, hi rune) { fmt.Fprintf(&b, `\\U%08X-\\U%08X`, lo, hi) }
	start, end := rune(-1), rune(-1)
	for r := rune(0x300); r <= 0x1FFFF; r++ {
		if !unicode.Is(unicode.Mn, r) || !unicode.Is(unicode.Inherited, r) || r == 0x3099 || r == 0x309A {
			continue
		}
		if r != end+1 {
			if start >= 0 {
				add(start, end)
			}
			start = r
		}
		end = r
	}
	add(start, end)
	return b.String()
}
