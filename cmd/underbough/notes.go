package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/mattn/go-runewidth"
)

// notes writes lines of text that fit the terminal; a line that runs on is set
// in by two. What steers a terminal is shown as a mark.
type notes struct {
	w     io.Writer
	width int // cells; 0 is any width
}

func (n notes) say(format string, a ...any) { n.sayIn("", format, a...) }

// sayIn says it with something before the first line, and as much room before
// the others. Line feeds at the ends of the format are kept.
func (n notes) sayIn(before, format string, a ...any) {
	text := strings.Trim(format, "\n")
	lead := strings.Index(format+"x", text)
	fmt.Fprint(n.w, strings.Repeat("\n", lead))
	for _, part := range wrap(plainText(fmt.Sprintf(text, a...)), n.width-runewidth.StringWidth(before)) {
		fmt.Fprintln(n.w, before+part)
		before = strings.Repeat(" ", runewidth.StringWidth(before))
	}
	fmt.Fprint(n.w, strings.Repeat("\n", len(format)-lead-len(text)))
}

// paragraph says a text whose lines all begin at the edge.
func (n notes) paragraph(text string) {
	for _, part := range wrap(plainText(text), n.width) {
		fmt.Fprintln(n.w, strings.TrimLeft(part, " "))
	}
}

// cautions ends what someone could act on.
func (n notes) cautions() error {
	text := strings.Split(cautions, "\n")
	for i := range text {
		text[i] = strings.Join(wrap(text[i], n.width), "\n")
	}
	_, err := fmt.Fprintln(n.w, strings.Join(text, "\n"))
	return err
}
