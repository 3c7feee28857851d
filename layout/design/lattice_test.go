package design_test

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/candidate"
	"lotwright/layout/design"
	"lotwright/layout/geom"
	"lotwright/layout/sight"
	"lotwright/layout/uniformity"
)

// lattice is the hand rule: heads a throw apart on a square or triangular
// lattice along the lawn's longest side, kept where they may stand, each opened as wide as its
// overspray allows. Of several shifts of the lattice the best is kept.
type lattice struct {
	lawn       geom.Region
	ground     *candidate.Ground
	open       *sight.Field
	throw      layout.Length
	full       layout.Flow
	triangular bool
}

const (
	latticeShifts = 2  // each way
	bins          = 24 // of 15°, that arcs are made of
	oversprayed   = 0.05
)

// outcome is how a set of heads waters a lawn.
type outcome struct {
	heads        int
	coverage, du float64
}

// better prefers what meets the targets of rotors, then fewer heads or more water.
func (o outcome) better(p outcome) bool {
	met := func(o outcome) bool { return o.coverage >= 0.97 && o.du >= 0.65 }
	if met(o) != met(p) {
		return met(o)
	}
	if met(o) {
		return o.heads < p.heads
	}
	return min(o.coverage/0.97, 1)+min(o.du/0.65, 1) > min(p.coverage/0.97, 1)+min(p.du/0.65, 1)
}

func (l lattice) best(t testing.TB) (best outcome) {
	for sx := range latticeShifts {
		for sy := range latticeShifts {
			o := l.shifted(t, float64(sx)/latticeShifts, float64(sy)/latticeShifts)
			if o.better(best) {
				best = o
			}
		}
	}
	return best
}

// along returns the unit vectors along the longest side of the lawn and across.
func (l lattice) along() (u, v geom.Vec) {
	longest := 0.0
	for e := range l.lawn.Edges() {
		if n := e.LengthMM(); n > longest {
			longest, u = n, e.B.Sub(e.A).Vec().Scale(1/n)
		}
	}
	return u, geom.Vec{X: -u.Y, Y: u.X}
}

// span returns from where to where the lawn lies along a unit vector, in mm.
func (l lattice) span(u geom.Vec) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for e := range l.lawn.Edges() {
		d := e.A.Vec().X*u.X + e.A.Vec().Y*u.Y
		low, high = min(low, d), max(high, d)
	}
	return low + latticeInset, high - latticeInset
}

// latticeInset keeps the outermost heads off the edge, in mm.
const latticeInset = 150

// fitted returns the spacing of at most the given one that divides the length.
func fitted(length, most float64) float64 { return length / max(1, math.Ceil(length/most)) }

// shifted runs the lattice along the lawn's longest side, its spacing drawn in
// so that rows fall on both edges, moved by shares of the spacing.
func (l lattice) shifted(t testing.TB, sx, sy float64) outcome {
	u, v := l.along()
	x0, x1 := l.span(u)
	y0, y1 := l.span(v)
	step := float64(l.throw.Millimetres())
	across, rise := fitted(x1-x0, step), fitted(y1-y0, step)
	if l.triangular {
		rise = fitted(y1-y0, step*math.Sqrt(3)/2)
	}
	var heads []uniformity.Sprinkler
	var wet []geom.Region
	for row := 0; ; row++ {
		y := y0 + (float64(row)-sy)*rise
		if y > y1+1 {
			break
		}
		x := x0 - sx*across
		if l.triangular && row%2 == 1 {
			x -= across / 2
		}
		for ; x <= x1+1; x += across {
			at := u.Scale(x).Add(v.Scale(y)).Round()
			if !l.ground.Allows(at) {
				continue
			}
			if h, w, ok := l.widest(at); ok {
				heads, wet = append(heads, h), append(wet, w)
			}
		}
	}
	if len(heads) == 0 {
		return outcome{}
	}
	r, err := uniformity.Simulate(l.lawn, heads, uniformity.Settings{})
	require.NoError(t, err)
	return outcome{len(heads), geom.Intersection(geom.Union(wet...), l.lawn).AreaM2() / l.lawn.AreaM2(), r.Statistics.DULowQuarter}
}

// widest returns the head with the widest permitted arc, turned down to three
// quarters where full throw permits none, and the lawn it wets.
func (l lattice) widest(at geom.Point) (uniformity.Sprinkler, geom.Region, bool) {
	for _, radius := range []layout.Length{l.throw, l.throw * 0.75} {
		view := l.open.From(at, radius.Millimetres(), 0)
		seen := geom.Normalize([]geom.Ring{rounded(view.Outline(1))})
		start, sweep := widestArc(l.areas(seen, at))
		start += l.bearing()
		if sweep == 0 {
			continue
		}
		h := layout.Head{At: at, Kind: layout.FixedArc, Throw: radius, ArcStart: float64(start), ArcSweep: float64(sweep),
			Flow: layout.ArcFlow(l.full, float64(sweep))}
		wet := geom.Intersection(geom.Intersection(seen, wedge(at, start, sweep)), l.lawn)
		return uniformity.Sprinkler{Head: h, View: &view}, wet, true
	}
	return uniformity.Sprinkler{}, nil, false
}

// bearing is that of the lawn's longest side, in whole degrees: arcs start
// along it.
func (l lattice) bearing() int {
	u, _ := l.along()
	return int(math.Round(math.Atan2(u.X, u.Y) * 180 / math.Pi))
}

// areas returns what each bin wets and how much of that is off the lawn.
func (l lattice) areas(seen geom.Region, at geom.Point) (wet, off [bins]float64) {
	over := geom.Difference(seen, l.lawn)
	for i := range bins {
		w := wedge(at, i*360/bins+l.bearing(), 360/bins)
		wet[i], off[i] = geom.Intersection(seen, w).AreaM2(), geom.Intersection(over, w).AreaM2()
	}
	return wet, off
}

// widestArc returns the widest run of bins, at least 45°, within the limit; a
// sweep of 0 when there is none.
func widestArc(wet, off [bins]float64) (start, sweep int) {
	for n := bins; n >= bins/8; n-- {
		for first := range bins {
			w, o := 0.0, 0.0
			for i := range n {
				w, o = w+wet[(first+i)%bins], o+off[(first+i)%bins]
			}
			if w > 0 && o <= oversprayed*w {
				return first * 360 / bins, n * 360 / bins
			}
		}
	}
	return 0, 0
}

// wedge is a sector of 50 m, clockwise from a bearing.
func wedge(at geom.Point, start, sweep int) geom.Region {
	ring := geom.Ring{at}
	if sweep == 360 {
		ring = nil
	}
	for deg := start + sweep; deg >= start; deg -= 5 {
		sin, cos := math.Sincos(float64(deg) * math.Pi / 180)
		ring = append(ring, at.Vec().Add(geom.Vec{X: sin, Y: cos}.Scale(50_000)).Round())
	}
	return geom.Normalize([]geom.Ring{ring})
}

// byHand returns the best that lattices of either kind and of any of the
// family's throws at 45 psi do on the lawn of a design.
func byHand(t testing.TB, lot *layout.Lot, d *layout.Design, f layout.FixedArcFamily) (square, triangular outcome) {
	ground, err := candidate.NewGround(lot, d.Irrigated, candidate.Clearances{EdgeMM: 100, BuildingMM: 300})
	require.NoError(t, err)
	b := d.Irrigated.Bounds().Pad(30_000)
	all := geom.Region{{{b.Min, geom.Pt(b.Max.X, b.Min.Y), b.Max, geom.Pt(b.Min.X, b.Max.Y)}}}
	l := lattice{lawn: d.Irrigated, ground: ground, open: sight.NewField(geom.Difference(all, geom.Union(lot.Building, lot.Wall)))}
	for _, m := range f.Nozzles {
		row, _, ok := m.At(layout.PSI(45))
		require.True(t, ok)
		l.throw, l.full = row.Throw, row.Flow
		for _, l.triangular = range []bool{false, true} {
			best := &square
			if l.triangular {
				best = &triangular
			}
			if o := l.best(t); o.better(*best) {
				*best = o
			}
		}
	}
	return square, triangular
}

// Where a lattice meets both targets the search does so too, with no more heads.
func TestBesideLattices(t *testing.T) {
	f := layout.GenericRotor()
	for _, lot := range []*layout.Lot{yard(), suburban()} {
		d := run(t, lot, fixedArc(f, 45))
		square, triangular := byHand(t, lot, d, f)
		t.Logf("%s: %d heads, coverage %.3f, DU %.3f; square %+v, triangular %+v", lot.ID, len(d.Heads), d.Coverage, d.Uniformity.DULowQuarter, square, triangular)
		for _, o := range []outcome{square, triangular} {
			require.Positive(t, o.heads)
			ours := outcome{len(d.Heads), d.Coverage, d.Uniformity.DULowQuarter}
			assert.False(t, o.better(ours), "%+v", o)
		}
	}
}

// BenchmarkRotorsBesideLattices gives the time a lot, and heads and lots that
// meet both targets, of the search and of the better lattice. -v lists the lots.
func BenchmarkRotorsBesideLattices(b *testing.B) {
	f := layout.GenericRotor()
	s := gauged(45)
	s.Family = &f
	var lots []*layout.Lot
	for i, lot := range allSurveyedLots(b) {
		if i%23 == 0 { // lattices are slow to judge
			lots = append(lots, lot)
		}
	}
	for range b.N {
		var heads, met, handHeads, handMet float64
		for _, lot := range lots {
			d, err := design.Run(context.Background(), lot, s)
			require.NoError(b, err)
			b.StopTimer()
			square, triangular := byHand(b, lot, d, f)
			b.Logf("%s %s %.0f m²: %d heads, coverage %.3f, DU %.3f; square %+v, triangular %+v", lot.ID, d.Status, d.IrrigatedArea, len(d.Heads), d.Coverage, d.Uniformity.DULowQuarter, square, triangular)
			hand := square
			if triangular.better(square) {
				hand = triangular
			}
			heads, handHeads = heads+float64(len(d.Heads)), handHeads+float64(hand.heads)
			if d.Status == layout.StatusDesigned {
				met++
			}
			if hand.coverage >= 0.97 && hand.du >= 0.65 {
				handMet++
			}
			b.StartTimer()
		}
		b.ReportMetric(heads/float64(len(lots)), "heads/lot")
		b.ReportMetric(handHeads/float64(len(lots)), "hand-heads/lot")
		b.ReportMetric(met/float64(len(lots)), "met")
		b.ReportMetric(handMet/float64(len(lots)), "hand-met")
	}
}
