package proof

import (
	"math/big"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/sight"
)

// A square is in the shadow of a blocker from a box just when every line from
// a corner of the box to a corner of the square meets the blocker.
func TestShadowHidesJustWhatItShould(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	hidden, shown := 0, 0
	for range 3000 {
		b, k := randomBox(r, 15, 5), segment{randomPoint(r, 12), randomPoint(r, 12)}
		corner, atom := randomPoint(r, 20), 1+r.Int64N(3)
		sh, ok := shadowOf(k, b, atom)
		require.Equal(t, apart(b, k), ok)
		if !ok {
			continue
		}
		mask := sh.hides(corner, atom)
		for n := range tileSide * tileSide {
			want := hidesByLines(k, b, tile{corner: corner}.atom(n, atom))
			require.Equal(t, want, mask>>n&1 == 1, "%v from %v, %v + %d", k, b, corner, n)
			if want {
				hidden++
			} else {
				shown++
			}
		}
	}
	assert.Greater(t, min(hidden, shown), 10_000)
}

// apart reports whether b lies on one side of the line of k.
func apart(b box, k segment) bool {
	sides := [3]int{}
	for _, c := range b.corners() {
		sides[1+turn(ratOf(k.a), ratOf(k.b), ratOf(c)).Sign()]++
	}
	return sides[0] == 4 || sides[2] == 4
}

func hidesByLines(k segment, b, atom box) bool {
	blocker := geom.Segment{A: geom.Pt(k.a.x, k.a.y), B: geom.Pt(k.b.x, k.b.y)}
	for _, p := range b.corners() {
		for _, q := range atom.corners() {
			if !blocker.Touches(geom.Segment{A: geom.Pt(p.x, p.y), B: geom.Pt(q.x, q.y)}) {
				return false
			}
		}
	}
	return true
}

func TestOutOfThrow(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	for range 2000 {
		s := search{throwMM: 1 + r.Int64N(25), spread: &spread{atomMM: 1 + r.Int64N(3)}}
		b, corner := randomBox(r, 15, 5), randomPoint(r, 20)
		mask := s.outOfThrow(b, corner)
		for n := range tileSide * tileSide {
			want := b.gap2(tile{corner: corner}.atom(n, s.spread.atomMM)) >= s.throwMM*s.throwMM
			require.Equal(t, want, mask>>n&1 == 1)
		}
	}
}

// No place that keeps every clearance lies in a box that is dropped, and a box
// with neither edge nor capsule near is dropped only outside the lawn.
func TestDroppedBoxesHoldNoLegalPlace(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	dropped, kept := 0, 0
	for range 60 {
		m := randomMosaic(r, 3, 9, 0.7)
		if len(m.pieces) == 0 {
			continue
		}
		s := search{lawn: m.lawn(t), spread: &spread{}}
		var capsules []capsule
		for range r.IntN(4) {
			capsules = append(capsules, capsule{segment{randomPoint(r, 30), randomPoint(r, 30)}, r.Int64N(8)})
		}
		s.begin(capsules, nil)
		b := s.lawn.bounds()
		for depth := 0; ; depth++ {
			if !s.hasLegal(b, &s.levels[depth], &s.levels[depth+1]) {
				dropped++
				assert.False(t, anyLegal(m, capsules, b))
				break
			}
			first, second, ok := b.halves()
			if !ok {
				kept++
				break
			}
			b = [2]box{first, second}[r.IntN(2)]
		}
	}
	assert.Greater(t, min(dropped, kept), 10)
}

// anyLegal tries the places on a grid of half a unit in b.
func anyLegal(m mosaic, capsules []capsule, b box) bool {
	for _, p := range gridOf(box{b.min.doubled(), b.max.doubled()}) {
		if m.place(ratPoint{big.NewRat(p.x, 2), big.NewRat(p.y, 2)}) == inside && keepsClear(p, capsules) {
			return true
		}
	}
	return false
}

func keepsClear(doubled point, capsules []capsule) bool {
	for _, c := range capsules {
		a, b := c.edge.a.doubled(), c.edge.b.doubled()
		if (geom.Segment{A: geom.Pt(a.x, a.y), B: geom.Pt(b.x, b.y)}).NearerThan(geom.Pt(doubled.x, doubled.y), 2*c.clearMM) {
			return false
		}
	}
	return true
}

// No head sees anything of an atom that was given up for the box it stands in.
// Places in line with the head and a corner of the lawn are left out: what is
// seen past a corner alone has no area.
func TestAtomsGivenUpAreDry(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	looked, seen := 0, 0
	for range 40 {
		m := randomMosaic(r, 4, 3000, 0.75)
		if len(m.pieces) == 0 {
			continue
		}
		l := m.lawn(t)
		c := randomWeights(r, l, 1024, 4)
		if len(c.Cells) == 0 {
			continue
		}
		c.ThrowMM = 2000 + r.Int64N(8000)
		field := sight.NewField(m.region())
		s, b := givenUp(t, l, c, r)
		may := map[int32]uint64{}
		for _, p := range s.levels[1].patches {
			may[p.tile] = p.may
		}
		for range 20 {
			h := b.min.plus(point{r.Int64N(b.max.x - b.min.x + 1), r.Int64N(b.max.y - b.min.y + 1)})
			reach := field.From(geom.Pt(h.x, h.y), c.ThrowMM, 0)
			for range 50 {
				n, k := int32(r.IntN(len(s.spread.tiles))), r.IntN(tileSide*tileSide)
				if s.spread.tiles[n].weight[k] == 0 {
					continue
				}
				atom := s.spread.tiles[n].atom(k, c.AtomMM)
				p := atom.min.plus(point{r.Int64N(c.AtomMM + 1), r.Int64N(c.AtomMM + 1)})
				if l.place(p.doubled()) != inside || !reach.Sees(geom.Pt(p.x, p.y)) || pastCorner(l, h, p) {
					continue
				}
				seen++
				assert.NotZero(t, may[n]>>k&1, "%v sees %v", h, p)
			}
			looked++
		}
	}
	assert.Greater(t, seen, 500)
	assert.Greater(t, looked, 500)
}

// givenUp searches one random box that holds some lawn, with the lawn's edges
// and the chords outside it for blockers.
func givenUp(t *testing.T, l *lawn, c *layout.Certificate, r *rand.Rand) (*search, box) {
	laid, err := layOut(l, c)
	require.NoError(t, err)
	s := &search{lawn: l, spread: laid, throwMM: c.ThrowMM, most: -1}
	blockers := slices.Clone(l.edges)
	for range 40 {
		k := segment{l.edges[r.IntN(len(l.edges))].a, l.edges[r.IntN(len(l.edges))].a}
		if k.a != k.b && !l.enteredBy(k) {
			blockers = append(blockers, k)
		}
	}
	s.begin(nil, blockers)
	around := l.bounds()
	for {
		p := around.min.plus(point{r.Int64N(around.max.x - around.min.x), r.Int64N(around.max.y - around.min.y)})
		if l.place(p.doubled()) == inside {
			b := box{p, p.plus(point{1 + r.Int64N(600), 1 + r.Int64N(600)})}
			assert.False(t, s.wetsAtMost(b, &s.levels[0], &s.levels[1]))
			return s, b
		}
	}
}

func pastCorner(l *lawn, h, p point) bool {
	for _, e := range l.edges {
		if (segment{h, p}).holds(e.a) {
			return true
		}
	}
	return false
}

// region returns the mosaic's rings, found by walking along its outline.
func (m mosaic) region() geom.Region {
	left := append([]segment(nil), m.edges...)
	var rings []geom.Ring
	for len(left) > 0 {
		var ring geom.Ring
		for at := left[0].a; ; {
			i := 0
			for i < len(left) && left[i].a != at {
				i++
			}
			if i == len(left) {
				break
			}
			ring = append(ring, geom.Pt(at.x, at.y))
			at = left[i].b
			left = append(left[:i], left[i+1:]...)
		}
		rings = append(rings, ring)
	}
	return geom.Region{rings} // which ring is a shell does not matter to a view
}
