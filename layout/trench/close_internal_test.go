package trench

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// TestMergeClose: a tee 4 mm from a head becomes the head, and the ways on over
// the 4 mm are led to it; the tee beyond is numbered anew.
func TestMergeClose(t *testing.T) {
	run := func(from, to string, metres layout.Length, path ...geom.Point) layout.TrenchRun {
		return layout.TrenchRun{From: from, To: to, Surface: layout.SurfaceSoil, Length: metres, Path: path}
	}
	network := func(tree layout.Length) layout.Network {
		return layout.Network{SpanningTreeLength: tree, TrenchLength: 22.004, Runs: []layout.TrenchRun{
			run("POC", "T1", 10, geom.Pt(0, 0), geom.Pt(10_000, 0)),
			run("T1", "H1", 0.004, geom.Pt(10_000, 0), geom.Pt(10_000, 4)),
			run("T1", "T2", 7, geom.Pt(10_000, 0), geom.Pt(17_000, 0)),
			run("T2", "H2", 3, geom.Pt(17_000, 0), geom.Pt(20_000, 0)),
			run("T2", "H3", 2, geom.Pt(17_000, 0), geom.Pt(17_000, 2000)),
		}}
	}
	net := network(23)
	mergeClose(&net, []string{"T1", "T2"})
	assert.Equal(t, []layout.TrenchRun{
		run("POC", "H1", 10.004, geom.Pt(0, 0), geom.Pt(10_000, 0), geom.Pt(10_000, 4)),
		run("H1", "T1", 7.004, geom.Pt(10_000, 4), geom.Pt(10_000, 0), geom.Pt(17_000, 0)),
		run("T1", "H2", 3, geom.Pt(17_000, 0), geom.Pt(20_000, 0)),
		run("T1", "H3", 2, geom.Pt(17_000, 0), geom.Pt(17_000, 2000)),
	}, net.Runs)
	assert.InDelta(t, 22.008, net.TrenchLength.Metres(), 1e-9)

	kept := network(22.005)
	mergeClose(&kept, []string{"T1", "T2"})
	assert.Len(t, kept.Runs, 5, "it would be longer than the spanning tree")
}
