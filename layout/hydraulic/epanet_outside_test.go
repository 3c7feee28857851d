//go:build outside

package hydraulic_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/hydraulic"
)

var update = flag.Bool("update", false, "write the networks and EPANET's answers to testdata")

// epanetModule is the package that carries EPANET 2.3 for Node, and its version.
const epanetModule = "epanet-js@0.9.0"

// epanet solves input files with EPANET itself, under Node.
func epanet(t *testing.T, files map[string][]byte) (a epanetAnswers, printed []byte) {
	dir := t.TempDir()
	command := func(name string, args ...string) []byte {
		cmd := exec.CommandContext(t.Context(), name, args...)
		cmd.Dir = dir
		out, err := cmd.Output()
		require.NoError(t, err, "%s %v", name, args)
		return out
	}
	require.NoError(t, os.WriteFile(filepath.Join(dir, "package.json"), []byte(`{"private":true}`), 0o600))
	command("npm", "install", "--silent", "--no-audit", "--no-fund", epanetModule)
	script, err := os.ReadFile(filepath.Join(referenceDir, "solve.mjs"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "solve.mjs"), script, 0o600))
	require.NoError(t, os.Mkdir(filepath.Join(dir, "in"), 0o700))
	for name, text := range files {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "in", name), text, 0o600))
	}
	printed = command("node", "solve.mjs", "in")
	require.NoError(t, json.Unmarshal(printed, &a))
	return a, printed
}

// TestEPANETAgrees compares flows and heads of 400 random networks, and of 50
// by Darcy–Weisbach, with EPANET's.
func TestEPANETAgrees(t *testing.T) {
	files, networks := map[string][]byte{}, map[string]hydraulic.Network{}
	for seed := uint64(0); len(files) < 450 && seed < 10000; seed++ {
		n := referenceNetwork(seed)
		if len(files) >= 400 {
			n.Formula = hydraulic.DarcyWeisbach
		}
		r := solve(t, n)
		if !works(n, r) {
			continue
		}
		text, err := hydraulic.INP(fmt.Sprint("seed ", seed), n, r)
		require.NoError(t, err)
		name := fmt.Sprintf("%04d.inp", seed)
		files[name], networks[name] = text, n
	}
	require.Len(t, files, 450)
	answers, _ := epanet(t, files)
	var worst, worstDW float64
	for name, n := range networks {
		off, where := answers.compare(t, name, n, solve(t, n))
		if n.Formula == hydraulic.DarcyWeisbach {
			assert.Less(t, off, 0.02, "EPANET takes Swamee and Jain's factor: %s", where)
			worstDW = max(worstDW, off)
		} else {
			assert.Less(t, off, 1e-5, where)
			worst = max(worst, off)
		}
	}
	t.Logf("EPANET %d, %d networks: worst relative difference %.2g, by Darcy–Weisbach %.2g", answers.Engine, len(networks), worst, worstDW)
}

// TestStoredEPANETAnswersAreEPANETs recomputes what is kept in testdata; with
// -update it writes it.
func TestStoredEPANETAnswersAreEPANETs(t *testing.T) {
	files := map[string][]byte{}
	for name, n := range references(t) {
		files[name] = []byte(inp(t, name, n))
		if *update {
			require.NoError(t, os.WriteFile(filepath.Join(referenceDir, name), files[name], 0o644))
		}
	}
	answers, printed := epanet(t, files)
	path := filepath.Join(referenceDir, "answers.json")
	if *update {
		require.NoError(t, os.WriteFile(path, printed, 0o644))
	}
	stored, err := os.ReadFile(path)
	require.NoError(t, err)
	var want epanetAnswers
	require.NoError(t, json.Unmarshal(stored, &want))
	require.Equal(t, want, answers)
}
