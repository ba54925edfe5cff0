package importers_test

import (
	"compress/gzip"
	"strings"
	"testing"
)

// packed is text under gzip, by the standard library rather than the package
// that the importer unpacks with.
func packed(t testing.TB, text string) string {
	t.Helper()
	var b strings.Builder
	z := gzip.NewWriter(&b)
	if _, err := z.Write([]byte(text)); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}
