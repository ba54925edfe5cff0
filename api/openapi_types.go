package api

import (
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/pruning"
)

// Documents about work are plain structures: their schemas are read from the very
// types that are written, so that neither says what the other does not.

// documentSchema describes the JSON of a document by its type.
func documentSchema[T any]() object { return schemaOfType(reflect.TypeFor[T]()) }

// wordsOfType are the words that a type of text has.
var wordsOfType = map[reflect.Type]func() object{
	reflect.TypeFor[practice.Work]():     func() object { return words(practice.Works...) },
	reflect.TypeFor[inventory.CutKind](): func() object { return words(inventory.CutKinds...) },
	reflect.TypeFor[inventory.Role]():    func() object { return words(inventory.Roles...) },
	reflect.TypeFor[pruning.Place]():     func() object { return words(pruning.Places...) },
	reflect.TypeFor[inventory.JobState](): func() object {
		return words(append(slices.Clone(inventory.JobStates), "")...) // before the first step there is none
	},
}

func schemaOfType(t reflect.Type) object {
	if list, ok := wordsOfType[t]; ok {
		return list()
	}
	switch t {
	case reflect.TypeFor[time.Time]():
		return moment0()
	case reflect.TypeFor[json.RawMessage]():
		return nullable(object{{"type", "object"}})
	case reflect.TypeFor[link]():
		return ref("schemas", "link")
	case reflect.TypeFor[inventory.Completion](): // it holds the earlier ones
		return ref("schemas", "completion")
	}
	switch t.Kind() {
	case reflect.String:
		return text()
	case reflect.Bool:
		return boolean()
	case reflect.Int, reflect.Int64:
		return whole()
	case reflect.Float64:
		return number()
	case reflect.Pointer:
		if of := schemaOfType(t.Elem()); of.get("$ref") == nil {
			return nullable(of)
		}
		// What stands beside a reference is of no account.
		return object{{"nullable", true}, {"allOf", []object{schemaOfType(t.Elem())}}}
	case reflect.Slice:
		return nullable(listOf(schemaOfType(t.Elem())))
	case reflect.Struct:
		// inventory.Opt writes its value, or null.
		if v, ok := t.FieldByName("V"); ok && strings.HasPrefix(t.Name(), "Opt[") {
			return nullable(schemaOfType(v.Type))
		}
		return structOfType(t)
	}
	panic(fmt.Sprintf("nothing says how a %s is written", t))
}

func structOfType(t reflect.Type) object {
	required, members := membersOfType(t)
	return loose(required, members...).with(member{"additionalProperties", false})
}

// membersOfType lists what a structure is written as, and which members are always
// there. What is embedded is written among the rest.
func membersOfType(t reflect.Type) (required []string, members []member) {
	for i := range t.NumField() {
		f := t.Field(i)
		tag, given := f.Tag.Lookup("json")
		if f.Anonymous && !given {
			of := f.Type
			if of.Kind() == reflect.Pointer {
				of = of.Elem()
			}
			r, m := membersOfType(of)
			required, members = append(required, r...), append(members, m...)
			continue
		}
		name, options, _ := strings.Cut(tag, ",")
		if name == "" || name == "-" {
			panic(fmt.Sprintf("%s.%s has no name in JSON", t, f.Name))
		}
		if !strings.Contains(options, "omit") {
			required = append(required, name)
		}
		members = append(members, member{name, schemaOfType(f.Type)})
	}
	return required, members
}
