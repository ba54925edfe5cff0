package main

import (
	"io"
	"os"
	"slices"
	"strings"
	"unicode"

	"github.com/mattn/go-runewidth"
	"golang.org/x/term"
)

// column is one column of a table.
type column struct {
	title string // the unit is part of it
	right bool   // figures stand to the right
	least int    // the width it may be shortened to where the terminal is narrow; 0 = never
	spare int    // its turn to be left out where that is not enough; 0 = never
}

// table writes rows in columns that line up and fit the terminal. Widths are
// counted in cells, so that accents and wide letters do not push a column out.
type table struct {
	columns []column
	rows    [][]string
	below   []string // a line under each row, or empty
}

func (t *table) add(below string, cells ...string) {
	for i := range cells {
		cells[i] = runewidth.Truncate(plainText(cells[i]), widest, "…")
	}
	t.rows = append(t.rows, cells)
	t.below = append(t.below, plainText(below))
}

// widest is the most that a cell takes where nothing else limits it.
const widest = 160

// plainText shows what would steer a terminal or turn its text about as a mark:
// names and notes come from other people's files.
func plainText(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) {
			return '\uFFFD'
		}
		return r
	}, s)
}

const gap = 2

// write prints the table at most width cells wide; 0 is any width.
func (t *table) write(w io.Writer, width int) error {
	gone := t.leaveOut(width)
	widths := t.fit(width)
	b := &strings.Builder{}
	titles := make([]string, len(t.columns))
	rule := make([]string, len(t.columns))
	for i, c := range t.columns {
		titles[i] = c.title
		rule[i] = strings.Repeat("─", widths[i])
	}
	t.line(b, widths, titles)
	t.line(b, widths, rule)
	for i, row := range t.rows {
		t.line(b, widths, row)
		if t.below[i] != "" {
			indent := strings.Repeat(" ", widths[0]+gap)
			for _, part := range wrap(t.below[i], width-len(indent)) {
				b.WriteString(indent + part + "\n")
			}
		}
	}
	if len(gone) > 0 {
		for _, part := range wrap("left out, for want of room: "+strings.Join(gone, ", "), width) {
			b.WriteString(part + "\n")
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// leaveOut takes spare columns out until the rest fits, and returns their
// titles.
func (t *table) leaveOut(width int) (gone []string) {
	for width > 0 && span(t.fit(width)) > width {
		next := -1
		for i, c := range t.columns {
			if c.spare > 0 && (next < 0 || c.spare < t.columns[next].spare) {
				next = i
			}
		}
		if next < 0 {
			break
		}
		gone = append(gone, t.columns[next].title)
		t.columns = slices.Delete(slices.Clone(t.columns), next, next+1)
		for i, row := range t.rows {
			t.rows[i] = slices.Delete(slices.Clone(row), next, next+1)
		}
	}
	return gone
}

// span is the width of a line of columns.
func span(widths []int) int {
	total := gap * (len(widths) - 1)
	for _, w := range widths {
		total += w
	}
	return total
}

func (t *table) line(b *strings.Builder, widths []int, cells []string) {
	line := &strings.Builder{}
	for i, c := range t.columns {
		cell := runewidth.Truncate(cells[i], widths[i], "…")
		pad := strings.Repeat(" ", widths[i]-runewidth.StringWidth(cell))
		if i > 0 {
			line.WriteString(strings.Repeat(" ", gap))
		}
		if c.right {
			line.WriteString(pad + cell)
		} else {
			line.WriteString(cell + pad)
		}
	}
	b.WriteString(strings.TrimRight(line.String(), " ") + "\n")
}

// fit returns the columns' widths, taking from the widest that may shrink until
// the line fits.
func (t *table) fit(width int) []int {
	widths := make([]int, len(t.columns))
	for i, c := range t.columns {
		widths[i] = runewidth.StringWidth(c.title)
		for _, row := range t.rows {
			widths[i] = max(widths[i], runewidth.StringWidth(row[i]))
		}
	}
	for total := span(widths); width > 0 && total > width; total-- {
		widest := -1
		for i, c := range t.columns {
			if c.least > 0 && widths[i] > c.least && (widest < 0 || widths[i] > widths[widest]) {
				widest = i
			}
		}
		if widest < 0 {
			break
		}
		widths[widest]--
	}
	return widths
}

// wrap breaks a text between words into lines of at most width cells.
func wrap(text string, width int) []string {
	if width <= 0 || runewidth.StringWidth(text) <= width {
		return []string{text}
	}
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && runewidth.StringWidth(line)+1+runewidth.StringWidth(word) > width {
			lines = append(lines, line)
			line = "  "
		} else if line != "" && line != "  " {
			line += " "
		}
		line += word
	}
	return append(lines, line)
}

// terminalWidth returns the width of the terminal that w is, or 0.
func terminalWidth(w io.Writer) int {
	f, ok := w.(*os.File)
	if !ok {
		return 0
	}
	width, _, err := term.GetSize(int(f.Fd()))
	if err != nil {
		return 0
	}
	return width
}
