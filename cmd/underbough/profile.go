package main

import "github.com/underbough/underbough/inventory/profile"

type profileCmd struct{}

// Run prints the built-in profile.
func (*profileCmd) Run(c *cli) error {
	_, err := c.stdout.Write(profile.DefaultText())
	return err
}
