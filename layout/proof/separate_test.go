package proof_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A check is worth the more the less it shares with what it checks: of this
// module the package may import the nouns alone, and of the kernel it may use
// the types alone.
var (
	mayImport = []string{"lotwright/layout", "lotwright/layout/geom"}
	mayUse    = []string{"Point", "Segment", "Region", "MaxCoord"}
	// Methods of the kernel's types that decide or measure something.
	computes = []string{"Cross", "Dot", "Norm2", "Within", "WithinOf", "NearerThan", "EdgeNearerThan", "NearestEdge", "Nearest", "Touches",
		"Crosses", "Has", "Locate", "Area2", "AreaM2", "DistanceMM", "LengthMM", "Edges", "Rings", "Bounds", "Overlaps", "Compare"}
)

func TestSharesNoGeometry(t *testing.T) {
	files, err := os.ReadDir(".")
	require.NoError(t, err)
	parsed := 0
	for _, f := range files {
		if !strings.HasSuffix(f.Name(), ".go") || strings.HasSuffix(f.Name(), "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), f.Name(), nil, 0)
		require.NoError(t, err)
		assert.Empty(t, shared(file), f.Name())
		parsed++
	}
	assert.Greater(t, parsed, 5)
}

func TestSharedGeometryIsCaught(t *testing.T) {
	for _, body := range []string{
		`import _ "lotwright/layout/certify"`,
		`import "lotwright/layout/geom"; var _ = geom.Union(nil)`,
		`import "lotwright/layout/geom"; func f(g geom.Region) bool { return g.Has(geom.Point{}) }`,
	} {
		file, err := parser.ParseFile(token.NewFileSet(), "", "package x; "+body, 0)
		require.NoError(t, err)
		assert.Len(t, shared(file), 1, body)
	}
}

// shared lists what a file uses beyond what it may.
func shared(file *ast.File) (found []string) {
	for _, i := range file.Imports {
		name := strings.Trim(i.Path.Value, `"`)
		if strings.HasPrefix(name, "lotwright/") && !slices.Contains(mayImport, name) {
			found = append(found, name)
		}
	}
	ast.Inspect(file, func(n ast.Node) bool {
		s, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		switch of, isName := s.X.(*ast.Ident); {
		case isName && of.Name == "geom":
			if !slices.Contains(mayUse, s.Sel.Name) {
				found = append(found, "geom."+s.Sel.Name)
			}
		case isName && (of.Name == "cmp" || of.Name == "slices"): // the standard library's
		case slices.Contains(computes, s.Sel.Name):
			found = append(found, s.Sel.Name)
		}
		return true
	})
	return found
}
