package sector

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/geom"
)

// upright is an upright rectangle, in metres.
func upright(x0, y0, x1, y1 float64) geom.Region {
	at := func(x, y float64) geom.Point { return geom.Vec{X: x * 1000, Y: y * 1000}.Round() }
	return geom.Region{{{at(x0, y0), at(x1, y0), at(x1, y1), at(x0, y1)}}}
}

// twoAreas is a lawn of an open and a narrow part, each with a family of its own;
// what the first gives counts three times.
func twoAreas(t *testing.T) *problem {
	open, narrow := upright(0, 0, 12, 12), upright(0, 12, 2.5, 20)
	site := Site{Lawn: geom.Union(open, narrow), Areas: []Area{{open, 0.6}, {narrow, 0.5}},
		Nozzles: []Nozzle{{Name: "far", Throw: 8, TurnedDown: 6, Flow: 10, Runs: 3, Ground: open},
			{Name: "near", Throw: 3, TurnedDown: 2.2, Flow: 5, Family: 1, Ground: narrow}}}
	for x := 0.2; x < 12; x++ {
		for y := 0.2; y < 20; y++ {
			if p := (geom.Vec{X: x * 1000, Y: y * 1000}).Round(); site.Lawn.Has(p) {
				site.Spots = append(site.Spots, p)
			}
		}
	}
	p, err := newProblem(site, Settings{}.filled())
	require.NoError(t, err)
	return p
}

// However heads come and go, the figures kept of an area are those of its cells.
func TestWaterOfAreas(t *testing.T) {
	p := twoAreas(t)
	s := newSearch(p)
	s.start()
	rng := rand.New(rand.NewPCG(5, 6))
	for step := range 300 {
		i := rng.IntN(len(s.heads))
		if h, ok := s.propose(i); ok {
			s.field.take(s.heads[i])
			s.field.put(h)
			s.heads[i] = h
		}
		if step%10 != 0 {
			continue
		}
		kept := s.field.areaDU()
		s.field.relevel()
		for a, area := range p.site.Areas {
			var depths []int32
			sum := 0.0
			for c, at := range p.grid.at {
				if area.Ground.Has(at) {
					depths, sum = append(depths, s.field.on[c].depth), sum+float64(s.field.on[c].depth)
				}
			}
			slices.Sort(depths)
			low, n := 0.0, (len(depths)+3)/4
			for _, d := range depths[:n] {
				low += float64(d)
			}
			// Of a quarter that does not come out even the last cell counts in part.
			assert.InDelta(t, low/float64(n)/(sum/float64(len(depths))), s.field.areaDU()[a], 0.01, "area %d", a)
			assert.LessOrEqual(t, kept[a], s.field.areaDU()[a]+1e-12, "a level out of date never flatters")
		}
	}
	for _, h := range s.heads {
		z := p.site.Nozzles[p.radii[h.k].nozzle]
		assert.True(t, z.Ground.Has(p.spots[h.spot].at), "a head of %s stands on other ground", z.Name)
	}
}

// The passage is a strip for a radius of 6 m, not for one of 2 m; only where the
// far nozzle may throw over it does it count as wetted.
func TestStripsLeftDry(t *testing.T) {
	p := twoAreas(t)
	strips, err := Strips(p.site.Lawn, 6)
	require.NoError(t, err)
	assert.InDelta(t, 2.5*8, strips.AreaM2(), 2)
	none, err := Strips(p.site.Lawn, 2)
	require.NoError(t, err)
	assert.Empty(t, none)

	site := p.site
	site.Nozzles = []Nozzle{{Name: "far", Throw: 8, TurnedDown: 6, Flow: 10}}
	dry, err := Unwetted(site, Settings{}, strips, 0.03)
	require.NoError(t, err)
	assert.Equal(t, strips, dry)
	dry, err = Unwetted(site, Settings{OversprayLimit: 0.9}, strips, 0.03)
	require.NoError(t, err)
	assert.Empty(t, dry)
}
