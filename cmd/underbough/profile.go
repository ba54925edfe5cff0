package main

import (
	"fmt"
	"strings"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
)

type profileCmd struct {
	Print  profilePrint  `cmd:"" default:"withargs" help:"Print a built-in profile, each number with its source."`
	Check  profileCheck  `cmd:"" help:"Check a profile and say at which line and field it is wrong."`
	Schema profileSchema `cmd:"" help:"Print the JSON Schema of profiles, for editors that complete and check YAML."`
}

type profilePrint struct {
	Name string `arg:"" optional:"" default:"default" help:"Which one: ${profiles}."`
}

// Run prints a built-in profile.
func (p *profilePrint) Run(c *cli) error {
	text, ok := profile.Builtin(p.Name)
	if !ok {
		return inventory.Errorf(inventory.Invalid, "no profile %q is built in: expected one of %s (underbough profile check FILE looks at a file)", p.Name, strings.Join(profile.BuiltinNames, ", "))
	}
	_, err := c.stdout.Write(text)
	return err
}

type profileCheck struct {
	File string `arg:"" help:"The profile, a YAML file." placeholder:"FILE"`
}

// Run checks a profile.
func (k *profileCheck) Run(c *cli) error {
	p, err := readProfile(k.File)
	if err != nil {
		return err
	}
	low, high := p.Calibration.BaseRateLow.Value, p.Calibration.BaseRateHigh.Value
	fmt.Fprintf(c.stdout, "%s: profile %s, version %d, is complete: %d weeks, %d kinds of target, rated by %s.\n",
		k.File, p.Name, p.Version, len(p.Weeks), len(p.Targets.Kinds), p.Rating.Method)
	rate := p.BranchFailuresPer1000()
	fmt.Fprintf(c.stdout, "Its chances come to %.1f branch failures for 1,000 average trees a year; published: %g to %g.\n", rate, low, high)
	if rate < low/2 || rate > high*2 {
		fmt.Fprintln(c.stdout, "That is more than twice off: look at weights.chance and calibration.crown. The order of trees may still hold.")
	}
	_, err = fmt.Fprintf(c.stdout, "SHA-256 of the text: %s\n", p.TextDigest())
	return err
}

type profileSchema struct{}

// Run prints the schema.
func (*profileSchema) Run(c *cli) error {
	_, err := c.stdout.Write(profile.Schema())
	return err
}
