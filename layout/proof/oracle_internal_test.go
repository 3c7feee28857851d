package proof

import (
	"cmp"
	"maps"
	"math/big"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// What follows decides the same questions as the package in rational numbers
// and from another description of the lawn: a set of triangles.

// ratPoint is a place with rational coordinates.
type ratPoint struct{ x, y *big.Rat }

func ratOf(p point) ratPoint { return ratPoint{big.NewRat(p.x, 1), big.NewRat(p.y, 1)} }

// towards returns the place at share t of the way from p to q.
func (p ratPoint) towards(q ratPoint, t *big.Rat) ratPoint {
	mix := func(a, b *big.Rat) *big.Rat {
		d := new(big.Rat).Sub(b, a)
		return d.Add(d.Mul(d, t), a)
	}
	return ratPoint{mix(p.x, q.x), mix(p.y, q.y)}
}

// turn is the sign of the turn from a over b to c.
func turn(a, b, c ratPoint) *big.Rat {
	sub := func(p, q *big.Rat) *big.Rat { return new(big.Rat).Sub(p, q) }
	l, r := new(big.Rat).Mul(sub(b.x, a.x), sub(c.y, a.y)), new(big.Rat).Mul(sub(b.y, a.y), sub(c.x, a.x))
	return l.Sub(l, r)
}

type triangle [3]point

// mosaic is a lawn laid from triangles of a lattice.
type mosaic struct {
	pieces []triangle
	edges  []segment // its outline, lawn on the left
}

// randomMosaic cuts the squares of a lattice in two and keeps a share of the
// triangles. Its rings often touch, themselves and each other. Neighbouring
// edges in line are joined, also past a corner that something else touches.
func randomMosaic(r *rand.Rand, squares, side int64, share float64) mosaic {
	var m mosaic
	place := func(i, j int64) point { return point{i*side + j*(side/3), j * side} } // leaning, so that no diagonal is special
	for i := range squares {
		for j := range squares {
			a, b, c, d := place(i, j), place(i+1, j), place(i+1, j+1), place(i, j+1)
			two := [2]triangle{{a, b, c}, {a, c, d}}
			if r.IntN(2) == 0 {
				two = [2]triangle{{a, b, d}, {b, c, d}}
			}
			for _, t := range two {
				if r.Float64() < share {
					m.pieces = append(m.pieces, t)
				}
			}
		}
	}
	m.edges = joined(outlineOf(m.pieces))
	return m
}

// outlineOf returns the sides of the triangles that no other triangle shares.
func outlineOf(pieces []triangle) []segment {
	sides := map[segment]bool{}
	for _, t := range pieces {
		for k := range t {
			s := segment{t[k], t[(k+1)%3]}
			if back := (segment{s.b, s.a}); sides[back] {
				delete(sides, back)
			} else {
				sides[s] = true
			}
		}
	}
	return slices.SortedFunc(maps.Keys(sides), compareSegments)
}

func compareSegments(s, t segment) int {
	return cmp.Or(cmp.Compare(s.a.x, t.a.x), cmp.Compare(s.a.y, t.a.y), cmp.Compare(s.b.x, t.b.x), cmp.Compare(s.b.y, t.b.y))
}

// joined replaces two edges in line, one after the other, by one; of several
// such pairs that meet in a point only one, since the others would cross it.
func joined(edges []segment) []segment {
	done := map[point]bool{}
	for i := 0; i < len(edges); i++ {
		for j := 0; j < len(edges); j++ {
			s, t := edges[i], edges[j]
			if s.b == t.a && !done[s.b] && s.side(t.b) == 0 && s.b.minus(s.a).dot(t.b.minus(t.a)) > 0 {
				done[s.b], edges[i].b = true, t.b
				edges = slices.Delete(edges, j, j+1)
				i, j = -1, len(edges)
			}
		}
	}
	return edges
}

func (m mosaic) lawn(t *testing.T) *lawn {
	l, err := lawnWithin(m.edges)
	require.NoError(t, err)
	return l
}

// place locates a place: inside when a triangle holds it and no edge of the
// outline does.
func (m mosaic) place(p ratPoint) place {
	for _, e := range m.edges {
		if between(ratOf(e.a), ratOf(e.b), p) {
			return onEdge
		}
	}
	for _, t := range m.pieces {
		in := true
		for k := range t {
			in = in && turn(ratOf(t[k]), ratOf(t[(k+1)%3]), p).Sign() >= 0
		}
		if in {
			return inside
		}
	}
	return outside
}

// between reports whether p lies on the way from a to b.
func between(a, b, p ratPoint) bool {
	within := func(u, v, w *big.Rat) bool { return u.Cmp(w)*v.Cmp(w) <= 0 }
	return turn(a, b, p).Sign() == 0 && within(a.x, b.x, p.x) && within(a.y, b.y, p.y)
}

// stops returns the shares of the way along s at which it meets the lines of
// the outline's edges, 0 and 1 included, in order.
func (m mosaic) stops(s segment) []*big.Rat {
	shares := []*big.Rat{big.NewRat(0, 1), big.NewRat(1, 1)}
	for _, e := range m.edges {
		a, b := turn(ratOf(e.a), ratOf(e.b), ratOf(s.a)), turn(ratOf(e.a), ratOf(e.b), ratOf(s.b))
		d := new(big.Rat).Sub(a, b)
		if d.Sign() == 0 {
			continue
		}
		if t := a.Quo(a, d); t.Sign() > 0 && t.Cmp(shares[1]) < 0 {
			shares = append(shares, t)
		}
	}
	slices.SortFunc(shares, (*big.Rat).Cmp)
	return shares
}

// area returns the area of lawn in b: that of each triangle, cut off at the
// four sides one after the other.
func (m mosaic) area(b box) *big.Rat {
	sum := new(big.Rat)
	for _, t := range m.pieces {
		ring := []ratPoint{ratOf(t[0]), ratOf(t[1]), ratOf(t[2])}
		for c, corners := 0, b.corners(); c < 4; c++ {
			ring = cutOff(ring, ratOf(corners[c]), ratOf(corners[(c+1)%4]))
		}
		for k := 2; k < len(ring); k++ {
			sum.Add(sum, turn(ring[0], ring[k-1], ring[k]))
		}
	}
	return sum.Mul(sum, big.NewRat(1, 2))
}

// cutOff returns the part of a convex ring on the left of the line from a to b.
func cutOff(ring []ratPoint, a, b ratPoint) (out []ratPoint) {
	for k, p := range ring {
		q := ring[(k+1)%len(ring)]
		dp, dq := turn(a, b, p), turn(a, b, q)
		if dp.Sign() >= 0 {
			out = append(out, p)
		}
		if dp.Sign()*dq.Sign() < 0 {
			out = append(out, p.towards(q, new(big.Rat).Quo(dp, new(big.Rat).Sub(dp, dq))))
		}
	}
	return out
}

func randomPoint(r *rand.Rand, most int64) point {
	return point{r.Int64N(2*most+1) - most, r.Int64N(2*most+1) - most}
}

func randomBox(r *rand.Rand, most, side int64) box {
	p := randomPoint(r, most)
	return box{p, p.plus(point{1 + r.Int64N(side), 1 + r.Int64N(side)})}
}
