package main

import (
	"bufio"
	"bytes"
	"os"
	"strings"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory"
)

// editFlags say who may edit over HTTP.
type editFlags struct {
	Edit         bool     `env:"UNDERBOUGH_EDIT" help:"Let clients edit; without it the service only reads. Whoever reaches the service may edit then, unless --edit-keys asks for keys."`
	EditKeys     string   `name:"edit-keys" env:"UNDERBOUGH_EDIT_KEYS" help:"File with the keys that editing needs, a line each: NAME: KEY. The history names who edited." placeholder:"FILE" type:"path"`
	EditOrigin   []string `name:"edit-origin" env:"UNDERBOUGH_EDIT_ORIGIN" help:"Let pages of this origin edit, besides the service's own." placeholder:"URL"`
	RequireMatch bool     `name:"require-match" env:"UNDERBOUGH_REQUIRE_MATCH" help:"Refuse edits without If-Match, so that nobody's edit is lost; not every client sends it."`
}

// editing sets what the flags say.
func (f *editFlags) editing(c *api.Config) error {
	c.Edit, c.EditOrigins, c.RequireMatch = f.Edit, f.EditOrigin, f.RequireMatch
	if !f.Edit {
		if f.EditKeys != "" || len(f.EditOrigin) > 0 || f.RequireMatch {
			return inventory.Errorf(inventory.Invalid, "--edit-keys, --edit-origin and --require-match mean nothing without --edit")
		}
		return nil
	}
	if f.EditKeys == "" {
		return nil
	}
	text, err := os.ReadFile(f.EditKeys)
	if err != nil {
		return inventory.Errorf(inventory.Invalid, "--edit-keys: %w", err)
	}
	c.EditKeys, err = readKeys(text)
	if err == nil && len(c.EditKeys) == 0 {
		err = inventory.Errorf(inventory.Invalid, "the file has no key")
	}
	if err != nil {
		return inventory.Errorf(inventory.Invalid, "--edit-keys %s: %w", f.EditKeys, err)
	}
	return nil
}

// editNote says who may edit at an address.
func editNote(c *api.Config, address string) string {
	switch {
	case !c.Edit:
		return ""
	case len(c.EditKeys) > 0:
		return "Editing is on, for those with a key.\n"
	case loopback(address):
		return "Editing is on, for whoever can reach this address on this machine.\n"
	}
	return "Editing is on for whoever can reach " + address + ": give --edit-keys to ask for keys.\n"
}

// readKeys reads lines of the form NAME: KEY; empty ones and those that begin
// with # are passed over. No message repeats a key.
func readKeys(text []byte) (keys []api.EditKey, err error) {
	lines := bufio.NewScanner(bytes.NewReader(text))
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line == "" || line[0] == '#' {
			continue
		}
		name, key, ok := strings.Cut(line, ":")
		name, key = strings.TrimSpace(name), strings.TrimSpace(key)
		if !ok || name == "" || key == "" {
			return nil, inventory.Errorf(inventory.Invalid, "line %d: expected NAME: KEY", n)
		}
		keys = append(keys, api.EditKey{Name: name, Key: key})
	}
	return keys, lines.Err()
}
