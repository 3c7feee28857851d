package imports_test

import (
	"bytes"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// topLevel is what may lie at the root: four source folders, the test data,
// the module, the two documents, the licence, and dot-files.
var topLevel = regexp.MustCompile(`^(proto|server|layout|importer|testdata|go\.mod|go\.sum|README\.md|DEVELOPERS\.md|buf\.yaml|LICENSE.*|NOTICE|\..*)$`)

// untracked is what builds and runs leave there (.gitignore).
var untracked = regexp.MustCompile(`^(out|lotwright|.*\.test|.*\.prof)$`)

// machinePath finds paths of one developer's machine. The classes keep the
// expression from finding itself.
var machinePath = regexp.MustCompile(`[/]work/|[/]farm/|[.]{2}/shared/|[/]home/[a-z]|[/]Users/[A-Za-z]`)

func TestTopLevel(t *testing.T) {
	assert.Empty(t, strangers(t, moduleRoot(t)))
}

func TestStrangerIsCaught(t *testing.T) {
	root := t.TempDir()
	for _, name := range []string{"README.md", ".ci", "Makefile", "out"} {
		require.NoError(t, os.WriteFile(filepath.Join(root, name), nil, 0o666))
	}
	assert.Equal(t, []string{"Makefile"}, strangers(t, root))
}

func strangers(t *testing.T, root string) (found []string) {
	entries, err := os.ReadDir(root)
	require.NoError(t, err)
	for _, e := range entries {
		if !topLevel.MatchString(e.Name()) && !untracked.MatchString(e.Name()) {
			found = append(found, e.Name())
		}
	}
	return found
}

// TestNoMachinePaths keeps the project free of places that only exist where it
// was written; .ci/run may look for data beside the checkout.
func TestNoMachinePaths(t *testing.T) {
	assert.Empty(t, machinePaths(t, moduleRoot(t), ".ci/run"))
}

func TestMachinePathIsCaught(t *testing.T) {
	root := t.TempDir()
	text := "see /" + "work/main for more\n"
	require.NoError(t, os.WriteFile(filepath.Join(root, "a.md"), []byte(text), 0o666))
	require.NoError(t, os.WriteFile(filepath.Join(root, "run"), []byte(text), 0o666))
	assert.Equal(t, []string{"a.md: /" + "work/"}, machinePaths(t, root, "run"))
}

func machinePaths(t *testing.T, root string, exempt ...string) (found []string) {
	err := filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name, err := filepath.Rel(root, file)
		if err != nil {
			return err
		}
		name = filepath.ToSlash(name)
		switch {
		case name == ".git" && !d.IsDir():
			return nil
		case d.IsDir() && (name == ".git" || d.Name() == "node_modules" || untracked.MatchString(name)):
			return filepath.SkipDir
		case !d.Type().IsRegular() || untracked.MatchString(name) || slices.Contains(exempt, name):
			return nil
		}
		text, err := os.ReadFile(file)
		if err != nil || bytes.IndexByte(text, 0) >= 0 {
			return err
		}
		if hit := machinePath.Find(text); hit != nil {
			found = append(found, name+": "+string(hit))
		}
		return nil
	})
	require.NoError(t, err)
	return found
}
