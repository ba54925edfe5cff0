package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const module = "github.com/underbough/underbough/"

// The rooms each room may import, by the beginning of their paths; a longer
// beginning goes before a shorter one.
var arrows = map[string][]string{
	"geo":                {"geo"},
	"inventory":          {"geo", "inventory"},
	"inventory/postgres": {"geo", "inventory", "inventory/postgres", "migrations"},
	"importers":          {"geo", "inventory", "importers"},
	"api":                {"geo", "inventory", "api"},
	"migrations":         {},
	"cmd":                {"geo", "inventory", "inventory/postgres", "importers", "api", "cmd", "migrations"},
}

// pure rooms take values and return values; importers read what they are given.
var pure = []string{"geo", "inventory", "importers"}

// outside is what reaches out of a program, or is another value each time.
var outside = []string{"os", "net", "database/sql", "math/rand", "crypto/rand", "syscall", "io/ioutil", "golang.org/x/sys"}

// clock are the functions of package time that read or wait for the clock.
var clock = []string{"Now", "Since", "Until", "After", "AfterFunc", "Sleep", "Tick", "NewTicker", "NewTimer"}

var topLevel = []string{
	"geo", "inventory", "importers", "api", "cmd", "migrations", // rooms
	"README.md", "DEVELOPERS.md", "LICENSE", "Makefile", "go.mod", "go.sum",
	".ci", ".git", ".gitignore", ".gitattributes", ".github", ".golangci.yml", "staticcheck.conf",
	"bin", ".data", // ignored by git
}

// within reports whether a path is below, or the same as, a folder.
func within(p, folder string) bool { return p == folder || strings.HasPrefix(p, folder+"/") }

func room(p string) string {
	best := ""
	for name := range arrows {
		if within(p, name) && len(name) > len(best) {
			best = name
		}
	}
	return best
}

// violations reports what a file of the package in folder (slashes, from the
// root) imports or calls against the rules.
func violations(folder, name string, file *ast.File) []string {
	var out []string
	from, test := room(folder), strings.HasSuffix(name, "_test.go")
	report := func(format string, args ...any) {
		out = append(out, path.Join(folder, name)+": "+fmt.Sprintf(format, args...))
	}
	if from == "" {
		report("the folder is no room")
		return out
	}
	isPure := slices.Contains(pure, from)
	timeName := ""
	for _, spec := range file.Imports {
		p, err := strconv.Unquote(spec.Path.Value)
		if err != nil {
			report("%v", err)
			continue
		}
		if p == "time" {
			timeName = "time"
			if spec.Name != nil {
				timeName = spec.Name.Name
			}
		}
		if within(p, "github.com/jackc/pgx") || within(p, "github.com/jackc/pgx/v5") {
			if from != "inventory/postgres" && from != "cmd" {
				report("imports %s: only inventory/postgres and cmd may", p)
			}
		}
		if test {
			continue // tests may need more: a real database, a file, a seed
		}
		if own, ok := strings.CutPrefix(p, module); ok && !slices.Contains(arrows[from], room(own)) {
			report("imports %s against the arrows", own)
		}
		for _, o := range outside {
			if isPure && within(p, o) {
				report("imports %s, which reaches outside", p)
			}
		}
	}
	if !isPure || test || timeName == "" {
		return out
	}
	if timeName == "." {
		report("imports time under no name, which hides the clock")
	}
	ast.Inspect(file, func(n ast.Node) bool {
		if s, ok := n.(*ast.SelectorExpr); ok {
			if x, ok := s.X.(*ast.Ident); ok && x.Name == timeName && slices.Contains(clock, s.Sel.Name) {
				report("uses time.%s: take the time as an argument", s.Sel.Name)
			}
		}
		return true
	})
	return out
}

// The files are read here and not by a child process, so that the test cache
// knows of them.
func TestArrows(t *testing.T) {
	root := filepath.Join("..", "..")
	seen := make(map[string]int)
	err := filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, p)
		if err != nil {
			return err
		}
		rel = filepath.ToSlash(rel)
		if d.IsDir() {
			if name := d.Name(); rel != "." && (strings.HasPrefix(name, ".") || name == "node_modules" || name == "testdata" || rel == "bin") {
				return fs.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(rel, ".go") {
			return nil
		}
		file, err := parser.ParseFile(token.NewFileSet(), p, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		seen[room(path.Dir(rel))]++
		for _, v := range violations(path.Dir(rel), path.Base(rel), file) {
			t.Error(v)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for name := range arrows {
		if seen[name] == 0 {
			t.Errorf("no file of room %s was looked at", name)
		}
	}
}

func TestTopLevel(t *testing.T) {
	entries, err := os.ReadDir(filepath.Join("..", ".."))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !slices.Contains(topLevel, e.Name()) {
			t.Errorf("%s at the top is no room and not on the list", e.Name())
		}
	}
}

// TestViolations plants what must be found, and what must not.
func TestViolations(t *testing.T) {
	for _, c := range []struct{ name, file, imports, body, want string }{
		{"geo upwards", "geo/a.go", module + "inventory", "", "against the arrows"},
		{"inventory upwards", "inventory/risk/a.go", module + "importers", "", "against the arrows"},
		{"inventory into its store", "inventory/question/a.go", module + "inventory/postgres", "", "against the arrows"},
		{"importers sideways", "importers/a.go", module + "api", "", "against the arrows"},
		{"importers into the store", "importers/csv/a.go", module + "inventory/postgres", "", "against the arrows"},
		{"api sideways", "api/a.go", module + "importers", "", "against the arrows"},
		{"the store into the api", "inventory/postgres/a.go", module + "api", "", "against the arrows"},
		{"migrations", "migrations/a.go", module + "inventory", "", "against the arrows"},
		{"the api's pgx", "api/a.go", "github.com/jackc/pgx/v5", "", "only inventory/postgres and cmd"},
		{"a test's pgx", "importers/a_test.go", "github.com/jackc/pgx/v5/pgconn", "", "only inventory/postgres and cmd"},
		{"files", "geo/a.go", "os", "", "reaches outside"},
		{"processes", "inventory/a.go", "os/exec", "", "reaches outside"},
		{"the network", "importers/geojson/a.go", "net/http", "", "reaches outside"},
		{"a database", "inventory/exposure/a.go", "database/sql/driver", "", "reaches outside"},
		{"chance", "inventory/ranking/a.go", "math/rand/v2", "", "reaches outside"},
		{"real chance", "inventory/ranking/a.go", "crypto/rand", "", "reaches outside"},
		{"the clock", "inventory/a.go", "time", "var now = time.Now()", "uses time.Now"},
		{"the clock as a value", "inventory/a.go", "time", "var now = time.Now", "uses time.Now"},
		{"the clock renamed", "geo/a.go", "time as clock", "var now = clock.Now()", "uses time.Now"},
		{"waiting", "importers/a.go", "time", "func f() { time.Sleep(1) }", "uses time.Sleep"},
		{"an unknown room", "helpers/a.go", "fmt", "", "no room"},
		{"a room that begins alike", "geography/a.go", "fmt", "", "no room"},

		{"dates", "inventory/a.go", "time", "var d = time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC)", ""},
		{"downwards", "importers/a.go", module + "inventory/profile", "", ""},
		{"readers", "importers/a.go", "io", "", ""},
		{"the store's pgx", "inventory/postgres/cluster/a.go", "github.com/jackc/pgx/v5", "", ""},
		{"wiring", "cmd/underbough/a.go", module + "api", "var now = 1", ""},
		{"a test's database", "importers/a_test.go", module + "inventory/postgres/pgtest", "", ""},
		{"a name that begins alike", "geo/a.go", "github.com/x/os", "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			imported, as, _ := strings.Cut(c.imports, " as ")
			text := fmt.Sprintf("package a\nimport %s %q\n%s\n", as, imported, c.body)
			file, err := parser.ParseFile(token.NewFileSet(), c.file, text, parser.SkipObjectResolution)
			if err != nil {
				t.Fatal(err)
			}
			got := violations(path.Dir(c.file), path.Base(c.file), file)
			if c.want == "" && len(got) > 0 || c.want != "" && (len(got) != 1 || !strings.Contains(got[0], c.want)) {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}
