package sector_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/sector"
	"lotwright/layout/sight"
	"lotwright/layout/uniformity"
)

// m is a point given in metres.
func m(x, y float64) geom.Point { return geom.Vec{X: x * 1000, Y: y * 1000}.Round() }

// rect is an upright rectangle, in metres.
func rect(x0, y0, x1, y1 float64) geom.Region {
	return geom.Region{{{m(x0, y0), m(x1, y0), m(x1, y1), m(x0, y1)}}}
}

// nozzlesOf are the nozzles of a family at its second rated pressure.
func nozzlesOf(f layout.FixedArcFamily) (out []sector.Nozzle) {
	for _, model := range f.Nozzles {
		row := model.Rows[1]
		out = append(out, sector.Nozzle{Name: model.Name, Throw: row.Throw,
			TurnedDown: row.Throw * layout.Length(f.LeastRadiusShare), Flow: row.Flow})
	}
	return out
}

// spotsIn are lattice points of a region at least insetMM from its edge.
func spotsIn(g geom.Region, spacing, insetMM int64) (out []geom.Point) {
	b := g.Bounds()
	for x := b.Min.X + insetMM; x <= b.Max.X-insetMM; x += spacing {
		for y := b.Min.Y + insetMM; y <= b.Max.Y-insetMM; y += spacing {
			if p := geom.Pt(x, y); g.Locate(p) == geom.Interior && !g.EdgeNearerThan(p, insetMM) {
				out = append(out, p)
			}
		}
	}
	return out
}

// judge works out the figures of a placement by code the search does not use:
// exact views, polygons, and the simulator on its 0.25 m grid.
type judge struct {
	lawn geom.Region
	open *sight.Field
}

func newJudge(lawn, blockers geom.Region) judge {
	b := lawn.Bounds().Pad(50_000)
	ground := geom.Region{{{b.Min, geom.Pt(b.Max.X, b.Min.Y), b.Max, geom.Pt(b.Min.X, b.Max.Y)}}}
	return judge{lawn, sight.NewField(geom.Difference(ground, blockers))}
}

// view is what a head could water if it turned all the way.
func (j judge) view(h sector.Sector) *sight.Reach {
	reach := j.open.From(h.At, h.Radius.Millimetres(), 0)
	return &reach
}

// wets is what a head waters.
func (j judge) wets(h sector.Sector) geom.Region {
	var ring geom.Ring
	for _, v := range j.view(h).Outline(0.5) {
		ring = append(ring, v.Round())
	}
	return geom.Intersection(geom.Normalize([]geom.Ring{ring}), geom.Region{{h.Outline(0.5)}})
}

func (j judge) coverage(heads []sector.Sector) float64 {
	var all []geom.Region
	for _, h := range heads {
		all = append(all, j.wets(h))
	}
	return geom.Intersection(geom.Union(all...), j.lawn).AreaM2() / j.lawn.AreaM2()
}

func (j judge) simulate(t testing.TB, heads []sector.Sector) *uniformity.Result {
	var all []uniformity.Sprinkler
	for _, h := range heads {
		all = append(all, uniformity.Sprinkler{View: j.view(h), Head: layout.Head{At: h.At, Kind: layout.FixedArc,
			Throw: h.Radius, ArcStart: float64(h.StartDeg), ArcSweep: float64(h.SweepDeg), Flow: h.Flow}})
	}
	r, err := uniformity.Simulate(j.lawn, all, uniformity.Settings{})
	require.NoError(t, err)
	return r
}

// figures are those a caller would accept a placement by.
func (j judge) figures(t testing.TB) func([]sector.Sector) (sector.Figures, error) {
	return func(heads []sector.Sector) (sector.Figures, error) {
		return sector.Figures{Coverage: j.coverage(heads), DULowQuarter: j.simulate(t, heads).Statistics.DULowQuarter}, nil
	}
}

// checkPlacement checks all that a placement promises.
func checkPlacement(t *testing.T, site sector.Site, s sector.Settings, r sector.Result) {
	t.Helper()
	j := newJudge(site.Lawn, site.Blockers)
	free := map[geom.Point]bool{}
	for _, p := range append(site.Spots, site.Pinned...) {
		free[p] = true
	}
	stands := map[geom.Point]bool{}
	for i, h := range r.Heads {
		what := fmt.Sprintf("head %d of %d: %+v", i, len(r.Heads), h)
		z := site.Nozzles[h.Nozzle]
		assert.True(t, free[h.At], what)
		assert.False(t, stands[h.At], "two heads in one hole: %s", what)
		stands[h.At] = true
		assert.Zero(t, h.SweepDeg%5, what)
		assert.True(t, h.SweepDeg >= 45 && h.SweepDeg <= 360 && h.StartDeg >= 0 && h.StartDeg < 360, what)
		assert.LessOrEqual(t, h.Radius.Millimetres(), z.Throw.Millimetres(), what)
		assert.GreaterOrEqual(t, h.Radius.Metres(), z.TurnedDown.Metres()-1e-9, what)
		assert.InDelta(t, z.Flow.LPM()*float64(h.SweepDeg)/360, h.Flow.LPM(), 1e-9, what)
		wet := j.wets(h)
		over := geom.Difference(wet, site.Lawn).AreaM2()
		assert.LessOrEqual(t, over, s.OversprayLimit*wet.AreaM2()+1e-3, what)
	}
	if r.Status != sector.Reached {
		assert.NotEmpty(t, r.Reason)
		return
	}
	assert.GreaterOrEqual(t, j.coverage(r.Heads), s.CoverageTarget-1e-9)
	assert.GreaterOrEqual(t, j.simulate(t, r.Heads).Statistics.DULowQuarter, s.UniformityTarget-1e-9)
	assert.LessOrEqual(t, r.Bound, len(r.Heads))
}

// randomSite is a random lawn with a house in it, and spots on a lattice.
func randomSite(seed uint64, nozzles []sector.Nozzle) sector.Site {
	rng := rand.New(rand.NewPCG(seed, 7))
	var ring geom.Ring
	n := 4 + rng.IntN(5)
	for i := range n {
		r := 8 + 6*rng.Float64()
		sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.6*rng.Float64()) / float64(n))
		ring = append(ring, m(r*cos, r*sin))
	}
	x, y := 6*rng.Float64()-3, 6*rng.Float64()-3
	house := rect(x-2-2*rng.Float64(), y-3*rng.Float64(), x+2, y+2)
	paving := rect(x, y, x+2.5, y+20)
	lawn := geom.Difference(geom.Normalize([]geom.Ring{ring}), geom.Union(house, paving))
	return sector.Site{Lawn: lawn, Blockers: house, Nozzles: nozzles,
		Spots: spotsIn(lawn, sector.SpotSpacing(nozzles, lawn.AreaM2()), 100)}
}
