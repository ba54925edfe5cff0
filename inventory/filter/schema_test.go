package filter_test

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"github.com/underbough/underbough/inventory/filter"
)

// The JSON that is written of a text is valid by the standard's own schema
// (OGC 21-065r2, cql2.json).
func TestJSONIsValid(t *testing.T) {
	texts := exampleFiles(t, "text")
	b, err := os.ReadFile(filepath.Join(examples, "..", "cql2.json"))
	if err != nil {
		t.Fatal(err)
	}
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	compiler := jsonschema.NewCompiler()
	if err := compiler.AddResource("cql2.json", document); err != nil {
		t.Fatal(err)
	}
	valid, err := compiler.Compile("cql2.json")
	if err != nil {
		t.Fatal(err)
	}
	check := func(b []byte) error {
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
		if err != nil {
			return err
		}
		return valid.Validate(v)
	}
	if err := check([]byte(`{"op":"and","args":[{"op":"=","args":[1]},true]}`)); err == nil {
		t.Fatal("the schema refuses nothing")
	}
	for _, file := range texts {
		e, err := filter.ParseText(string(read(t, file)))
		if err != nil {
			t.Fatal(err)
		}
		if err := check(filter.JSON(e)); err != nil {
			t.Errorf("%s: %s: %v", filepath.Base(file), filter.JSON(e), err)
		}
	}
	for _, s := range samples[:3] {
		e, err := filter.ParseText(s)
		if err != nil {
			t.Fatal(err)
		}
		if err := check(filter.JSON(e)); err != nil {
			t.Errorf("%s: %v", filter.JSON(e), err)
		}
	}
}
