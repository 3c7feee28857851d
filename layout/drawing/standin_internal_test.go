package drawing

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/testdata/subdivision/plat"
)

// The stand-in designer below gives drawings something believable to show
// without any stage of the real design: heads by greedy choice on a coarse
// grid, outlines by casting rays, trench by joining each head to the nearest
// one joined already. Nothing is claimed of its designs.

// demoLots returns the lots of the invented subdivision, each about its own
// first corner.
func demoLots(t testing.TB) []*layout.Lot {
	t.Helper()
	survey := plat.Generate(plat.DefaultSeed)
	features, err := survey.Labelled()
	require.NoError(t, err)
	var out []*layout.Lot
	for _, l := range survey.Lots {
		lot := &layout.Lot{ID: l.ID, Parcel: ringRegion(l.Outline, l.Outline[0])}
		for _, f := range features {
			if f.Lots[0] == l.ID {
				addFeature(t, lot, f, l.Outline[0])
			}
		}
		out = append(out, lot)
	}
	return out
}

func toPoint(p, origin plat.XY) geom.Point {
	return geom.Vec{X: (p.X - origin.X) * 1000, Y: (p.Y - origin.Y) * 1000}.Round()
}

func toLine(at []plat.XY, origin plat.XY) geom.Line {
	var out geom.Line
	for _, p := range at {
		out = append(out, toPoint(p, origin))
	}
	return out
}

func ringRegion(at []plat.XY, origin plat.XY) geom.Region {
	return geom.Normalize([]geom.Ring{geom.Ring(toLine(at, origin))})
}

func addFeature(t testing.TB, lot *layout.Lot, f plat.Feature, origin plat.XY) {
	t.Helper()
	grow := func(g *geom.Region, r geom.Region) { *g = geom.Union(*g, r) }
	buffered := func(mm int64) geom.Region {
		r, err := geom.LineBuffer(toLine(f.At, origin), mm)
		require.NoError(t, err)
		return r
	}
	switch {
	case f.Layer == "source":
		p := toPoint(f.At[0], origin)
		lot.Source = &p
	case f.Layer == "controller":
		p := toPoint(f.At[0], origin)
		lot.Controller = &p
	case f.Layer == "sleeve":
		lot.Sleeves = append(lot.Sleeves, toLine(f.At, origin))
	case f.Layer == "wall":
		grow(&lot.Wall, geom.Intersection(buffered(layout.WallThicknessMM/2), lot.Parcel))
	case f.Layer == "tree" && f.Kind == plat.Point:
		disc, err := geom.Disc(toPoint(f.At[0], origin), 1200)
		require.NoError(t, err)
		grow(&lot.RootZone, disc)
	default:
		if f.Layer == "turf" {
			lot.HasTurf = true
		}
		target := map[string]*geom.Region{"turf": &lot.Turf, "bed": &lot.Bed, "building": &lot.Building, "hardscape": &lot.Hardscape,
			"water": &lot.Water, "tree": &lot.RootZone, "no_dig": &lot.NoDig}[f.Layer]
		grow(target, ringRegion(f.At, origin))
	}
}

// standIn designs a lot with the given throw and up to most heads.
func standIn(t testing.TB, lot *layout.Lot, throw layout.Length, most int) *layout.Design {
	t.Helper()
	ground := lot.Parcel
	if lot.HasTurf {
		ground = lot.Turf
	}
	obstacles := geom.Union(lot.Building, lot.Hardscape, lot.Water, lot.Wall, lot.Bed)
	all := geom.Difference(ground, obstacles)
	lawn, err := geom.Opened(all, 300)
	require.NoError(t, err)
	d := &layout.Design{
		LotID: lot.ID, Status: layout.StatusDesigned, HeadKind: layout.VariableThrow, CoverageTarget: 0.97,
		Throw: throw, Pressure: layout.PSI(55), HeadFlow: layout.GPM(4.7), ParcelArea: lot.Parcel.AreaM2(),
		Irrigated: lawn, IrrigatedArea: lawn.AreaM2(), Narrow: geom.Difference(all, lawn),
	}
	d.NarrowArea = d.Narrow.AreaM2()
	wetted := greedyHeads(d, most)
	d.Dry = geom.Difference(lawn, wetted)
	d.DryArea = d.Dry.AreaM2()
	d.Coverage = 1 - d.DryArea/d.IrrigatedArea
	if d.Coverage < d.CoverageTarget {
		d.Status = layout.StatusInfeasible
		d.Reason = fmt.Sprintf("%d heads reach only %s of the lawn", len(d.Heads), Percent(d.Coverage))
	}
	d.Proof = layout.Proof{Kind: layout.ProofDiscrete, Bound: max(1, len(d.Heads)-1)}
	connect(lot, d)
	return d
}

// gridIn returns the points of a square grid inside a region.
func gridIn(g geom.Region, stepMM int64) []geom.Point {
	var out []geom.Point
	b := g.Bounds()
	for x := b.Min.X + stepMM/3; x < b.Max.X; x += stepMM {
		for y := b.Min.Y + stepMM/3; y < b.Max.Y; y += stepMM {
			if p := geom.Pt(x, y); g.Locate(p) == geom.Interior {
				out = append(out, p)
			}
		}
	}
	return out
}

func greedyHeads(d *layout.Design, most int) geom.Region {
	witnesses := gridIn(d.Irrigated, 1100)
	dry := make(map[geom.Point]bool)
	for _, w := range witnesses {
		dry[w] = true
	}
	candidates := gridIn(d.Irrigated, 2300)
	stars := make([][]geom.Vec, len(candidates))
	seen := make([][]geom.Point, len(candidates))
	for i, c := range candidates {
		stars[i] = star(d.Irrigated, c, d.Throw)
		region := starRegion(stars[i])
		for _, w := range witnesses {
			if region.Has(w) {
				seen[i] = append(seen[i], w)
			}
		}
	}
	var wet geom.Region
	for len(d.Heads) < most && float64(len(dry)) > 0.025*float64(len(witnesses)) {
		best, gain := -1, 0
		for i := range candidates {
			n := 0
			for _, w := range seen[i] {
				if dry[w] {
					n++
				}
			}
			if n > gain {
				best, gain = i, n
			}
		}
		if best < 0 {
			break
		}
		for _, w := range seen[best] {
			delete(dry, w)
		}
		wet = geom.Union(wet, starRegion(stars[best]))
		n := len(d.Heads) + 1
		d.Heads = append(d.Heads, layout.Head{Label: fmt.Sprintf("H%d", n), At: candidates[best], Kind: layout.VariableThrow,
			Throw: d.Throw, ArcSweep: 360, Pressure: d.Pressure, Flow: d.HeadFlow, Zone: n, Wetted: stars[best]})
	}
	return wet
}

// star casts rays from a head to the nearest edge or its throw.
func star(g geom.Region, at geom.Point, throw layout.Length) []geom.Vec {
	const rays = 360
	out := make([]geom.Vec, rays)
	for i := range out {
		s, c := math.Sincos(2 * math.Pi * (float64(i) + 0.37) / rays)
		u, far := geom.Vec{X: c, Y: s}, float64(throw)*1000
		for e := range g.Edges() {
			far = min(far, hit(at.Vec(), u, e))
		}
		out[i] = at.Vec().Add(u.Scale(far))
	}
	return out
}

// hit returns the distance along a ray to an edge, +Inf for none.
func hit(from, u geom.Vec, e geom.Segment) float64 {
	a, along := e.A.Vec().Sub(from), e.B.Sub(e.A).Vec()
	den := u.Cross(along)
	if den == 0 {
		return math.Inf(1)
	}
	t, s := a.Cross(along)/den, a.Cross(u)/den
	if t <= 0 || s < 0 || s > 1 {
		return math.Inf(1)
	}
	return t
}

func starRegion(outline []geom.Vec) geom.Region {
	ring := make(geom.Ring, len(outline))
	for i, v := range outline {
		ring[i] = v.Round()
	}
	return geom.Normalize([]geom.Ring{ring})
}

// connect joins every head to the nearest place joined before it.
func connect(lot *layout.Lot, d *layout.Design) {
	n := &d.Network
	if lot.Source != nil {
		n.POC = *lot.Source
	} else {
		n.POC, n.POCAssumed = lot.Building[0][0][0], true
	}
	n.PavingCrossings = 1
	type node struct {
		name string
		at   geom.Point
	}
	joined := []node{{"POC", n.POC}}
	open := d.Heads
	for len(open) > 0 {
		from, next, least := joined[0], 0, math.Inf(1)
		for _, j := range joined {
			for k, h := range open {
				if dist := j.at.DistanceMM(h.At); dist < least {
					from, next, least = j, k, dist
				}
			}
		}
		h := open[next]
		open = append(append([]layout.Head{}, open[:next]...), open[next+1:]...)
		joined = append(joined, node{h.Label, h.At})
		runs(lot, n, from.name, h.Label, geom.Segment{A: from.at, B: h.At})
	}
	n.SpanningTreeLength = n.TrenchLength
}

// runs cuts a straight trench where its surface changes.
func runs(lot *layout.Lot, n *layout.Network, from, to string, s geom.Segment) {
	surface := func(p geom.Point) layout.Surface {
		if lot.Hardscape.Has(p) {
			return layout.SurfacePaving
		}
		return layout.SurfaceSoil
	}
	steps := max(1, int(s.LengthMM()/250))
	at := func(i int) geom.Point {
		return s.A.Vec().Add(s.B.Sub(s.A).Vec().Scale(float64(i) / float64(steps))).Round()
	}
	start, kind := s.A, surface(at(0))
	for i := 1; i <= steps; i++ {
		next := surface(at(i))
		if next == kind && i < steps {
			continue
		}
		length := layout.Length(start.DistanceMM(at(i)) / 1000)
		n.Runs = append(n.Runs, layout.TrenchRun{From: from, To: to, Surface: kind, Path: geom.Line{start, at(i)}, Length: length, Depth: 10 * layout.MetresPerInch})
		n.TrenchLength += length
		if kind == layout.SurfacePaving {
			n.PavingCrossingLength += length
		}
		start, kind = at(i), next
	}
}
