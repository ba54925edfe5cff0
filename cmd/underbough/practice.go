package main

import (
	"fmt"

	"github.com/underbough/underbough/inventory/practice"
)

type practiceCmd struct {
	Print practicePrint `cmd:"" default:"1" help:"Print the built-in practice, to copy and change."`
	Check practiceCheck `cmd:"" help:"Check a practice file."`
}

type practicePrint struct{}

// Run prints the built-in practice.
func (p *practicePrint) Run(c *cli) error {
	_, err := c.stdout.Write(practice.DefaultText())
	return err
}

type practiceCheck struct {
	File string `arg:"" help:"The file." type:"path"`
}

// Run checks a practice.
func (p *practiceCheck) Run(c *cli) error {
	k, err := readPractice(p.File)
	if err != nil {
		return err
	}
	open := 0
	for i := range k.Windows.List {
		if k.Windows.List[i].Open {
			open++
		}
	}
	n := notes{c.stdout, terminalWidth(c.stdout)}
	for _, w := range k.Warnings() {
		n.say("Warning: %s", w)
	}
	_, err = fmt.Fprintf(c.stdout, "%s: practice %q, version %d: good; %d windows, %d of them opened by the client\n", p.File, k.Name, k.Version, len(k.Windows.List), open)
	return err
}
