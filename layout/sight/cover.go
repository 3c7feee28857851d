package sight

import (
	"math"
	"slices"

	"lotwright/layout/geom"
)

// CoveredM2 returns the area, in square metres, of the union of the reaches.
//
//  1. Every outline is cut into curves that run strictly from left to right:
//     straight ones, and arcs of the upper or lower half circle.
//  2. The plane is cut into upright slabs at every end of a curve and every
//     crossing of two, so that within a slab no two curves change order.
//  3. In each slab the curves are sorted by height in its middle. Going up,
//     the number of reaches entered and not yet left tells where the union
//     begins and ends; the area between is the difference of two integrals in
//     closed form.
//
// A crossing missed by rounding misplaces a sliver no wider than the rounding;
// nothing else depends on coincidence or contact, so shared walls, touching
// circles and collinear rays need no care.
func CoveredM2(reaches []Reach) float64 { return coveredM2(nil, reaches) }

// CoveredWithinM2 returns the area, in square metres, of what the union of the
// reaches covers of the field's region. It differs from [CoveredM2] where
// throws cross paving.
func (f *Field) CoveredWithinM2(reaches []Reach) float64 {
	if f.acrossMM == 0 {
		return CoveredM2(reaches)
	}
	return coveredM2(f.edges, reaches)
}

// coveredM2 is the area of the union, within the region with the given edges
// if there are any. The region is one more owner of curves, after the reaches.
func coveredM2(within []geom.Segment, reaches []Reach) float64 {
	return newSweep(within, reaches).area() / (geom.MillimetresPerMetre * geom.MillimetresPerMetre)
}

func newSweep(within []geom.Segment, reaches []Reach) *sweep {
	var curves []curve
	for _, s := range within {
		curves = appendCurves(curves, piece{A: s.A.Vec(), B: s.B.Vec()}, len(reaches))
	}
	var room drawing
	for i := range reaches {
		curves = reaches[i].appendCurves(curves, &room, i)
	}
	sortCurves(curves)
	return &sweep{curves: curves, cuts: slabCuts(nil, curves), inside: make([]bool, len(reaches)+1), bounded: within != nil}
}

// appendCurves appends the curves that bound the reach.
func (r *Reach) appendCurves(out []curve, room *drawing, owner int) []curve {
	if r.outsider {
		return out
	}
	for _, p := range r.outlineAt(room, float64(r.ThrowMM)) {
		out = appendCurves(out, p, owner)
	}
	if r.LeastMM > 0 {
		for _, p := range r.outlineAt(room, float64(r.LeastMM)) {
			out = appendCurves(out, p, owner)
		}
	}
	return out
}

// curve is a function of x on [x0, x1].
type curve struct {
	x0, x1 float64
	owner  int
	// straight: y = y0 + slope·(x−x0)
	y0, slope float64
	// arc: y = center.Y + upper·√(radius² − (x−center.X)²)
	center geom.Vec
	radius float64 // 0: straight
	upper  float64 // +1 or −1
}

// appendCurves cuts p into curves and appends them; upright pieces bound no
// area and are dropped.
func appendCurves(out []curve, p piece, owner int) []curve {
	if p.radius != 0 {
		return appendArcs(out, p, owner)
	}
	a, b := p.A, p.B
	if a.X > b.X {
		a, b = b, a
	}
	if a.X == b.X {
		return out
	}
	return append(out, curve{x0: a.X, x1: b.X, owner: owner, y0: a.Y, slope: (b.Y - a.Y) / (b.X - a.X)})
}

// appendArcs cuts a counter-clockwise arc of less than half a turn at the
// circle's leftmost and rightmost points.
func appendArcs(out []curve, p piece, owner int) []curve {
	u, v := p.A.Sub(p.center), p.B.Sub(p.center)
	half := func(x0, x1, upper float64) {
		if x0 < x1 {
			out = append(out, curve{x0: x0, x1: x1, owner: owner, center: p.center, radius: p.radius, upper: upper})
		}
	}
	cx, r := p.center.X, p.radius
	switch {
	case u.Y >= 0 && v.Y >= 0 && u.X >= v.X:
		half(p.B.X, p.A.X, 1)
	case u.Y <= 0 && v.Y <= 0 && u.X <= v.X:
		half(p.A.X, p.B.X, -1)
	case u.Y >= 0: // over the leftmost point, from the upper to the lower half
		half(cx-r, p.A.X, 1)
		half(cx-r, p.B.X, -1)
	default: // over the rightmost point
		half(p.A.X, cx+r, -1)
		half(p.B.X, cx+r, 1)
	}
	return out
}

func (c *curve) at(x float64) float64 {
	if c.radius == 0 {
		return c.y0 + c.slope*(x-c.x0)
	}
	dx := x - c.center.X
	return c.center.Y + c.upper*math.Sqrt(math.Max(0, c.radius*c.radius-dx*dx))
}

// integral returns the area between the curve and y = 0 from a to b.
func (c *curve) integral(a, b float64) float64 {
	if c.radius == 0 {
		return (b - a) * (c.at(a) + c.at(b)) / 2
	}
	return c.center.Y*(b-a) + c.upper*(circlePrimitive(b-c.center.X, c.radius)-circlePrimitive(a-c.center.X, c.radius))
}

// circlePrimitive is an antiderivative of √(r²−x²).
func circlePrimitive(x, r float64) float64 {
	x = math.Max(-r, math.Min(r, x))
	return (x*math.Sqrt(r*r-x*x) + r*r*math.Asin(x/r)) / 2
}

// slabCuts appends the sorted abscissas at which curves begin, end or cross to
// the empty cuts. The curves come sorted by x0.
func slabCuts(cuts []float64, curves []curve) []float64 {
	for i := range curves {
		a := &curves[i]
		cuts = append(cuts, a.x0, a.x1)
		for j := i + 1; j < len(curves) && curves[j].x0 < a.x1; j++ {
			if b := &curves[j]; b.owner != a.owner {
				cuts = appendCrossings(cuts, a, b)
			}
		}
	}
	slices.Sort(cuts)
	return slices.Compact(cuts)
}

// appendCrossings appends the abscissas, common to both, where a and b cross.
func appendCrossings(cuts []float64, a, b *curve) []float64 {
	lo, hi := math.Max(a.x0, b.x0), math.Min(a.x1, b.x1)
	keep := func(x float64) {
		if lo < x && x < hi {
			cuts = append(cuts, x)
		}
	}
	switch {
	case a.radius == 0 && b.radius == 0:
		if a.slope != b.slope {
			keep(lo + (b.at(lo)-a.at(lo))/(a.slope-b.slope))
		}
	case a.radius == 0:
		crossLineArc(a, b, keep)
	case b.radius == 0:
		crossLineArc(b, a, keep)
	default:
		crossArcs(a, b, keep)
	}
	return cuts
}

func crossLineArc(l, c *curve, keep func(float64)) {
	// (x−cx)² + (y0 + m(x−x0) − cy)² = r², in u = x − x0
	dx, dy := l.x0-c.center.X, l.y0-c.center.Y
	qa, qb, qc := 1+l.slope*l.slope, dx+l.slope*dy, dx*dx+dy*dy-c.radius*c.radius
	disc := qb*qb - qa*qc
	if disc < 0 {
		return
	}
	root := math.Sqrt(disc)
	keep(l.x0 + (-qb-root)/qa)
	keep(l.x0 + (-qb+root)/qa)
}

func crossArcs(a, b *curve, keep func(float64)) {
	d := b.center.Sub(a.center)
	d2 := d.Dot(d)
	if d2 == 0 {
		return
	}
	t := (d2 + a.radius*a.radius - b.radius*b.radius) / (2 * d2)
	h2 := a.radius*a.radius/d2 - t*t
	if h2 < 0 {
		return
	}
	h := math.Sqrt(h2)
	keep(a.center.X + t*d.X - h*d.Y)
	keep(a.center.X + t*d.X + h*d.Y)
}

// rung is a curve at its height in the middle of a slab.
type rung struct {
	y     float64
	curve int32
}

// sweep goes through the slabs from left to right.
type sweep struct {
	curves []curve // by x0
	cuts   []float64
	active []rung // upward
	next   int
	inside []bool // whether the sweep line is inside each reach and, last, the bounding region

	bounded bool // only what lies in the bounding region counts
}

func (s *sweep) area() float64 {
	sum := 0.0
	for i := 1; i < len(s.cuts); i++ {
		s.enter(s.cuts[i-1], s.cuts[i])
		sum += s.between(s.cuts[i-1], s.cuts[i])
	}
	return sum
}

// enter makes the curves between abscissas a and b the active ones, sorted
// upward.
func (s *sweep) enter(a, b float64) {
	s.active = slices.DeleteFunc(s.active, func(r rung) bool { return s.curves[r.curve].x1 <= a })
	for ; s.next < len(s.curves) && s.curves[s.next].x0 <= a; s.next++ {
		if s.curves[s.next].x1 > a {
			s.active = append(s.active, rung{curve: int32(s.next)})
		}
	}
	mid := a + (b-a)/2
	for i := range s.active {
		s.active[i].y = s.curves[s.active[i].curve].at(mid)
	}
	sortRungs(s.active)
}

// sortRungs sorts by insertion: from one slab to the next little changes.
func sortRungs(rungs []rung) {
	for i := 1; i < len(rungs); i++ {
		r := rungs[i]
		k := i
		for ; k > 0 && (rungs[k-1].y > r.y || rungs[k-1].y == r.y && rungs[k-1].curve > r.curve); k-- {
			rungs[k] = rungs[k-1]
		}
		rungs[k] = r
	}
}

// between sums the covered stretches of a slab whose active curves are sorted
// upward.
func (s *sweep) between(a, b float64) float64 {
	clear(s.inside)
	bounding := len(s.inside) - 1
	s.inside[bounding] = !s.bounded
	sum, open, counting := 0.0, 0, false
	for _, r := range s.active {
		c := &s.curves[r.curve]
		open += s.pass(c)
		switch now := open > 0 && s.inside[bounding]; {
		case now && !counting:
			sum -= c.integral(a, b)
			counting = true
		case !now && counting:
			sum += c.integral(a, b)
			counting = false
		}
	}
	return sum
}

// pass goes up past c, into or out of its owner, and returns by how much that
// changes the number of reaches it is in.
func (s *sweep) pass(c *curve) int {
	s.inside[c.owner] = !s.inside[c.owner]
	switch {
	case c.owner == len(s.inside)-1: // the bounding region
		return 0
	case s.inside[c.owner]:
		return 1
	}
	return -1
}
