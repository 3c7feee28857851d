package sector_test

import (
	"context"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/sector"
)

var standard = sector.Settings{CoverageTarget: 0.97, UniformityTarget: 0.65, OversprayLimit: 0.05, Moves: 60_000}

func place(t testing.TB, site sector.Site, s sector.Settings) sector.Result {
	t.Helper()
	r, err := sector.Place(context.Background(), site, s)
	require.NoError(t, err)
	return r
}

// Four quarter heads in the corners of a square whose side is the throw are the
// textbook layout: with nowhere else to stand, and no other setting of the
// radius, nothing else is as even. Each stands 1 cm in, as a point inside must.
func TestSquareOfFourQuarters(t *testing.T) {
	const side = 6.0
	lawn := rect(0, 0, side, side)
	site := sector.Site{Lawn: lawn, Nozzles: []sector.Nozzle{{Name: "n", Throw: side, Flow: 10}},
		Spots: []geom.Point{m(.01, .01), m(side-.01, .01), m(.01, side-.01), m(side-.01, side-.01)}}
	s := standard
	s.UniformityTarget = 0.80
	site.Measure = newJudge(lawn, nil).figures(t)
	r := place(t, site, s)
	require.Equal(t, sector.Reached, r.Status, r.Reason)
	require.Len(t, r.Heads, 4)
	checkPlacement(t, site, s, r)
	for i, at := range []geom.Point{m(.01, .01), m(.01, side-.01), m(side-.01, .01), m(side-.01, side-.01)} {
		assert.Equal(t, at, r.Heads[i].At)
		assert.GreaterOrEqual(t, r.Heads[i].SweepDeg, 70)
		assert.LessOrEqual(t, r.Heads[i].SweepDeg, 95)
	}
}

// The hand rule waters 60 by 15 ft with two rows of five 15 ft sprays, head to
// head. A search must not need more.
func TestStripOfSprays(t *testing.T) {
	const foot = layout.MetresPerFoot
	lawn := rect(0, 0, 60*foot, 15*foot)
	site := sector.Site{Lawn: lawn, Nozzles: nozzlesOf(layout.GenericSpray()), Spots: spotsIn(lawn, 507, 100)}
	site.Measure = newJudge(lawn, nil).figures(t)
	s := standard
	s.UniformityTarget = 0.55
	r := place(t, site, s)
	require.Equal(t, sector.Reached, r.Status, r.Reason)
	assert.LessOrEqual(t, len(r.Heads), 10)
	assert.Positive(t, r.Bound)
	checkPlacement(t, site, s, r)
}

// A wall keeps the water from what lies behind it: one spot cannot do, and the
// reason says how much of the lawn no sector wets.
func TestWhatNoSectorWets(t *testing.T) {
	lawn := geom.Difference(rect(0, 0, 6, 6), rect(0, 2.9, 6, 3.1))
	site := sector.Site{Lawn: lawn, Blockers: rect(-1, 2.9, 7, 3.1),
		Nozzles: []sector.Nozzle{{Name: "n", Throw: 5, Flow: 10, TurnedDown: 3}}, Spots: spotsIn(rect(0, 0, 6, 2.9), 400, 100)}
	r := place(t, site, standard)
	require.Equal(t, sector.Unreachable, r.Status)
	assert.Contains(t, r.Reason, "permitted sectors wet only 50.0 %")
	assert.InDelta(t, 18, r.Unreached, 0.01) // in cells of 0.25 m: 12 of 24 rows
	assert.Zero(t, r.Bound)
	checkPlacement(t, site, standard, r)
}

// Where there is nowhere to stand there are no heads, and a reason.
func TestNowhereToStand(t *testing.T) {
	r := place(t, sector.Site{Lawn: rect(0, 0, 5, 5), Nozzles: nozzlesOf(layout.GenericSpray())}, standard)
	assert.Equal(t, sector.Unreachable, r.Status)
	assert.Empty(t, r.Heads)
	assert.NotEmpty(t, r.Reason)
}

// On a lawn so small that no head brings much of what it could water, one is
// placed all the same.
func TestTinyLawn(t *testing.T) {
	lawn := rect(0, 0, 1.2, 1.2)
	site := sector.Site{Lawn: lawn, Blockers: geom.Difference(rect(-20, -20, 20, 20), rect(-.01, -.01, 1.21, 1.21)),
		Nozzles: nozzlesOf(layout.GenericRotor()), Spots: spotsIn(lawn, 200, 100)}
	site.Measure = newJudge(lawn, site.Blockers).figures(t)
	r := place(t, site, standard)
	assert.NotEmpty(t, r.Heads)
	checkPlacement(t, site, standard, r)
}

// Pinned heads stay, and those that nothing can be set on are named.
func TestPinnedHeads(t *testing.T) {
	lawn := rect(0, 0, 9, 9)
	site := sector.Site{Lawn: lawn, Nozzles: nozzlesOf(layout.GenericSpray()), Spots: spotsIn(lawn, 600, 100),
		Pinned: []geom.Point{m(4.5, 4.5), m(20, 20)}}
	s := standard
	s.UniformityTarget = 0.55
	r := place(t, site, s)
	assert.Equal(t, []geom.Point{m(20, 20)}, r.Unfit)
	n := 0
	for _, h := range r.Heads {
		if h.Pinned {
			n++
			assert.Equal(t, m(4.5, 4.5), h.At)
		}
	}
	assert.Equal(t, 1, n)
}

func TestRandomSites(t *testing.T) {
	for _, f := range layout.GenericFixedArc() {
		for seed := range uint64(3) {
			t.Run(fmt.Sprintf("%s %d", f.Name, seed), func(t *testing.T) {
				site := randomSite(seed, nozzlesOf(f))
				site.Measure = newJudge(site.Lawn, site.Blockers).figures(t)
				s := standard
				s.UniformityTarget, s.Moves = f.UniformityTarget, 20_000
				checkPlacement(t, site, s, place(t, site, s))
			})
		}
	}
}

// The same site gives the same heads, whatever the order of its spots.
func TestSameAgain(t *testing.T) {
	site := randomSite(3, nozzlesOf(layout.GenericRotor()))
	s := standard
	s.Moves = 10_000
	first := place(t, site, s)
	for i, j := 0, len(site.Spots)-1; i < j; i, j = i+1, j-1 {
		site.Spots[i], site.Spots[j] = site.Spots[j], site.Spots[i]
	}
	assert.Equal(t, first, place(t, site, s))
}

func TestFaults(t *testing.T) {
	good := sector.Nozzle{Name: "n", Throw: 5, Flow: 10}
	lawn := rect(0, 0, 5, 5)
	for name, c := range map[string]struct {
		site sector.Site
		s    sector.Settings
		want string
	}{
		"no nozzle":      {site: sector.Site{Lawn: lawn}, want: "no nozzle"},
		"no throw":       {site: sector.Site{Lawn: lawn, Nozzles: []sector.Nozzle{{Name: "bad", Flow: 1}}}, want: `nozzle "bad"`},
		"odd sweep":      {site: sector.Site{Lawn: lawn, Nozzles: []sector.Nozzle{good}, LeastSweep: 47}, want: "sweeps from 47°"},
		"odd profile":    {site: sector.Site{Lawn: lawn, Nozzles: []sector.Nozzle{{Name: "odd", Throw: 5, Flow: 10, Profile: []sector.RadialRate{{Share: 0, Rate: 1}}}}}, want: "profile point 1"},
		"too much":       {site: sector.Site{Lawn: lawn, Nozzles: []sector.Nozzle{good}}, s: sector.Settings{CoverageTarget: 2}, want: "out of range"},
		"no lawn at all": {site: sector.Site{Lawn: rect(0, 0, .01, .01), Nozzles: []sector.Nozzle{good}}, want: "too small"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := sector.Place(context.Background(), c.site, c.s)
			assert.ErrorContains(t, err, c.want)
		})
	}
}

func TestCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := sector.Place(ctx, randomSite(1, nozzlesOf(layout.GenericSpray())), standard)
	assert.ErrorIs(t, err, context.Canceled)
}

// Strips between paving: 1 m between two walks is one, the same strip beside a
// single walk is not, nor is one as wide as the limit.
func TestPavedStrips(t *testing.T) {
	for _, c := range []struct {
		name         string
		lawn, paving geom.Region
		want         float64 // m²
	}{
		{"between walks", rect(0, 0, 10, 1), geom.Union(rect(0, -1, 10, 0), rect(0, 1, 10, 2)), 10},
		{"beside one walk", rect(0, 0, 10, 1), rect(0, -1, 10, 0), 0},
		{"wide enough", rect(0, 0, 10, 1.3), geom.Union(rect(0, -1, 10, 0), rect(0, 1.3, 10, 2)), 0},
		{"the narrow part of a lawn", geom.Union(rect(0, 0, 10, 1), rect(10, -4, 16, 4)), geom.Union(rect(0, -1, 10, 0), rect(0, 1, 10, 2)), 10},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := sector.PavedStrips(c.lawn, c.paving, layout.LeastSprayStrip)
			require.NoError(t, err)
			assert.InDelta(t, c.want, got.AreaM2(), 0.3)
		})
	}
}

// The outline of a quarter in the open has the area of a quarter disc, less the chords.
func TestOutline(t *testing.T) {
	quarter := sector.Sector{At: m(0, 0), Radius: 5, StartDeg: 0, SweepDeg: 90}
	g := geom.Region{{quarter.Outline(0.5)}}
	assert.InDelta(t, 25*3.14159265/4, g.AreaM2(), 0.01)
	assert.True(t, g.Has(m(1, 1)), "from north clockwise is the north-east")
	assert.False(t, g.Has(m(-1, 1)))
	whole := sector.Sector{At: m(0, 0), Radius: 5, SweepDeg: 360}
	assert.InDelta(t, 25*3.14159265, geom.Region{{whole.Outline(0.5)}}.AreaM2(), 0.02)
}
