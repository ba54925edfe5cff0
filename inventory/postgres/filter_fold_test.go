package postgres_test

import (
	"context"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory/filter"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// foldAll folds texts by the SQL that a filter has for it.
func foldAll(t *testing.T, conn *pgx.Conn, function string, texts []string) []string {
	t.Helper()
	e, err := filter.ParseText(function + "(x) IS NOT NULL")
	if err != nil {
		t.Fatal(err)
	}
	conjuncts, _, err := postgres.CompileFilter(e, columnsOf{"x": {SQL: "x", Type: filter.TextType}})
	if err != nil {
		t.Fatal(err)
	}
	sql := strings.TrimSuffix(strings.TrimPrefix(conjuncts[0], "(NOT ("), " IS NULL))")
	rows, err := conn.Query(t.Context(), "SELECT "+sql+" FROM unnest($1::text[]) WITH ORDINALITY u(x, i) ORDER BY i", texts)
	if err != nil {
		t.Fatal(err)
	}
	folded, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil || len(folded) != len(texts) {
		t.Fatalf("%v, %d folded of %d\n%s", err, len(folded), len(texts), sql)
	}
	return folded
}

// Letters are folded together just where Unicode's simple case folding joins
// them, by Go's tables of it (unicode.SimpleFold), whatever the locale.
func TestCaseFolding(t *testing.T) {
	conn := connect(t, pgtest.URL(t))
	var letters []string
	for r := rune(1); r <= 0x1FFFF; r++ {
		if unicode.IsLetter(r) && r != 'ı' && r != 'İ' { // of Turkish, to which other rules apply
			letters = append(letters, string(r))
		}
	}
	folded := foldAll(t, conn, "CASEI", letters)
	groups := map[string][]rune{}
	of := map[rune]string{}
	for i, l := range letters {
		r, _ := utf8.DecodeRuneInString(l)
		groups[folded[i]] = append(groups[folded[i]], r)
		of[r] = folded[i]
	}
	for r, f := range of {
		for s := unicode.SimpleFold(r); s != r; s = unicode.SimpleFold(s) {
			if _, letter := of[s]; letter && of[s] != f {
				t.Errorf("%q is folded to %q, %q to %q", r, f, s, of[s])
			}
		}
	}
	for f, group := range groups {
		orbit := 1
		for s := unicode.SimpleFold(group[0]); s != group[0]; s = unicode.SimpleFold(s) {
			orbit++
		}
		if len(group) > orbit {
			// Letters whose full folding is the same (CaseFolding.txt, status F).
			if first := group[0]; first != 0x390 && first != 0x3B0 && first != 0xFB05 {
				t.Errorf("%q are all folded to %q", string(group), f)
			}
		}
	}
	// Full case folding (CaseFolding.txt 15.0.0, status F, and C for the sigmas).
	for text, want := range map[string]string{
		"Straße": "strasse", "STRAẞE": "strasse", "ΟΔΟΣ": "οδοσ", "Οδος": "οδοσ", "ﬁn": "fin", "ŉ": "ʼn", "ᾳ": "αι", "İ": "i̇", "ı": "ı", "ﬗ": "մխ",
	} {
		if got := foldAll(t, conn, "CASEI", []string{text})[0]; got != want {
			t.Errorf("CASEI(%q) is %q, expected %q", text, got, want)
		}
	}
}

// Accents are stripped as PostgreSQL's extension unaccent does it, which the
// service itself does without, since its role may not be able to create it.
func TestAccents(t *testing.T) {
	conn := connect(t, pgtest.URL(t))
	if _, err := conn.Exec(context.Background(), `CREATE EXTENSION unaccent`); err != nil {
		t.Fatal(err)
	}
	var letters []string
	for r := rune(0xC0); r <= 0x24F; r++ {
		if unicode.IsLetter(r) {
			letters = append(letters, string(r))
		}
	}
	for r := rune(0x1E00); r <= 0x1EF9; r++ {
		letters = append(letters, string(r))
	}
	rows, err := conn.Query(t.Context(), `SELECT unaccent(x) FROM unnest($1::text[]) WITH ORDINALITY u(x, i) ORDER BY i`, letters)
	if err != nil {
		t.Fatal(err)
	}
	plain, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	// Where unaccent goes beyond diacritics: letters of their own and
	// digraphs.
	kept := "ĸĲĳŉŊŋſƉƐƕƖƢƣǄǅǆǇǈǉǊǋǌǱǲǳȷȸȹɄẚẜẝ"
	same := 0
	for i, got := range foldAll(t, conn, "ACCENTI", letters) {
		switch {
		case got == plain[i]:
			same++
		case plain[i] == letters[i]: // it has no rule, for ǿ and ǣ as little as for ƿ
		case !strings.Contains(kept, letters[i]):
			t.Errorf("ACCENTI(%q) is %q, unaccent's %q", letters[i], got, plain[i])
		}
	}
	if same < 500 {
		t.Errorf("only %d of %d letters agree", same, len(letters))
	}
	// The standard's guidance on ACCENTI: the Japanese voicing marks tell letters
	// apart and stay (rec special-japanese-non-spacing-marks); Hangul is no accent.
	for text, want := range map[string]string{
		"débárquér": "debarquer", "De\u0301ba\u0301rque\u0301r": "Debarquer", "はじめ": "はじめ", "한글": "한글", "Łódź": "Lodz", "Ærø": "AEro", "Ångström": "Angstrom", "ёлка": "елка", "ήλιος": "ηλιος",
	} {
		if got := foldAll(t, conn, "ACCENTI", []string{text})[0]; got != want {
			t.Errorf("ACCENTI(%q) is %q, expected %q", text, got, want)
		}
	}
}
