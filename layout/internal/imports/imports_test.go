// Package imports_test keeps the tree in the shape that DEVELOPERS.md draws:
// who may import whom, and what may lie at the top. It parses the files itself
// rather than asking the go command, so that the test cache notices a change.
package imports_test

import (
	"fmt"
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

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const module = "lotwright/"

// rule says what the packages that match may import. Patterns are paths within
// the module: "x/..." is x and all below, "x/*" one element below x.
type rule struct {
	packages string
	ours     []string // of this module
	outside  []string // of other modules; nil: any
}

var (
	kernels = []string{"layout/geom", "layout/graph", "layout/packing", "layout/setcover", "layout/cutting", "layout/paper"}
	nouns   = []string{"layout", "layout/geom", "layout/feature"}
	none    = []string{}
)

// rules is the table; the first match decides, and a package without a rule
// may import nothing of ours.
var rules = []rule{
	{"layout/geom", nil, []string{"github.com/peterstace/simplefeatures/..."}},
	{"layout/graph", nil, none},
	{"layout/packing", nil, none},
	{"layout/cutting", nil, none},
	{"layout/paper", nil, none},
	{"layout/setcover", []string{"layout/packing"}, none}, // its bounds are packing programs
	{"layout", []string{"layout/geom"}, none},
	{"layout/design", []string{"layout/..."}, none},
	{"layout/*", append([]string{"layout"}, kernels...), none},
	{"importer/assemble", append([]string{"importer/..."}, nouns...), nil},
	{"importer/asbuilt", append([]string{"importer", "importer/geojson", "importer/project"}, nouns...), nil},
	{"importer/join", append([]string{"importer", "importer/project"}, nouns...), nil}, // measures overlaps in a plane
	{"importer/geopackage", append([]string{"importer", "importer/table"}, nouns...), nil},
	{"importer/shapefile", append([]string{"importer", "importer/table"}, nouns...), nil},
	{"importer/...", append([]string{"importer"}, nouns...), nil},
	{"server/table", []string{"layout", "layout/takeoff"}, []string{"github.com/xuri/excelize/..."}},
	{"server/rpc", []string{"proto/...", "layout", "layout/feature", "server/access", "server/geopackage", "server/store"}, nil},
	{"server/access/...", []string{"server/store"}, nil},
	{"server/ogc", []string{"layout/feature", "importer/project", "server/store"}, nil},
	{"server/store", none, none},
	{"server/store/*", []string{"server/store"}, nil},
	{"server/queue", []string{"server/store"}, nil},
	{"server/sheet", []string{"layout", "layout/geom", "layout/paper", "layout/drawing", "layout/stakeout"}, nil},
	{"server/geopackage", []string{"layout/feature"}, nil},
	{"server/dxf", []string{"layout/feature", "importer/project"}, none},
	{"server/web", none, none},
	{"server/cli", []string{"..."}, nil},
	{"server/cmd/lotwright", []string{"server/cli"}, none},
}

// edge is one import of one file.
type edge struct {
	file, from, to string
}

func TestImportDirection(t *testing.T) {
	edges := readImports(t, moduleRoot(t))
	require.NotEmpty(t, edges)
	assert.Empty(t, faults(edges))
}

// TestPlantedImportsAreCaught proves that the table can fail: each case is a
// module with one forbidden import, and one line of the table it breaks.
func TestPlantedImportsAreCaught(t *testing.T) {
	planted := []struct{ from, imported string }{
		{"layout/sight", "lotwright/layout/trench"},      // stage to stage
		{"layout/sight", "lotwright/layout/design"},      // stage to the order of stages
		{"layout/sight", "lotwright/server/cli"},         // engineering to service
		{"layout", "lotwright/layout/feature"},           // nouns to a codec
		{"layout/graph", "lotwright/layout/geom"},        // kernel to kernel
		{"layout/setcover", "gonum.org/v1/gonum/mat"},    // kernel beyond the standard library
		{"layout/geom", "github.com/paulmach/orb"},       // the one kernel that may wrap a library, another library
		{"importer/geojson", "lotwright/importer/join"},  // format to join
		{"importer/assemble", "lotwright/layout/design"}, // importer must not design
		{"importer/asbuilt", "lotwright/layout/design"},  // nor hold what was built against a design
		{"server/rpc", "lotwright/importer/assemble"},    // rpc must not open files
		{"server/table", "lotwright/layout/design"},      // tables must not design
		{"server/sheet", "lotwright/layout/takeoff"},     // sheets get parts as tables
		{"server/web", "lotwright/server/rpc"},           // the page calls the service as any client does
		{"server/cmd/lotwright", "lotwright/layout"},     // main only starts the command line
		{"proto/lotwright/v1", "lotwright/layout"},       // proto knows nothing
		{"somewhere/new", "lotwright/layout"},            // no rule, nothing of ours
		{"server/rpc", "lotwright/server/store/sqlite"},  // rpc must not know where things are kept
		{"server/ogc", "lotwright/proto/lotwright/v1"},   // proto types stop at server/rpc
		{"server/store", "modernc.org/sqlite"},           // the promises, not who keeps them
		{"server/store/sqlite", "lotwright/layout"},      // stores keep bytes
		{"server/access", "lotwright/server/rpc"},        // who calls, not what is called
		{"server/queue", "lotwright/layout/design"},      // the queue is handed its work
		{"server/queue", "lotwright/server/store/sqlite"},
		{"server/cmd/lotwright", "lotwright/layout"}, // main only starts the command line
		{"proto/lotwright/v1", "lotwright/layout"},   // proto knows nothing
		{"somewhere/new", "lotwright/layout"},        // no rule, nothing of ours
	}
	for _, p := range planted {
		t.Run(p.from+" "+p.imported, func(t *testing.T) {
			root := t.TempDir()
			dir := filepath.Join(root, filepath.FromSlash(p.from))
			require.NoError(t, os.MkdirAll(dir, 0o777))
			source := fmt.Sprintf("package x\n\nimport _ %q\n", p.imported)
			require.NoError(t, os.WriteFile(filepath.Join(dir, "planted.go"), []byte(source), 0o666))
			found := faults(readImports(t, root))
			require.Len(t, found, 1)
			assert.Contains(t, found[0], "planted.go")
		})
	}
}

// readImports parses the imports of every shipped Go file under root. Tests
// are left out: they may use any package as a second opinion.
func readImports(t *testing.T, root string) []edge {
	var edges []edge
	err := filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && (file != root && skipped(d.Name()) || filepath.Dir(file) == root && untracked.MatchString(d.Name())):
			return filepath.SkipDir
		case d.IsDir() || !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go"):
			return nil
		}
		list, err := importsOf(root, file)
		edges = append(edges, list...)
		return err
	})
	require.NoError(t, err)
	return edges
}

// skipped reports the folders that the go command skips, and what npm installs.
func skipped(name string) bool {
	return name == "testdata" || name == "node_modules" || strings.HasPrefix(name, ".") || strings.HasPrefix(name, "_")
}

func importsOf(root, file string) ([]edge, error) {
	parsed, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ImportsOnly)
	if err != nil {
		return nil, err
	}
	name, err := filepath.Rel(root, file)
	if err != nil {
		return nil, err
	}
	name = filepath.ToSlash(name)
	var edges []edge
	for _, spec := range parsed.Imports {
		to, err := strconv.Unquote(spec.Path.Value)
		if err != nil {
			return nil, err
		}
		edges = append(edges, edge{file: name, from: path.Dir(name), to: to})
	}
	return edges, nil
}

// faults lists the edges that the table forbids.
func faults(edges []edge) []string {
	var out []string
	for _, e := range edges {
		if !allowed(e) {
			out = append(out, fmt.Sprintf("%s: %s must not import %s", e.file, e.from, e.to))
		}
	}
	return out
}

func allowed(e edge) bool {
	r := rule{}
	if i := slices.IndexFunc(rules, func(r rule) bool { return matches(r.packages, e.from) }); i >= 0 {
		r = rules[i]
	}
	ours, isOurs := strings.CutPrefix(e.to, module)
	switch {
	case isOurs:
		return matchesAny(r.ours, ours)
	case standard(e.to) || r.outside == nil:
		return true
	}
	return matchesAny(r.outside, e.to)
}

// standard reports whether a path is of the standard library: its first
// element has no dot.
func standard(importPath string) bool {
	first, _, _ := strings.Cut(importPath, "/")
	return !strings.Contains(first, ".")
}

func matchesAny(patterns []string, name string) bool {
	return slices.ContainsFunc(patterns, func(p string) bool { return matches(p, name) })
}

func matches(pattern, name string) bool {
	if pattern == "..." || pattern == name {
		return true
	}
	if below, ok := strings.CutSuffix(pattern, "/..."); ok {
		return name == below || strings.HasPrefix(name, below+"/")
	}
	if above, ok := strings.CutSuffix(pattern, "/*"); ok {
		return path.Dir(name) == above
	}
	return false
}

// moduleRoot is the folder of go.mod, found by walking up.
func moduleRoot(t *testing.T) string {
	dir, err := os.Getwd()
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		parent := filepath.Dir(dir)
		require.NotEqual(t, dir, parent, "no go.mod above the test")
		dir = parent
	}
}
