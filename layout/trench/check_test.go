package trench_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// checkNetwork verifies what must hold of any network, by plain means: runs
// join up, lengths add up, the stretches are a tree rooted at the point of
// connection, every head is at the end of one stretch or listed as unreached,
// and no run leaves the lot or enters forbidden ground.
func checkNetwork(t *testing.T, lot *layout.Lot, heads []layout.Head, net layout.Network) {
	t.Helper()
	places := map[string]geom.Point{"POC": net.POC}
	into := map[string]string{}
	sum, paved := 0.0, 0.0
	for i, r := range net.Runs {
		require.GreaterOrEqual(t, len(r.Path), 2)
		require.Equal(t, len(r.Path), len(slices.Compact(slices.Clone(r.Path))), "repeated points")
		sum += r.Length.Metres()
		if r.Surface == layout.SurfacePaving {
			paved += r.Length.Metres()
		}
		// Points where the surface changes are rounded to the grid.
		assert.InDelta(t, r.Path.LengthMM(), r.Length.Metres()*1000, 2, "run %d", i)
		follows := i > 0 && net.Runs[i-1].From == r.From && net.Runs[i-1].To == r.To
		if follows {
			before := net.Runs[i-1]
			assert.Equal(t, before.Path[len(before.Path)-1], r.Path[0], "run %d joins the one before", i)
			assert.NotEqual(t, before.Surface, r.Surface, "run %d", i)
		} else {
			assertPlace(t, places, r.From, r.Path[0])
			_, twice := into[r.To]
			assert.False(t, twice, "two stretches lead to %s", r.To)
			into[r.To] = r.From
		}
		last := i+1 == len(net.Runs) || net.Runs[i+1].From != r.From || net.Runs[i+1].To != r.To
		if last {
			assertPlace(t, places, r.To, r.Path[len(r.Path)-1])
		}
		checkGround(t, lot, net.POC, r)
	}
	assert.InDelta(t, sum, net.TrenchLength.Metres(), 1e-9)
	assert.InDelta(t, paved, net.PavingCrossingLength.Metres(), 1e-9)
	assert.LessOrEqual(t, net.TrenchLength, net.SpanningTreeLength)
	assert.Equal(t, paved > 0, net.PavingCrossings > 0)
	for label := range into {
		assertLeadsHome(t, into, label)
	}
	checkTees(t, into)
	checkHeads(t, heads, net, places)
}

// assertPlace notes where a label is, and that it is nowhere else.
func assertPlace(t *testing.T, places map[string]geom.Point, label string, p geom.Point) {
	t.Helper()
	if at, ok := places[label]; ok {
		assert.Equal(t, at, p, "place of %s", label)
	}
	places[label] = p
}

func assertLeadsHome(t *testing.T, into map[string]string, label string) {
	t.Helper()
	for range len(into) + 1 {
		if label == "POC" {
			return
		}
		label = into[label]
	}
	assert.Fail(t, "no way home", label)
}

// checkTees wants tees T1 to Tn, each with at least two stretches going on.
func checkTees(t *testing.T, into map[string]string) {
	t.Helper()
	on, tees := map[string]int{}, 0
	for to, from := range into {
		on[from]++
		if to[0] == 'T' {
			tees++
		}
	}
	for i := range tees {
		assert.GreaterOrEqual(t, on[fmt.Sprintf("T%d", i+1)], 2, "T%d", i+1)
	}
}

func checkHeads(t *testing.T, heads []layout.Head, net layout.Network, places map[string]geom.Point) {
	t.Helper()
	ends := map[geom.Point]bool{}
	for _, p := range places {
		ends[p] = true
	}
	for i, h := range heads {
		unreached := slices.ContainsFunc(net.Unreached, func(n layout.Note) bool { return *n.At == h.At })
		assert.NotEqual(t, ends[h.At], unreached, "head %d is either reached or not", i)
	}
}

// checkGround walks a run in steps and asks where each step lies. It allows for
// the rounding of corners, and for the first way out of a tap that stands where
// nothing may be dug.
func checkGround(t *testing.T, lot *layout.Lot, poc geom.Point, r layout.TrenchRun) {
	t.Helper()
	if r.Surface == layout.SurfaceSleeve {
		return
	}
	const rounding = 2.0 // mm
	deep := func(g geom.Region, p geom.Point) bool {
		return g.Locate(p) == geom.Interior && g.DistanceMM(p) > rounding
	}
	closed := geom.Union(lot.Building, lot.Wall, lot.Water, lot.NoDig)
	wayOut := 0.0
	if open := geom.Difference(lot.Parcel, closed); !open.Has(poc) {
		wayOut = open.DistanceMM(poc) + rounding
	}
	paving := geom.Union(lot.Hardscape)
	for s := range r.Path.Edges() {
		steps := math.Ceil(s.LengthMM() / 40)
		for k := 0.0; k <= steps; k++ {
			p := s.A.Vec().Add(s.B.Sub(s.A).Vec().Scale(k / steps)).Round()
			if p.DistanceMM(poc) <= wayOut {
				continue
			}
			assert.False(t, deep(closed, p), "run %s-%s enters forbidden ground at %v", r.From, r.To, p)
			assert.True(t, lot.Parcel.Has(p) || lot.Parcel.DistanceMM(p) <= rounding, "run %s-%s leaves the lot at %v", r.From, r.To, p)
			onPaving := deep(paving, p)
			offPaving := !paving.Has(p) && paving.DistanceMM(p) > rounding
			assert.False(t, onPaving && r.Surface == layout.SurfaceSoil, "run %s-%s is under paving at %v", r.From, r.To, p)
			assert.False(t, offPaving && r.Surface == layout.SurfacePaving, "run %s-%s is not under paving at %v", r.From, r.To, p)
		}
	}
}
