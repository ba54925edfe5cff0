package profile_test

import (
	"bytes"
	"strconv"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"github.com/underbough/underbough/inventory/profile"
)

// compiled checks the schema itself against the draft's own schema on the way.
func compiled(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(profile.Schema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("profile.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("profile.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func validate(t *testing.T, s *jsonschema.Schema, text string) error {
	t.Helper()
	b, err := yaml.YAMLToJSON([]byte(text))
	if err != nil {
		t.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	return s.Validate(doc)
}

func TestBuiltinProfilesKeepToTheSchema(t *testing.T) {
	s := compiled(t)
	for _, name := range profile.BuiltinNames {
		text, _ := profile.Builtin(name)
		if err := validate(t, s, string(text)); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if !bytes.Equal(profile.Schema(), profile.Schema()) {
		t.Error("two schemas differ")
	}
}

// What the schema refuses is refused by the reader too, and the schema names the
// place.
func TestSchemaRefuses(t *testing.T) {
	s := compiled(t)
	good := string(profile.DefaultText())
	for _, c := range []struct{ name, old, new, want string }{
		{"unknown field", "sizing:\n", "sizing:\n  crown: 3\n", "/sizing"},
		{"no source", `{value: 1.2, source: "FHWA-RD-98-107, design of walking facilities"}`, "{value: 1.2}", "/targets/walking_speed_mps"},
		{"below zero", "{value: 25,", "{value: -25,", "/mechanics/gust_mps/value"},
		{"not a number", "{value: 25,", "{value: wide,", "/mechanics/gust_mps/value"},
		{"short day", "    weekday: [1, 1,", "    weekday: [1,", "/weeks/even/weekday"},
		{"two forms of a week", "    source: assumption\n    weekday: [1", "    source: assumption\n    hours: [1" + strings.Repeat(", 1", 167) + "]\n    weekday: [1", "/weeks/even"},
		{"missing kind", "    other:\n      week: even\n", "", "/targets/kinds"},
		{"no week of a kind", "    other:\n      week: even\n", "    other: {sheltered: true}\n", "/targets/kinds/other"},
		{"season", "  season: year", "  season: winter", "/calendar/season"},
		{"method", "  method: matrices", "  method: dice", "/rating/method"},
		{"version", "version: 1", "version: 0", "/version"},
		{"date", "from: 07-05", "from: July", "/calendar/exceptions/0/from"},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := strings.Replace(good, c.old, c.new, 1)
			if text == good {
				t.Fatal("the change did not apply")
			}
			if err := validate(t, s, text); err == nil || !strings.Contains(err.Error(), "'"+c.want+"'") {
				t.Errorf("got %v, expected it to name %s", err, c.want)
			}
			if _, err := profile.Parse([]byte(text)); err == nil {
				t.Error("the reader takes it")
			}
		})
	}
}

func TestErrorsNameTheLine(t *testing.T) {
	good := string(profile.DefaultText())
	for _, c := range []struct{ name, old, new, at, want string }{
		{"unknown week", "week: playground", "week: park", "week: park", "targets.kinds.playground.week"},
		{"no source", "reconfiguration: {value: 0, source: \"Cullen 2005: force with speed squared is right for trees\"}", "reconfiguration: {value: 0}", "reconfiguration: {value: 0}", "mechanics.reconfiguration"},
		{"field that is not there", "  property: {value: 0.02, source: \"assumption: one vehicle struck weighs as much as this many persons\"}\n", "", "weights:", "weights.property is missing"},
		{"limits the wrong way round", "caution_cut_m: {value: 0.1,", "caution_cut_m: {value: 0.3,", "caution_cut_m: {value: 0.3,", "screening.caution_cut_m"},
		{"deep", "imminent: {value: 4, source", "imminent: {value: 9, source", "imminent: {value: 9, source", "rating.points.failure.imminent"},
		{"a name with spaces", "{name: summer holidays, from: 07-05, to: 08-20, weeks: [school], factor: 0.1", "{name: summer holidays, from: 07-05, to: 08-20, weeks: [skool], factor: 0.1", "name: summer holidays", "no week named \"skool\""},
		{"a short week", "    weekday: [1, 1,", "    weekday: [1,", "weekday: [1, 1,", "weeks.even"},
		{"syntax", "  struck:\n", "  struck\n", "  struck\n", "struck"},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := strings.Replace(good, c.old, c.new, 1)
			if text == good {
				t.Fatal("the change did not apply")
			}
			line := 1 + strings.Count(text[:strings.Index(text, c.at)], "\n")
			_, err := profile.Parse([]byte(text))
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Fatalf("got %v, expected it to name %q", err, c.want)
			}
			if got := err.Error(); !strings.Contains(got, "line "+strconv.Itoa(line)+":") && !strings.Contains(got, "["+strconv.Itoa(line)+":") {
				t.Errorf("line %d is not named: %s", line, got)
			}
		})
	}
}
