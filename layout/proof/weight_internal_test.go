package proof

import (
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
)

func TestAreaInByHand(t *testing.T) {
	// A triangle under y = x/2, from 0 to 10.
	edges := []segment{{point{0, 0}, point{10, 0}}, {point{10, 0}, point{10, 5}}, {point{10, 5}, point{0, 0}}}
	for _, c := range []struct {
		b    box
		want float64 // mm²
	}{
		{box{point{0, 0}, point{10, 10}}, 25},
		{box{point{0, 0}, point{10, 2}}, 16}, // all but 6 by 3 over 2
		{box{point{4, 0}, point{6, 10}}, 5},
		{box{point{4, 1}, point{6, 2}}, 2},
		{box{point{2, 1}, point{4, 2}}, 1},
		{box{point{0, 1}, point{2, 2}}, 0},
		{box{point{-9, -9}, point{20, 20}}, 25},
		{box{point{10, 0}, point{20, 5}}, 0},
	} {
		assert.EqualValues(t, c.want*areaUnits, areaIn(c.b, edges), "%v", c.b)
	}
}

// The measured area is at most the true one and falls short of it by less than
// a unit for each edge, at any size.
func TestAreaInIsJustUnder(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	partly := 0
	for range 150 {
		m := randomMosaic(r, 3, int64(3)<<r.IntN(19), 0.6)
		l := m.lawn(t)
		for range 5 {
			b := randomBox(r, 1+l.span()*2/3, 1+l.span())
			exact := m.area(b)
			exact.Mul(exact, big.NewRat(areaUnits, 1))
			got := big.NewRat(areaIn(b, l.edgesAbove(b)), 1)
			gap := new(big.Rat).Sub(exact, got)
			assert.GreaterOrEqual(t, gap.Sign(), 0)
			assert.Negative(t, gap.Cmp(big.NewRat(int64(len(m.edges)), 1)))
			if got.Sign() > 0 && gap.Sign() > 0 {
				partly++
			}
		}
	}
	assert.Greater(t, partly, 50)
}

// span returns a length about as great as the lawn.
func (l *lawn) span() int64 {
	if len(l.edges) == 0 {
		return 0
	}
	b := l.bounds()
	return max(b.max.x-b.min.x, b.max.y-b.min.y)
}

// randomWeights puts weights on cells that have lawn.
func randomWeights(r *rand.Rand, l *lawn, cellMM, perSide int64) *layout.Certificate {
	c := &layout.Certificate{Heads: 2, TargetPPM: million, CellMM: cellMM, AtomMM: cellMM / perSide}
	b := l.bounds()
	for x := b.min.x - r.Int64N(cellMM); x < b.max.x; x += cellMM {
		for y := b.min.y - cellMM/2; y < b.max.y; y += cellMM {
			if cell := square(point{x, y}, cellMM); areaIn(cell, l.edgesAbove(cell)) > 0 && r.IntN(4) > 0 {
				c.Cells = append(c.Cells, layout.CertificateCell{Min: geom.Pt(x, y), Weight: 1 + r.Int64N(1000)})
			}
		}
	}
	return c
}

// Laid out, every atom has no more than its even share, next to all of it, and
// nothing where there is no lawn; and no atom is denser than its cell is said
// to be.
func TestLayOut(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	for range 15 {
		m := randomMosaic(r, 2, 2000, 0.7)
		if len(m.pieces) == 0 {
			continue
		}
		l, perSide := m.lawn(t), 1+r.Int64N(11)
		c := randomWeights(r, l, 400*perSide, perSide)
		if len(c.Cells) == 0 {
			continue
		}
		s, err := layOut(l, c)
		require.NoError(t, err)
		atoms, sum := weightsOf(s), int64(0)
		for i, cell := range c.Cells {
			lawn := m.area(square(point{cell.Min.X, cell.Min.Y}, c.CellMM))
			for _, b := range atomsOf(cell, c) {
				w, area := atoms[b.min], m.area(b)
				sum += w
				share := new(big.Rat).Mul(area, big.NewRat(cell.Weight*fineness, 1))
				share.Quo(share, lawn)
				gap, _ := new(big.Rat).Sub(share, big.NewRat(w, 1)).Float64()
				assert.InDelta(t, 0, gap, 2+float64(cell.Weight)) // areas are good to a millionth
				density := big.NewRat(s.heaps[i].weight, s.heaps[i].area)
				held := density.Mul(density, area.Mul(area, big.NewRat(areaUnits, 1)))
				assert.GreaterOrEqual(t, held.Cmp(big.NewRat(w, 1)), 0)
				delete(atoms, b.min)
			}
		}
		assert.Empty(t, atoms)
		assert.Equal(t, s.sum, sum)
	}
}

func weightsOf(s *spread) map[point]int64 {
	out := map[point]int64{}
	for _, t := range s.tiles {
		for n, w := range t.weight {
			if w > 0 {
				out[t.atom(n, s.atomMM).min] = w
			}
		}
	}
	return out
}

func (t tile) atom(n int, atomMM int64) box {
	return square(t.corner.plus(point{int64(n%tileSide) * atomMM, int64(n/tileSide) * atomMM}), atomMM)
}

func atomsOf(cell layout.CertificateCell, c *layout.Certificate) (out []box) {
	for x := cell.Min.X; x < cell.Min.X+c.CellMM; x += c.AtomMM {
		for y := cell.Min.Y; y < cell.Min.Y+c.CellMM; y += c.AtomMM {
			out = append(out, square(point{x, y}, c.AtomMM))
		}
	}
	return out
}

// The most weight on a given area is, by the duality of linear programs, the
// least over all prices of a unit of area of what the area costs and what the
// heaps are worth beyond it; the least is at the density of a heap, or at 0.
func TestDryWeight(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	for range 500 {
		l := &lawn{area2: 2 + r.Int64N(1<<40)}
		var s spread
		for range 1 + r.IntN(8) {
			s.heaps = append(s.heaps, heap{1 + r.Int64N(1<<50), 1 + r.Int64N(l.area2*areaUnits/8)})
		}
		target := r.Int64N(million + 1)
		room := big.NewRat(l.area2*(areaUnits/2), million)
		room.Mul(room, big.NewRat(million-target, 1))
		least := costAt(s.heaps, new(big.Rat), room)
		for _, h := range s.heaps {
			if cost := costAt(s.heaps, big.NewRat(h.weight, h.area), room); cost.Cmp(least) < 0 {
				least = cost
			}
		}
		got := new(big.Rat).SetInt64(s.dryWeight(l, target))
		assert.GreaterOrEqual(t, got.Cmp(least), 0)
		room.Add(room, big.NewRat(1, 1)) // was rounded up
		for _, h := range s.heaps {
			if cost := costAt(s.heaps, big.NewRat(h.weight, h.area), room); cost.Cmp(least) > 0 {
				least = cost
			}
		}
		assert.Negative(t, got.Cmp(least.Add(least, big.NewRat(1, 1))))
	}
}

func costAt(heaps []heap, price, room *big.Rat) *big.Rat {
	cost := new(big.Rat).Mul(price, room)
	for _, h := range heaps {
		worth := new(big.Rat).Mul(price, big.NewRat(h.area, 1))
		if worth.Sub(big.NewRat(h.weight, 1), worth); worth.Sign() > 0 {
			cost.Add(cost, worth)
		}
	}
	return cost
}

func TestDryWeightByHand(t *testing.T) {
	l := &lawn{area2: 2 * 100} // 100 mm²
	s := &spread{heaps: []heap{{50, 10 * areaUnits}, {90, 10 * areaUnits}, {1, 80 * areaUnits}}}
	assert.EqualValues(t, 0, s.dryWeight(l, million))
	assert.EqualValues(t, 45, s.dryWeight(l, 950_000))
	assert.EqualValues(t, 90, s.dryWeight(l, 900_000))
	assert.EqualValues(t, 115, s.dryWeight(l, 850_000))
	assert.EqualValues(t, 141, s.dryWeight(l, 1)) // a part of the last, rounded up
}
