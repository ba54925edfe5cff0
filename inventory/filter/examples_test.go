package filter_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory/filter"
)

// examples is the folder of the standard's own examples (OGC 21-065r2,
// cql2/standard/schema/examples), beside the repository.
const examples = "../../../shared/data/cql2/examples"

func exampleFiles(t testing.TB, kind string) []string {
	t.Helper()
	if _, err := os.Stat(examples); err != nil {
		t.Skipf("the standard's examples are not here: %v", err)
	}
	files, err := filepath.Glob(filepath.Join(examples, kind, "*"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no examples in %s/%s (%v)", examples, kind, err)
	}
	return files
}

func read(t testing.TB, file string) []byte {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Every example of the standard is read, and both encodings of one say the same.
func TestStandardsExamples(t *testing.T) {
	texts, both := exampleFiles(t, "text"), 0
	for _, file := range texts {
		stem := strings.TrimSuffix(filepath.Base(file), ".txt")
		t.Run(stem, func(t *testing.T) {
			e, err := filter.ParseText(string(read(t, file)))
			if err != nil {
				t.Fatal(err)
			}
			roundTrip(t, e)
			twin := filepath.Join(examples, "json", stem+".json")
			if b, err := os.ReadFile(twin); err == nil {
				both++
				j, err := filter.ParseJSON(b)
				if err != nil {
					t.Fatal(err)
				}
				if !filter.Equal(e, j) {
					t.Errorf("text and JSON differ:\n%s\n%s", filter.JSON(e), filter.JSON(j))
				}
			}
			// Another spelling of an example, such as example36-alt01.
			if base, _, ok := strings.Cut(stem, "-alt"); ok {
				other, err := filter.ParseText(string(read(t, filepath.Join(examples, "text", base+".txt"))))
				if err != nil {
					t.Fatal(err)
				}
				if !filter.Equal(e, other) {
					t.Errorf("differs from %s:\n%s\n%s", base, filter.JSON(e), filter.JSON(other))
				}
			}
		})
	}
	json := exampleFiles(t, "json")
	for _, file := range json {
		e, err := filter.ParseJSON(read(t, file))
		if err != nil {
			t.Errorf("%s: %v", filepath.Base(file), err)
			continue
		}
		roundTrip(t, e)
	}
	if len(texts) != 120 || len(json) != 109 || both != 109 {
		t.Errorf("%d texts, %d JSON, %d in both: expected 120, 109 and 109", len(texts), len(json), both)
	}
}

// roundTrip prints a tree in both encodings and reads it back.
func roundTrip(t testing.TB, e filter.Expr) {
	t.Helper()
	text := filter.Text(e)
	back, err := filter.ParseText(text)
	if err != nil {
		t.Fatalf("%s: %v\nof %s", text, err, filter.JSON(e))
	}
	if !filter.Equal(e, back) {
		t.Fatalf("%s is read back as\n%s, not as\n%s", text, filter.JSON(back), filter.JSON(e))
	}
	json := filter.JSON(e)
	if back, err = filter.ParseJSON(json); err != nil {
		t.Fatalf("%s: %v", json, err)
	}
	if !filter.Equal(e, back) {
		t.Fatalf("%s is read back as\n%s", json, filter.JSON(back))
	}
}
