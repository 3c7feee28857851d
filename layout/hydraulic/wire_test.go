package hydraulic_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/hydraulic"
)

const per1000ft = 1000 * layout.MetresPerFoot

// TestCopper: the published resistances per 1000 ft, against the definition of
// the gauge (18 AWG 0.0403 in, 14 AWG 0.0641 in) and the resistivity of standard
// annealed copper, 1.7241e-8 Ω·m at 20 °C (IEC 60028).
func TestCopper(t *testing.T) {
	for i, want := range []struct {
		awg  int
		ohms float64
	}{{18, 6.385}, {16, 4.016}, {14, 2.525}, {12, 1.588}} {
		w := hydraulic.CopperWires()[i]
		assert.Equal(t, want.awg, w.AWG)
		assert.InEpsilon(t, want.ohms, w.PerMetre*per1000ft, 1e-9)
		d := w.Diameter().Metres()
		assert.InEpsilon(t, 1.7241e-8/(math.Pi/4*d*d), w.PerMetre, 0.003)
	}
	assert.InDelta(t, 0.0403, float64(hydraulic.CopperWires()[0].Diameter())/layout.MetresPerInch, 0.00005)
	assert.InDelta(t, 0.0641, float64(hydraulic.CopperWires()[2].Diameter())/layout.MetresPerInch, 0.00005)
}

// TestVoltageDrop: drop = 2·L·I·R/1000: 500 ft at 0.30 A on 18 AWG lose 1.92 V;
// 4 V at 0.35 A last for 895 ft (arithmetic). 400 ft of coated 18 AWG, 6.505 Ω per
// 1000 ft, have 2.602 Ω, an electrical textbook page's example.
func TestVoltageDrop(t *testing.T) {
	thin := hydraulic.CopperWires()[0]
	assert.InDelta(t, 1.92, thin.Drop(hydraulic.Circuit{OneWay: layout.Feet(500), Amperes: 0.30}), 0.005)
	assert.InDelta(t, 895, thin.Reach(4, 0.35).Feet(), 0.5)
	assert.InDelta(t, 4, thin.Drop(hydraulic.Circuit{OneWay: thin.Reach(4, 0.35)}), 1e-9, "0.35 A is the default")
	coated := hydraulic.Wire{AWG: 18, PerMetre: 6.505 / per1000ft}
	assert.InDelta(t, 2.602, coated.Drop(hydraulic.Circuit{OneWay: layout.Feet(200), Amperes: 1}), 0.0005)
}

func TestThinnestWire(t *testing.T) {
	for feet, awg := range map[float64]int{100: 18, 890: 18, 900: 16, 1500: 14, 3000: 12} {
		w, ok := hydraulic.ThinnestWire(hydraulic.CopperWires(), hydraulic.Circuit{OneWay: layout.Feet(feet)}, hydraulic.DefaultVoltageDrop)
		require.True(t, ok)
		assert.Equal(t, awg, w.AWG, "%v ft", feet)
	}
	_, ok := hydraulic.ThinnestWire(hydraulic.CopperWires(), hydraulic.Circuit{OneWay: layout.Feet(9000)}, hydraulic.DefaultVoltageDrop)
	assert.False(t, ok)
}

// TestDaisyChainByHand: a trench with a short and a long side. The short one comes
// first. Lengths of 50 ft, 3 ft left at each end.
func TestDaisyChainByHand(t *testing.T) {
	tree := hydraulic.CableTree{Above: []int{-1, 0, 1, 1}, Length: []layout.Length{0, layout.Feet(20), layout.Feet(70), layout.Feet(24)}}
	hops, err := hydraulic.DaisyChain(tree, []int{2, 3}, hydraulic.Cable{})
	require.NoError(t, err)
	require.Len(t, hops, 2)
	assert.Equal(t, 3, hops[0].To)
	assert.InDelta(t, 44, hops[0].Way.Feet(), 1e-9)
	assert.Equal(t, 1, hops[0].Pieces, "44 ft and twice 3 ft are just one length")
	assert.Zero(t, hops[0].Joints)
	assert.InDelta(t, 0, hops[0].Spare.Feet(), 1e-5)
	assert.Equal(t, []int{3, 2}, []int{hops[1].From, hops[1].To})
	assert.InDelta(t, 94, hops[1].Way.Feet(), 1e-9)
	assert.Equal(t, 2, hops[1].Pieces)
	assert.Equal(t, 1, hops[1].Joints)

	hops, err = hydraulic.DaisyChain(tree, []int{0, 1}, hydraulic.Cable{Piece: layout.Feet(10), Slack: -1})
	require.NoError(t, err)
	assert.Equal(t, 1, hops[0].Pieces, "a stop right at the beginning takes a length too")
	assert.Equal(t, 2, hops[1].Pieces)
}

// TestDaisyChainIsShortest: against every order of up to seven stops.
func TestDaisyChainIsShortest(t *testing.T) {
	for seed := range uint64(200) {
		r := rand.New(rand.NewPCG(seed, 12))
		n := 2 + r.IntN(12)
		tree := hydraulic.CableTree{Above: []int{-1}, Length: []layout.Length{0}}
		for i := 1; i < n; i++ {
			tree.Above = append(tree.Above, r.IntN(i))
			tree.Length = append(tree.Length, layout.Length(r.IntN(30)))
		}
		stops := r.Perm(n)[:1+r.IntN(min(n, 7))]
		hops, err := hydraulic.DaisyChain(tree, stops, hydraulic.Cable{})
		require.NoError(t, err)
		total, passed := layout.Length(0), []int{}
		for i, h := range hops {
			total += h.Way
			passed = append(passed, h.To)
			assert.InDelta(t, float64(wayInTree(tree, h.From, h.To)), float64(h.Way), 1e-9)
			assert.Equal(t, append([]int{0}, passed...)[i], h.From)
			assert.InDelta(t, float64(h.Pieces)*50, h.Way.Feet()+6+h.Spare.Feet(), 1e-4)
			assert.Equal(t, h.Pieces-1, h.Joints)
		}
		assert.ElementsMatch(t, stops, passed)
		assert.InDelta(t, shortestChain(tree, 0, stops), float64(total), 1e-9, "seed %d", seed)
	}
}

func wayInTree(t hydraulic.CableTree, a, b int) (l layout.Length) {
	depth := map[int]layout.Length{}
	for i, d := a, layout.Length(0); i >= 0; i = t.Above[i] {
		depth[i] = d
		d += t.Length[i]
	}
	for i := b; ; i = t.Above[i] {
		if d, ok := depth[i]; ok {
			return l + d
		}
		l += t.Length[i]
	}
}

func shortestChain(t hydraulic.CableTree, from int, stops []int) float64 {
	if len(stops) == 0 {
		return 0
	}
	best := math.Inf(1)
	for i, s := range stops {
		rest := append(append([]int(nil), stops[:i]...), stops[i+1:]...)
		best = min(best, float64(wayInTree(t, from, s))+shortestChain(t, s, rest))
	}
	return best
}

func TestUnsoundCable(t *testing.T) {
	for _, c := range []struct {
		tree  hydraulic.CableTree
		stops []int
	}{
		{hydraulic.CableTree{}, nil},
		{hydraulic.CableTree{Above: []int{-1, 1}, Length: []layout.Length{0, 1}}, nil},
		{hydraulic.CableTree{Above: []int{-1, 0}, Length: []layout.Length{0, -1}}, nil},
		{hydraulic.CableTree{Above: []int{-1, 0}, Length: []layout.Length{0, 1}}, []int{2}},
	} {
		_, err := hydraulic.DaisyChain(c.tree, c.stops, hydraulic.Cable{})
		assert.Error(t, err)
	}
}
