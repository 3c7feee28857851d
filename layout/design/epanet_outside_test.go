//go:build outside

package design_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer/assemble"
	"lotwright/layout"
	"lotwright/layout/design"
)

// epanetModule is the package that carries EPANET 2.3 for Node, and its version.
const epanetModule = "epanet-js@0.9.0"

// TestDesignsInEPANET designs every surveyed lot on three supplies, and its rotors
// on one, and lets EPANET solve the network file of each: pressures at the heads
// that run and flows in the pipe to them must be those of the design.
func TestDesignsInEPANET(t *testing.T) {
	type drawn struct {
		design *layout.Design
		name   string
	}
	var all []drawn
	files := map[string][]byte{}
	for i, s := range epanetSupplies() {
		for _, lot := range surveyed(t) {
			if s.Family != nil && lot.Parcel.AreaM2() > smallLotM2 {
				continue
			}
			d := run(t, lot, s)
			if d.Water == nil || d.Water.EPANET == nil {
				continue
			}
			name := fmt.Sprintf("%s-%d.inp", lot.ID, i)
			files[name] = d.Water.EPANET
			all = append(all, drawn{d, name})
		}
	}
	require.GreaterOrEqual(t, len(all), 200)
	mixes := 0
	for i, s := range []design.Settings{measured(75, 10, 62), measured(58, 10, 50)} {
		rotor, lot := layout.GenericRotor(), passage()
		s.Family, s.Effort.SectorMoves = &rotor, 20_000
		lot.HeadWishes = []layout.HeadWish{{Heads: "spray", Ground: rect(0, 14, 2.4, 26)}}
		if d := run(t, lot, s); len(d.Areas) == 2 && d.Water != nil && d.Water.EPANET != nil {
			mixes++
			name := fmt.Sprintf("mixed-%d.inp", i)
			files[name], all = d.Water.EPANET, append(all, drawn{d, name})
		}
	}
	assert.Equal(t, 2, mixes)
	answers := solveByEPANET(t, files)
	worst, where := 0.0, ""
	for _, one := range all {
		if off, at := againstEPANET(t, one.design, answers[one.name]); off > worst {
			worst, where = off, one.name+" "+at
		}
	}
	t.Logf("%d designs, worst relative difference %.2g (%s)", len(all), worst, where)
	assert.Less(t, worst, 1e-5, where)
}

// epanetSupplies are a rich, a middling and a poor supply, and one for rotors.
func epanetSupplies() []design.Settings {
	rotor := layout.GenericRotor()
	out := []design.Settings{measured(80, 14, 65), measured(70, 10, 55), measured(62, 9, 52), measured(75, 10, 62)}
	for i := range out {
		out[i].Effort = design.Effort{Moves: 200, PolishSteps: 10, CoverPivots: -1, CoverNodes: -1, Boxes: -1}
	}
	out[3].Family, out[3].Effort.SectorMoves = &rotor, 5_000
	return out
}

func surveyed(t *testing.T) (lots []*layout.Lot) {
	batch, err := assemble.Open(context.Background(), []assemble.Input{{Path: "../../testdata/reference/lots_A.geojson"}}, assemble.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { _ = batch.Close() })
	for i := range batch.Len() {
		lots = append(lots, batch.Lot(i).Lot)
	}
	return lots
}

type epanetAnswer struct {
	Error string
	Nodes map[string]struct{ Head, Outflow float64 }
	Links map[string]struct{ Flow float64 }
}

// solveByEPANET solves network files under Node.
func solveByEPANET(t *testing.T, files map[string][]byte) map[string]epanetAnswer {
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
	script, err := os.ReadFile("../../testdata/reference/epanet/solve.mjs")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "solve.mjs"), script, 0o600))
	require.NoError(t, os.Mkdir(filepath.Join(dir, "in"), 0o700))
	for name, text := range files {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "in", name), text, 0o600))
	}
	var printed struct{ Answers map[string]epanetAnswer }
	require.NoError(t, json.Unmarshal(command("node", "solve.mjs", "in"), &printed))
	return printed.Answers
}

// againstEPANET returns the largest relative difference between a design and
// EPANET's answer for the zone of the head that gets the least. The surveyed lots
// have no heights, so head is pressure.
func againstEPANET(t *testing.T, d *layout.Design, e epanetAnswer) (worst float64, where string) {
	require.Empty(t, e.Error, d.LotID)
	off := func(what string, got, want float64) {
		if r := math.Abs(got-want) / math.Abs(want); r > worst || math.IsNaN(r) {
			worst, where = r, fmt.Sprintf("%s is %v and EPANET's %v", what, got, want)
		}
	}
	zone := 0
	for _, h := range d.Heads {
		if h.Label == d.Water.BudgetHead {
			zone = h.Zone
		}
	}
	for _, h := range d.Heads {
		if _, top := headBand(h); h.Zone != zone || h.Pressure >= top {
			continue
		}
		node, ok := e.Nodes[h.Label]
		require.True(t, ok, "%s %s", d.LotID, h.Label)
		off("pressure at "+h.Label, h.Pressure.KPa()/layout.KPaPerMetreHead, node.Head)
		off("flow of "+h.Label, h.Flow.LPM()/60, node.Outflow)
	}
	for _, p := range d.Network.Pipes {
		if p.Zone == zone && d.HeadKind == layout.FixedArc {
			link, ok := e.Links[p.Label]
			require.True(t, ok, "%s %s", d.LotID, p.Label)
			off("flow in "+p.Label, p.Flow.LPM()/60, math.Abs(link.Flow))
		}
	}
	return worst, where
}

func headBand(h layout.Head) (low, high layout.Pressure) {
	for _, f := range layout.GenericFixedArc() {
		if f.Name == h.Family {
			return f.Nozzles[0].Band()
		}
	}
	return layout.GenericVariableThrow().Band()
}
