package main

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
	"github.com/underbough/underbough/inventory/profile"
)

// hamlet is a few streets of trees over a path and a lot, and a second site.
const hamlet = `
INSERT INTO sites (client_id, name) VALUES (1, 'Hamlet'), (1, 'Elsewhere');
INSERT INTO trees (client_id, site_id, tag, species, height_m, crown_radius_m, geometry)
SELECT 1, 1, 'H' || n, 'Tilia cordata', 8 + n % 9, 2 + n % 3, ST_SetSRID(ST_MakePoint(10.2 + n % 40 * 0.0003, 50.1 + n / 40 * 0.0004), 4326) FROM generate_series(0, 799) n;
INSERT INTO trees (client_id, site_id, tag, geometry) VALUES (1, 2, 'far', ST_SetSRID(ST_MakePoint(10.203, 50.103), 4326));
INSERT INTO targets (client_id, site_id, name, kind, people_per_hour, geometry) VALUES
 (1, 1, 'Path', 'walkway', 80, ST_GeomFromText('LINESTRING(10.2 50.1,10.212 50.108)', 4326)),
 (1, 1, 'Lot', 'parking', 5, ST_GeomFromText('POLYGON((10.202 50.102,10.203 50.102,10.203 50.103,10.202 50.103,10.202 50.102))', 4326));
`

// pmtilesTool is the tool of the format's authors, which judges the file.
func pmtilesTool(t *testing.T) string {
	t.Helper()
	for _, name := range []string{os.Getenv("UNDERBOUGH_PMTILES"), "pmtiles", "go-pmtiles"} {
		if name == "" {
			continue
		}
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	t.Skip("the tool pmtiles is not there: go install github.com/protomaps/go-pmtiles@v1.31.2 and name it in UNDERBOUGH_PMTILES")
	return ""
}

func TestTilesFile(t *testing.T) {
	url := pgtest.URL(t)
	pgtest.Exec(t, url, hamlet)
	file := filepath.Join(t.TempDir(), "hamlet.pmtiles")
	var stdout, stderr bytes.Buffer
	if err := run(t.Context(), []string{"tiles", "--database", url, "--site", "Hamlet", "--out", file, "--max-zoom", "17"}, &stdout, &stderr); err != nil {
		t.Fatal(err, stderr.String())
	}
	if !strings.HasPrefix(stdout.String(), file+": ") {
		t.Errorf("%q", stdout.String())
	}
	left, err := os.ReadDir(filepath.Dir(file))
	if err != nil || len(left) != 1 {
		t.Errorf("%d files beside it, %v", len(left), err)
	}
	t.Run("comes out the same again", func(t *testing.T) {
		again := filepath.Join(t.TempDir(), "again.pmtiles")
		if err := run(t.Context(), []string{"tiles", "--database", url, "--site", "Hamlet", "--out", again, "--max-zoom", "17"}, io.Discard, io.Discard); err != nil {
			t.Fatal(err)
		}
		a, errA := os.ReadFile(file)
		b, errB := os.ReadFile(again)
		if errA != nil || errB != nil || !bytes.Equal(a, b) {
			t.Errorf("other bytes, %v %v", errA, errB)
		}
	})
	t.Run("says what is wrong and leaves nothing", func(t *testing.T) {
		dir := t.TempDir()
		for _, args := range [][]string{
			{"--site", "Nowhere"}, {"--site", "Hamlet", "--max-zoom", "19"}, {"--site", "Hamlet", "--min-zoom", "9", "--max-zoom", "8"},
		} {
			err := run(t.Context(), append([]string{"tiles", "--database", url, "--out", filepath.Join(dir, "x.pmtiles")}, args...), io.Discard, io.Discard)
			if exitStatus(err) != 2 || err == nil {
				t.Errorf("%v: %v", args, err)
			}
		}
		ended, end := context.WithCancel(t.Context())
		end()
		if err := run(ended, []string{"tiles", "--database", url, "--site", "Hamlet", "--out", filepath.Join(dir, "x.pmtiles")}, io.Discard, io.Discard); err == nil {
			t.Error("written though it was ended")
		}
		if left, err := os.ReadDir(dir); err != nil || len(left) != 0 {
			t.Errorf("%v left, %v", left, err)
		}
	})
	t.Run("is read by the format's own tool, tile by tile as served", func(t *testing.T) {
		tool := pmtilesTool(t)
		if out, err := exec.Command(tool, "verify", file).CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		var head struct {
			MinZoom, MaxZoom int
			Bounds, Center   []float64
			Type             string `json:"tile_type"`
			Compression      string `json:"tile_compression"`
		}
		out, err := exec.Command(tool, "show", "--header-json", file).Output()
		if err != nil || json.Unmarshal(out, &head) != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		if head.MinZoom != 0 || head.MaxZoom != 17 || head.Type != "mvt" || head.Compression != "gzip" || len(head.Bounds) != 4 || head.Bounds[0] != 10.2 || head.Bounds[1] != 50.1 {
			t.Errorf("%+v", head)
		}
		var metadata struct {
			VectorLayers []struct{ ID string } `json:"vector_layers"`
		}
		out, err = exec.Command(tool, "show", "--metadata", file).Output()
		if err != nil || json.Unmarshal(out, &metadata) != nil || len(metadata.VectorLayers) != 4 {
			t.Errorf("%v\n%s", err, out)
		}
		db, err := postgres.Open(t.Context(), url)
		if err != nil {
			t.Fatal(err)
		}
		defer db.Close()
		web := httptest.NewServer(api.New(api.Config{Store: db, Client: 1, Profile: profile.Default(), Now: time.Now}).Handler())
		defer web.Close()
		served := func(z, row, column int) []byte {
			r, err := http.Get(web.URL + "/tiles/WebMercatorQuad/" + strconv.Itoa(z) + "/" + strconv.Itoa(row) + "/" + strconv.Itoa(column) + "?site=Hamlet")
			if err != nil {
				t.Fatal(err)
			}
			defer r.Body.Close()
			b, err := io.ReadAll(r.Body)
			if err != nil || r.StatusCode != 200 && r.StatusCode != 204 {
				t.Fatal(r.Status, err)
			}
			return b
		}
		compared := 0
		// The hamlet lies at 10.2 to 10.2117 east and 50.1 to 50.1077 north: the tiles
		// of each level that it touches, and those next to them.
		for z := 0; z <= 17; z++ {
			n := float64(int(1) << z)
			for x := max(0, int(0.528333*n)-1); x <= min(int(n)-1, int(0.528367*n)+1); x++ {
				for y := max(0, int(0.338677*n)-1); y <= min(int(n)-1, int(0.338713*n)+1); y++ {
					want := served(z, y, x)
					cmd := exec.Command(tool, "tile", file, strconv.Itoa(z), strconv.Itoa(x), strconv.Itoa(y))
					got, err := cmd.Output()
					if len(want) == 0 && (err != nil || len(got) == 0) {
						continue
					}
					if got = unzipped(t, got); !bytes.Equal(got, want) {
						t.Fatalf("%d/%d/%d: %d bytes in the file, %d served", z, x, y, len(got), len(want))
					}
					compared++
				}
			}
		}
		if compared < 60 {
			t.Errorf("only %d tiles compared", compared)
		}
	})
}

func unzipped(t *testing.T, b []byte) []byte {
	t.Helper()
	if len(b) == 0 {
		return nil
	}
	r, err := gzip.NewReader(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	out, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	return out
}
