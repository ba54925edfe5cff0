package geojson_test

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/underbough/underbough/importers/geojson"
	"github.com/underbough/underbough/importers/source"
)

// read reads everything: the records, copied, and the error that ended it.
func read(r io.Reader, opts geojson.Options) ([]source.Raw, []source.Record, error) {
	s, err := geojson.New(r, opts)
	if err != nil {
		return nil, nil, err
	}
	var raws []source.Raw
	var recs []source.Record
	p := s.NewParser()
	for {
		raw, err := s.Next()
		if errors.Is(err, io.EOF) {
			return raws, recs, nil
		}
		if err != nil {
			return raws, recs, err
		}
		var rec source.Record
		p.Parse(raw, &rec)
		raws, recs = append(raws, raw), append(recs, rec)
	}
}

// outcome puts a reading into one line: each record's id, or the first problem.
func outcome(recs []source.Record, err error) string {
	var out []string
	for _, rec := range recs {
		switch {
		case rec.Problem != nil:
			out = append(out, "!"+rec.Problem.Error())
		case rec.GeometryProblem != nil:
			out = append(out, rec.ID.Text+"!"+rec.GeometryProblem.Error())
		default:
			out = append(out, fmt.Sprint(rec.ID.Text, rec.Geometry))
		}
	}
	if err != nil {
		out = append(out, "error: "+err.Error())
	}
	return strings.Join(out, "\n")
}

// sharedData returns a folder of the open data that lies beside the repository.
func sharedData(t *testing.T, name string) string {
	t.Helper()
	dir, err := filepath.Abs(".")
	for err == nil && dir != filepath.Dir(dir) {
		if _, missing := os.Stat(filepath.Join(dir, "go.mod")); missing == nil {
			break
		}
		dir = filepath.Dir(dir)
	}
	data := filepath.Join(dir, "..", "shared", "data", name)
	if _, err := os.Stat(data); err != nil {
		t.Skipf("the open data is not here: no ../shared/data/%s beside the repository", name)
	}
	return data
}

func feature(id string) string {
	return `{"type":"Feature","id":` + id + `,"geometry":{"type":"Point","coordinates":[1,2]},"properties":{"a":` + id + `}}`
}
