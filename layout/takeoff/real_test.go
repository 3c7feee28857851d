package takeoff_test

import (
	"context"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer/assemble"
	"lotwright/layout"
	"lotwright/layout/design"
	"lotwright/layout/takeoff"
)

// realDesigns are designs of every eighth of the surveyed lots, made with little
// effort.
func realDesigns(t testing.TB) (out []*layout.Design) {
	ctx := context.Background()
	batch, err := assemble.Open(ctx, []assemble.Input{{Path: "../../testdata/reference/lots_A.geojson"}}, assemble.Options{})
	require.NoError(t, err)
	defer batch.Close()
	head := layout.PSI(55)
	for i := 0; i < batch.Len(); i += 8 {
		lot := batch.Lot(i).Lot
		require.NotNil(t, lot)
		d, err := design.Run(ctx, lot, design.Settings{Supply: layout.Supply{HeadPressure: &head},
			Effort: design.Effort{Moves: 200, PolishSteps: 20, Boxes: -1}})
		require.NoError(t, err)
		out = append(out, d)
	}
	return out
}

// TestTraced follows every line of real designs back to what it comes from.
func TestTraced(t *testing.T) {
	for _, d := range realDesigns(t) {
		if len(d.Heads) == 0 {
			continue
		}
		known := map[string]bool{"POC": true}
		heads := make(map[string]int)
		for _, h := range d.Heads {
			known[h.Label] = true
			known[fmt.Sprintf("Z%d", h.Zone)] = true
			heads[h.Model]++
		}
		for _, p := range d.Network.Pipes {
			known[p.Label], known[p.From], known[p.To] = true, true, true
		}
		for _, r := range d.Network.Runs {
			known[r.From+"–"+r.To] = true
		}
		list, err := takeoff.Of(d, takeoff.Settings{})
		require.NoError(t, err)
		dug, models := 0.0, 0
		for _, l := range list.Lines {
			require.NotEmpty(t, l.Features, "%s: %s", d.LotID, l.Item)
			require.Positive(t, int64(l.Quantity), "%s: %s %s", d.LotID, l.Item, l.Size)
			for _, f := range l.Features {
				require.True(t, known[f], "%s: %s comes from %s", d.LotID, l.Item, f)
			}
			switch l.Item {
			case takeoff.Trench:
				dug += l.Quantity.Units()
			case takeoff.Head:
				models++
				assert.Equal(t, heads[l.Size], int(l.Quantity/1000))
			}
		}
		assert.Len(t, heads, models)
		assert.InDelta(t, d.Network.TrenchLength.Metres(), dug, 0.0005*float64(len(d.Network.Runs)))
		pipe := 0.0
		for _, p := range list.Pieces {
			pipe += float64(p.MM) / 1000
		}
		assert.InDelta(t, d.Network.PipeLength.Metres(), pipe, 0.002*float64(len(list.Pieces)))
		checkCuts(t, list)
	}
}

// BenchmarkOf takes off a real lot.
func BenchmarkOf(b *testing.B) {
	designs := realDesigns(b)
	for i := 0; b.Loop(); i++ {
		_, err := takeoff.Of(designs[i%len(designs)], takeoff.Settings{})
		require.NoError(b, err)
	}
}
