package profile

import (
	"encoding/json"
	"reflect"
	"slices"

	"github.com/underbough/underbough/inventory"
)

// object is one JSON object of a schema; encoding/json writes its members by
// name, so that the same schema is always the same bytes.
type object map[string]any

// optional lists what may be left out, by the struct that holds it. All else
// must be given.
var optional = map[reflect.Type][]string{
	reflect.TypeFor[text]():     {"wind"},
	reflect.TypeFor[weekText](): {"hours", "weekday", "saturday", "sunday"},
	reflect.TypeFor[Calendar](): {"year", "season", "exceptions"},
}

// Schema returns the JSON Schema (draft 2020-12) of a profile's YAML, made from
// the structs that it is read into. What a schema cannot say, such as that one
// limit lies above another, Parse alone checks.
func Schema() []byte {
	s := structSchema(reflect.TypeFor[text]())
	s["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	s["title"] = "Profile of assumptions"
	s["description"] = "Every number that the engine assumes, with its source: a published source, 'common practice, no source', or 'assumption'. Names carry the unit."
	s["$defs"] = object{
		"number": object{
			"type":                 "object",
			"description":          "one assumed figure and where it comes from",
			"properties":           object{"value": object{"type": "number", "minimum": 0}, "source": source()},
			"required":             []string{"value", "source"},
			"additionalProperties": false,
		},
		"week": weekSchema(),
		"kind": kindSchema(),
	}
	b, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		panic("the schema of a profile cannot be written: " + err.Error())
	}
	return append(b, '\n')
}

func source() object {
	return object{"type": "string", "minLength": 1, "description": "where it comes from; 'assumption' where there is none"}
}

func ref(name string) object { return object{"$ref": "#/$defs/" + name} }

// schemaOf is the schema of a value of a type.
func schemaOf(t reflect.Type) object {
	switch t {
	case reflect.TypeFor[Number]():
		return ref("number")
	case reflect.TypeFor[weekText]():
		return ref("week")
	case reflect.TypeFor[Kind]():
		return ref("kind")
	case reflect.TypeFor[Season]():
		return object{"enum": Seasons}
	case reflect.TypeFor[Method]():
		return object{"enum": Methods}
	}
	switch t.Kind() {
	case reflect.Pointer:
		return schemaOf(t.Elem())
	case reflect.Struct:
		return structSchema(t)
	case reflect.Map:
		return mapSchema(t)
	case reflect.Slice:
		return object{"type": "array", "items": schemaOf(t.Elem())}
	case reflect.String:
		return object{"type": "string"}
	case reflect.Bool:
		return object{"type": "boolean"}
	case reflect.Int:
		return object{"type": "integer", "minimum": 0}
	case reflect.Float64:
		return object{"type": "number", "minimum": 0}
	}
	panic("a profile has a field of type " + t.String() + ", for which there is no schema")
}

// structSchema is an object with the fields of a struct and nothing else.
func structSchema(t reflect.Type) object {
	properties, required := object{}, []string{}
	for i := range t.NumField() {
		f := t.Field(i)
		name := f.Tag.Get("yaml")
		properties[name] = fieldSchema(t, f, name)
		if !slices.Contains(optional[t], name) {
			required = append(required, name)
		}
	}
	return object{"type": "object", "properties": properties, "required": required, "additionalProperties": false}
}

func fieldSchema(in reflect.Type, f reflect.StructField, name string) object {
	s := schemaOf(f.Type)
	switch {
	case name == "source":
		return source()
	case in == reflect.TypeFor[text]() && name == "version":
		s["minimum"] = 1
	case in == reflect.TypeFor[text]() && name == "name", in == reflect.TypeFor[Exception]() && name == "name":
		s["minLength"] = 1
	case in == reflect.TypeFor[Exception]() && name == "weeks":
		s["minItems"] = 1
	case in == reflect.TypeFor[Leaf]():
		s["pattern"] = `^\d\d-\d\d$`
	case name == "from" || name == "to":
		s["pattern"] = `^(\d{4}-)?\d\d-\d\d$`
	}
	return s
}

// mapSchema is that of the weeks, which a profile names, or of the kinds of
// target, all of which must be there.
func mapSchema(t reflect.Type) object {
	if t.Key() != reflect.TypeFor[inventory.TargetKind]() {
		return object{"type": "object", "additionalProperties": schemaOf(t.Elem()), "maxProperties": MaxWeeks}
	}
	properties := object{}
	for _, k := range inventory.TargetKinds {
		properties[string(k)] = schemaOf(t.Elem())
	}
	return object{"type": "object", "properties": properties, "required": inventory.TargetKinds, "additionalProperties": false}
}

// weekSchema holds a week to one of its two forms.
func weekSchema() object {
	s := structSchema(reflect.TypeFor[weekText]())
	s["description"] = "how busy each hour is against the mean; only the shape counts"
	figures := func(n int) object {
		return object{"type": "array", "items": object{"type": "number", "minimum": 0}, "minItems": n, "maxItems": n}
	}
	properties := s["properties"].(object)
	properties["hours"] = figures(HoursInWeek)
	for _, day := range []string{"weekday", "saturday", "sunday"} {
		properties[day] = figures(24)
	}
	s["oneOf"] = []object{
		{"required": []string{"hours"}, "properties": object{"weekday": false, "saturday": false, "sunday": false}},
		{"required": []string{"weekday"}, "properties": object{"hours": false}},
	}
	return s
}

// kindSchema asks of a kind of target only its week.
func kindSchema() object {
	s := structSchema(reflect.TypeFor[Kind]())
	s["description"] = "what is assumed of a target of this kind whose own use is not given; a figure left out plays no part"
	s["required"] = []string{"week"}
	return s
}
