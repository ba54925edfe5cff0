package main

import (
	"errors"
	"io/fs"
	"os"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/question"
)

// practiceFlag is which assumptions about work to take.
type practiceFlag struct {
	Practice string `help:"Practice of assumptions about pruning, windows, hours and effects: a YAML file (default: the built-in one; underbough practice prints it)." env:"UNDERBOUGH_PRACTICE" placeholder:"FILE"`
}

func (f *practiceFlag) practice() (*practice.Practice, error) {
	if f.Practice == "" || f.Practice == "default" {
		return practice.Default(), nil
	}
	return readPractice(f.Practice)
}

// readPractice reads a practice from a file.
func readPractice(path string) (*practice.Practice, error) {
	b, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, inventory.Errorf(inventory.Invalid, "there is no practice %s: expected a YAML file (underbough practice prints the built-in one)", path)
	case err != nil:
		return nil, inventory.Errorf(inventory.Invalid, "the practice cannot be read: %w", err)
	}
	p, err := practice.ParseFile(b)
	if err != nil {
		return nil, inventory.Errorf(inventory.Invalid, "%s: %w", path, err)
	}
	return p, nil
}

// workFlags are what commands about work take.
type workFlags struct {
	Site string `help:"Site; may be left out where there is only one." placeholder:"NAME"`
	practiceFlag
	assumptions
}

// work opens the inventory at a site, for planning work there.
func (c *cli) work(f *workFlags) (*session, *question.Basis, error) {
	k, err := f.practice()
	if err != nil {
		return nil, nil, err
	}
	s, sweep, err := c.look(f.Site, &f.assumptions)
	if err != nil {
		return nil, nil, err
	}
	return s, &question.Basis{Site: sweep.Site, Profile: sweep.Profile, Practice: k, AsOf: sweep.AsOf}, nil
}

// byFlag names who does something, for the record.
type byFlag struct {
	By string `help:"Who does this, as the record names them (default: the user of this machine)." placeholder:"NAME"`
}

func (f *byFlag) name() string {
	if f.By != "" {
		return f.By
	}
	return user()
}

// parseDay reads a day given with a flag; today where it is empty.
func parseDay(flag, text string) (time.Time, error) {
	if text == "" {
		y, m, d := time.Now().Date()
		return time.Date(y, m, d, 0, 0, 0, 0, time.UTC), nil
	}
	t, err := time.Parse(time.DateOnly, text)
	if err != nil || t.Year() < firstYear || t.Year() > lastYear {
		return t, inventory.Errorf(inventory.Invalid, "--%s %s: expected a day in the form 2027-03-31", flag, text)
	}
	return t, nil
}

// mustBy names who takes a step that somebody answers for.
type mustBy struct {
	By string `required:"" help:"Who does this, as the record names them." placeholder:"NAME"`
}
