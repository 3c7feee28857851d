package geom_test

import (
	"encoding/binary"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/geom"
)

// scribble turns bytes into rings: a byte of coordinates each on a coarse grid,
// so that every kind of contact happens, or two on the millimetre grid. A
// coordinate of all ones ends a ring.
func scribble(data []byte, scale int64) []geom.Ring {
	rings, ring := []geom.Ring(nil), geom.Ring(nil)
	for ; len(data) >= 4; data = data[4:] {
		x, y := int16(binary.LittleEndian.Uint16(data)), int16(binary.LittleEndian.Uint16(data[2:]))
		if x == -1 {
			rings, ring = append(rings, ring), nil
			continue
		}
		ring = append(ring, geom.Pt(int64(x)*scale, int64(y)*scale))
	}
	return append(rings, ring)
}

// fold brings coordinates close together, or the odds of contact are nil.
func fold(rings []geom.Ring, period int64) []geom.Ring {
	for _, r := range rings {
		for i, p := range r {
			r[i] = geom.Pt(p.X%period, p.Y%period)
		}
	}
	return rings
}

func perimeterMM(g geom.Region) float64 {
	sum := 0.0
	for s := range g.Edges() {
		sum += s.LengthMM()
	}
	return sum
}

func areaMM2(g geom.Region) float64 { return float64(g.Area2()) / 2 }

func cloned(rings []geom.Ring) []geom.Ring {
	out := make([]geom.Ring, len(rings))
	for i, r := range rings {
		out[i] = slices.Clone(r)
	}
	return out
}

// checkNormalize wants a valid region that is already normal and that does not
// depend on where a ring starts, which way all run, or which comes first.
func checkNormalize(t *testing.T, rings []geom.Ring) geom.Region {
	t.Helper()
	before := cloned(rings)
	g := geom.Normalize(rings)
	require.Equal(t, before, rings, "the input is left alone")
	requireValid(t, g)
	require.Equal(t, g, geom.Normalize(slices.Collect(g.Rings())), "already normal")
	require.Equal(t, g, geom.Union(g), "a union of one")
	turned, reversed := cloned(rings), cloned(rings)
	for i, r := range turned {
		if len(r) > 1 {
			turned[i] = slices.Concat(r[len(r)/2:], r[:len(r)/2])
			reversed[i] = r.Reversed()
		}
	}
	slices.Reverse(turned)
	require.Equal(t, g, geom.Normalize(turned), "another start and order")
	require.Equal(t, g, geom.Normalize(reversed), "the other direction")
	oddly := geom.NormalizeEvenOdd(rings)
	requireValid(t, oddly)
	require.Equal(t, oddly, geom.NormalizeEvenOdd(reversed))
	require.LessOrEqual(t, oddly.Area2(), g.Area2())
	requireValid(t, geom.NormalizePositive(rings))
	return g
}

// checkLaws wants what sets obey, up to the millimetre by which noding may move
// an edge.
func checkLaws(t *testing.T, a, b geom.Region) {
	t.Helper()
	union, common := geom.Union(a, b), geom.Intersection(a, b)
	onlyA, onlyB := geom.Difference(a, b), geom.Difference(b, a)
	for _, g := range []geom.Region{union, common, onlyA, onlyB} {
		requireValid(t, g)
	}
	require.Equal(t, union, geom.Union(b, a))
	require.Equal(t, common, geom.Intersection(b, a))
	slack := perimeterMM(a) + perimeterMM(b) + 1 // mm² for each mm an edge may move
	areaA, areaB := areaMM2(a), areaMM2(b)
	require.InDelta(t, areaA+areaB, areaMM2(union)+areaMM2(common), slack, "|A∪B| + |A∩B| = |A| + |B|")
	require.InDelta(t, areaA, areaMM2(onlyA)+areaMM2(common), slack, "|A−B| + |A∩B| = |A|")
	require.InDelta(t, areaB, areaMM2(onlyB)+areaMM2(common), slack, "|B−A| + |A∩B| = |B|")
	require.Empty(t, geom.Difference(a, a))
	require.Equal(t, a, geom.Intersection(a, a))
	require.Empty(t, geom.Intersection(a, nil))
	require.Equal(t, a, geom.Difference(a, nil))
	require.LessOrEqual(t, areaMM2(geom.Intersection(onlyA, b)), slack)
}

func FuzzNormalize(f *testing.F) {
	f.Add([]byte{0, 0, 0, 0, 9, 0, 9, 0, 9, 0, 0, 0, 0, 0, 9, 0}, byte(7), byte(1))
	f.Add([]byte{0, 0, 0, 0, 9, 0, 0, 0, 0, 0, 9, 0, 255, 255, 0, 0, 1, 0, 1, 0, 3, 0, 1, 0, 1, 0, 3, 0}, byte(50), byte(100))
	f.Fuzz(func(t *testing.T, data []byte, period, scale byte) {
		if len(data) > 240 { // sixty points are plenty
			return
		}
		checkNormalize(t, fold(scribble(data, 1+int64(scale)), (1+int64(period))*(1+int64(scale))))
	})
}

func FuzzOverlay(f *testing.F) {
	square := []byte{0, 0, 0, 0, 9, 0, 0, 0, 9, 0, 9, 0, 0, 0, 9, 0}
	f.Add(square, []byte{3, 0, 3, 0, 12, 0, 3, 0, 12, 0, 12, 0, 3, 0, 12, 0}, byte(20), byte(1))
	f.Add(square, square, byte(200), byte(255))
	f.Fuzz(func(t *testing.T, first, second []byte, period, scale byte) {
		if len(first)+len(second) > 240 {
			return
		}
		step := 1 + int64(scale)
		a := geom.Normalize(fold(scribble(first, step), (1+int64(period))*step))
		b := geom.Normalize(fold(scribble(second, 1), (1+int64(period))*step))
		checkLaws(t, a, b)
	})
}

// TestLaws runs the checks of both fuzz targets on a fixed draw.
func TestLaws(t *testing.T) {
	rng := rand.New(rand.NewPCG(103, 1))
	draw := func(period int64) []geom.Ring {
		var rings []geom.Ring
		for range 1 + rng.IntN(3) {
			var r geom.Ring
			for range rng.IntN(14) {
				r = append(r, geom.Pt(rng.Int64N(period), rng.Int64N(period)))
			}
			rings = append(rings, r)
		}
		return rings
	}
	overlapping := 0
	for i := range 600 {
		period := []int64{6, 40, 1000, 30_000}[i%4]
		a, b := checkNormalize(t, draw(period)), checkNormalize(t, draw(period))
		checkLaws(t, a, b)
		if len(geom.Intersection(a, b)) > 0 {
			overlapping++
		}
	}
	assert.Greater(t, overlapping, 200)
}

// TestNearlyParallelEdges: two triangles of 6 m share an edge but for a
// millimetre of rounding. Noding must bend either by a millimetre or two and
// not fold one onto the other all along.
func TestNearlyParallelEdges(t *testing.T) {
	a := geom.Region{{{geom.Pt(-32461, -21111), geom.Pt(-31525, -21043), geom.Pt(-31019, -13690)}}}
	b := geom.Region{{{geom.Pt(-32311, -32487), geom.Pt(3649, -19151), geom.Pt(8522, -26145), geom.Pt(-15447, 22310), geom.Pt(-29179, 13089)}}}
	for _, got := range []geom.Region{geom.Intersection(a, b), geom.Difference(a, b), geom.Union(a, b)} {
		requireNear(t, got, a, b)
	}
	rng := rand.New(rand.NewPCG(103, 2))
	for range 300 {
		p, q := geom.Normalize([]geom.Ring{randomRing(rng, 5, 30_000)}), geom.Normalize([]geom.Ring{randomRing(rng, 5, 30_000)})
		rest := geom.Difference(p, q) // its edges along q are rounded
		requireNear(t, geom.Intersection(rest, q), rest, q)
		requireNear(t, geom.Union(rest, q), rest, q)
		requireNear(t, geom.Difference(q, rest), rest, q)
	}
}

// requireNear wants the corners of g within 2 mm of the edges of its operands,
// and not many of them.
func requireNear(t *testing.T, g geom.Region, operands ...geom.Region) {
	t.Helper()
	corners, most := 0, 10
	for _, o := range operands {
		for range o.Edges() {
			most += 4
		}
	}
	for s := range g.Edges() {
		corners++
		require.True(t, operands[0].EdgeWithin(s.A, 2) || operands[1].EdgeWithin(s.A, 2), "%v is bent away", s.A)
	}
	require.LessOrEqual(t, corners, most)
}
