package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/underbough/underbough/api"
)

func TestEditFlags(t *testing.T) {
	file := func(text string) string {
		name := filepath.Join(t.TempDir(), "keys")
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return name
	}
	var c api.Config
	f := editFlags{Edit: true, EditKeys: file("# those who edit\n\nRuta: 0123456789abcdef:r\n Jonas :  0123456789abcdef-j \n"), EditOrigin: []string{"https://editor.example"}, RequireMatch: true}
	if err := f.editing(&c); err != nil {
		t.Fatal(err)
	}
	if err := c.Validate(); err != nil {
		t.Error(err)
	}
	if len(c.EditKeys) != 2 || c.EditKeys[0] != (api.EditKey{Name: "Ruta", Key: "0123456789abcdef:r"}) || c.EditKeys[1] != (api.EditKey{Name: "Jonas", Key: "0123456789abcdef-j"}) || !c.Edit || !c.RequireMatch {
		t.Errorf("%+v", c)
	}
	for _, bad := range []editFlags{
		{EditKeys: "keys"}, {RequireMatch: true}, {EditOrigin: []string{"https://a.example"}},
		{Edit: true, EditKeys: "/nowhere/keys"}, {Edit: true, EditKeys: file("")}, {Edit: true, EditKeys: file("0123456789abcdef")}, {Edit: true, EditKeys: file("Ruta:")},
	} {
		err := bad.editing(&c)
		if err == nil {
			t.Errorf("%+v passes", bad)
		} else if strings.Contains(err.Error(), "0123456789abcdef") {
			t.Errorf("the message repeats a key: %v", err)
		}
	}
}

func TestLoopback(t *testing.T) {
	for address, want := range map[string]bool{"127.0.0.1:8017": true, "[::1]:0": true, "localhost:1": true, "0.0.0.0:8017": false, ":8017": false, "trees.example:80": false, "10.0.0.1:80": false} {
		if loopback(address) != want {
			t.Errorf("%s: %v", address, !want)
		}
	}
}
