package geom

import (
	"cmp"
	"math"
	"slices"
)

// FlawKind names what is wrong with a polygon's rings.
type FlawKind string

// The flaws. Those marked "mended" leave one reading only and are put right.
const (
	FlawDuplicates  FlawKind = "duplicate_vertices" // mended: vertices at the same place in a row
	FlawSpike       FlawKind = "spike"              // mended: the ring runs out and back on itself
	FlawNoise       FlawKind = "noise"              // mended: edges cross, but the wrong side is a sliver
	FlawTouch       FlawKind = "touch"              // mended: the ring touches itself
	FlawHoleMerged  FlawKind = "hole_merged"        // mended: a hole shares an edge with the shell, or sticks out a sliver
	FlawHolesMerged FlawKind = "holes_merged"       // mended: holes overlap or lie in one another
	FlawRepeated    FlawKind = "repeated"           // mended: a hole is there twice
	FlawEmptyHole   FlawKind = "empty_hole"         // mended: a hole without area

	FlawCrossing    FlawKind = "crossing"     // fatal: the ring crosses itself
	FlawRingsCross  FlawKind = "rings_cross"  // fatal: a hole crosses the shell
	FlawHoleOutside FlawKind = "hole_outside" // fatal: a hole lies outside the shell
	FlawNoArea      FlawKind = "no_area"      // fatal: nothing is left of the shell
)

// Fatal reports whether a flaw leaves no single reading.
func (k FlawKind) Fatal() bool {
	switch k {
	case FlawCrossing, FlawRingsCross, FlawHoleOutside, FlawNoArea:
		return true
	}
	return false
}

// Flaw is one thing wrong with a polygon.
type Flaw struct {
	Kind  FlawKind
	Ring  int   // which ring, 0 the shell
	Other int   // the other ring concerned; equal to Ring when there is none
	At    Point // where
	Count int   // how many vertices, for FlawDuplicates and FlawSpike
}

// Tolerances of [Mend], in millimetres.
const (
	// NearMM is the distance within which two places are one: rounding to the
	// grid moves a point by 0.71 mm, a crossing by as much again.
	NearMM = 2
	// SpikeMM is the least length of a spike that is up to NearMM wide; exact
	// ones are found at any length.
	SpikeMM = 100
	// NoiseMM is the greatest width of what a crossing turns inside out for it
	// to count as noise: rounding to six decimals of a degree moves a point by
	// up to 79 mm, so two that were apart can pass each other by 158 mm.
	NoiseMM = 200
)

// Mend returns the region that the rings of one polygon (the shell, then its
// holes, in any direction) enclose, and what was wrong with them, in order of
// ring. After a fatal flaw there is no region. The result does not depend on
// where rings start or which way they run.
//
//  1. Every ring is brought to one start and direction, and repeated vertices
//     and spikes are taken out.
//  2. All pairs of edges are looked at once, by a sweep: crossings, and
//     vertices within [NearMM] of an edge they do not belong to.
//  3. A ring with such contacts is noded and read by its winding number. What
//     winds other than 0 or 1 times was turned inside out by a crossing: wider
//     than [NoiseMM] it is fatal.
//  4. Holes with contacts are taken away from the shell as regions; all others
//     need only be placed.
func Mend(rings []Ring) (Region, []Flaw) {
	if len(rings) == 0 {
		return nil, []Flaw{{Kind: FlawNoArea}}
	}
	m := &mender{rings: make([]Ring, len(rings)), regions: make([]Region, len(rings))}
	for i, r := range rings {
		m.rings[i] = m.clean(i, r)
	}
	m.contacts()
	if m.fatal() {
		return nil, m.flaws
	}
	for i := range m.rings {
		m.read(i)
	}
	if m.fatal() {
		return nil, m.flaws
	}
	return m.combine(), m.flaws
}

type mender struct {
	rings   []Ring
	regions []Region // of each ring by itself
	flaws   []Flaw

	crossings []contact
	touches   []contact
}

// contact is a place where two edges meet that are not neighbours.
type contact struct {
	ring, other int // ring ≤ other
	edge        int // of ring: the edge to be bent through at, −1 for none
	otherEdge   int // likewise of other
	at          Point
}

func (m *mender) add(f Flaw) { m.flaws = append(m.flaws, f) }

func (m *mender) fatal() bool {
	return slices.ContainsFunc(m.flaws, func(f Flaw) bool { return f.Kind.Fatal() })
}

// clean brings a ring into one form and takes out repeated vertices and spikes.
func (m *mender) clean(ring int, r Ring) Ring {
	r = r.oneForm()
	out, n := r.withoutRepeats()
	if n > 0 {
		m.add(Flaw{Kind: FlawDuplicates, Ring: ring, Other: ring, At: r[0], Count: n})
	}
	out, spikes := out.withoutSpikes()
	if len(spikes) > 0 {
		m.add(Flaw{Kind: FlawSpike, Ring: ring, Other: ring, At: spikes[0], Count: len(spikes)})
	}
	if out.Area2() < 0 {
		out = out.Reversed()
	}
	return out.canonical()
}

// oneForm returns r started at its least point and run the way that gives the
// lesser sequence of points, so that all ways of writing r down become one.
func (r Ring) oneForm() Ring {
	if len(r) == 0 {
		return r
	}
	least := slices.MinFunc(r, Point.Compare)
	var best Ring
	for _, way := range [2]Ring{r, r.Reversed()} {
		for k, p := range way {
			if p != least {
				continue
			}
			if c := slices.Concat(way[k:], way[:k]); best == nil || slices.CompareFunc(c, best, Point.Compare) < 0 {
				best = c
			}
		}
	}
	return best
}

// withoutRepeats drops vertices within NearMM of the one before and counts
// them.
func (r Ring) withoutRepeats() (Ring, int) {
	out := make(Ring, 0, len(r))
	for _, p := range r {
		if len(out) == 0 || !p.Within(out[len(out)-1], NearMM) {
			out = append(out, p)
		}
	}
	for len(out) > 1 && out[len(out)-1].Within(out[0], NearMM) {
		out = out[:len(out)-1]
	}
	return out, len(r) - len(out)
}

// withoutSpikes drops the tips at which r turns back on itself and returns
// them. Dropping one may bare the next, so the walk steps back each time.
func (r Ring) withoutSpikes() (out Ring, tips []Point) {
	out = slices.Clone(r)
	for i := 0; i < len(out) && len(out) > 2; {
		a, b, c := out[(i+len(out)-1)%len(out)], out[i], out[(i+1)%len(out)]
		if !isSpike(a, b, c) {
			i++
			continue
		}
		tips = append(tips, b)
		out = slices.Delete(out, i, i+1)
		if k := i % len(out); out[k].Within(out[(k+len(out)-1)%len(out)], NearMM) {
			out = slices.Delete(out, k, k+1)
		}
		i = max(0, i-2)
	}
	return out, tips
}

// isSpike reports whether the path from a over b to c comes back along itself.
func isSpike(a, b, c Point) bool {
	u, v := b.Sub(a), c.Sub(b)
	if u.Dot(v) >= 0 {
		return false
	}
	if u.Cross(v) == 0 {
		return true
	}
	long := !a.Within(b, SpikeMM) && !b.Within(c, SpikeMM)
	return long && (Segment{a, b}.WithinOf(c, NearMM) || Segment{b, c}.WithinOf(a, NearMM))
}

// sweepEdge is an edge in the order of the sweep.
type sweepEdge struct {
	Segment
	box        Bounds
	ring, edge int
}

// contacts finds all contacts between edges, of one ring or of two.
func (m *mender) contacts() {
	var edges []sweepEdge
	for i, r := range m.rings {
		k := 0
		for s := range r.Edges() {
			edges = append(edges, sweepEdge{s, s.Bounds(), i, k})
			k++
		}
	}
	slices.SortFunc(edges, func(a, b sweepEdge) int {
		return cmp.Or(cmp.Compare(a.box.Min.X, b.box.Min.X), cmp.Compare(a.ring, b.ring), cmp.Compare(a.edge, b.edge))
	})
	for i, a := range edges {
		if m.tangled(len(edges)) {
			return
		}
		wide := a.box.Pad(NearMM)
		for _, b := range edges[i+1:] {
			if b.box.Min.X > wide.Max.X {
				break
			}
			if wide.Overlaps(b.box) && !m.neighbours(a, b) {
				m.note(a, b)
			}
		}
	}
	slices.SortFunc(m.crossings, contact.compare)
	slices.SortFunc(m.touches, contact.compare)
}

// tangled reports whether there are far more crossings than rounding could
// make, and gives the polygon up: a ball of wool has no reading.
func (m *mender) tangled(edges int) bool {
	if len(m.crossings) <= 1000+edges {
		return false
	}
	c := m.crossings[0]
	m.add(Flaw{Kind: FlawCrossing, Ring: c.ring, Other: c.other, At: c.at})
	return true
}

func (m *mender) neighbours(a, b sweepEdge) bool {
	if a.ring != b.ring {
		return false
	}
	n := len(m.rings[a.ring])
	d := (a.edge - b.edge + n) % n
	return d <= 1 || d == n-1
}

// note files how two edges meet.
func (m *mender) note(a, b sweepEdge) {
	if cmp.Or(cmp.Compare(a.ring, b.ring), cmp.Compare(a.edge, b.edge)) > 0 {
		a, b = b, a
	}
	c := contact{ring: a.ring, other: b.ring, edge: a.edge, otherEdge: b.edge}
	if a.Crosses(b.Segment) {
		c.at = a.meet(b.Segment)
		m.crossings = append(m.crossings, c)
		return
	}
	for _, p := range [2]Point{b.A, b.B} {
		if a.WithinOf(p, NearMM) {
			m.touches = append(m.touches, contact{a.ring, b.ring, a.edge, -1, p})
		}
	}
	for _, p := range [2]Point{a.A, a.B} {
		if b.WithinOf(p, NearMM) {
			m.touches = append(m.touches, contact{a.ring, b.ring, -1, b.edge, p})
		}
	}
}

// compare orders contacts by rings, place and edges.
func (c contact) compare(d contact) int {
	return cmp.Or(cmp.Compare(c.ring, d.ring), cmp.Compare(c.other, d.other), c.at.Compare(d.at),
		cmp.Compare(c.edge, d.edge), cmp.Compare(c.otherEdge, d.otherEdge))
}

// contactsOf returns the contacts between two rings (or of one with itself),
// by place, from all in order.
func contactsOf(all []contact, ring, other int) []contact {
	rings := func(c contact, want [2]int) int {
		return cmp.Or(cmp.Compare(c.ring, want[0]), cmp.Compare(c.other, want[1]))
	}
	from, _ := slices.BinarySearchFunc(all, [2]int{ring, other}, rings)
	to, _ := slices.BinarySearchFunc(all, [2]int{ring, other + 1}, rings)
	return all[from:to]
}

// read works out the region of one ring by itself.
func (m *mender) read(i int) {
	crossings, touches := contactsOf(m.crossings, i, i), contactsOf(m.touches, i, i)
	if len(crossings)+len(touches) == 0 {
		m.regions[i] = nest([]Ring{m.rings[i]})
	} else {
		m.readTangled(i, crossings, touches)
	}
	if len(m.regions[i]) > 0 {
		return
	}
	kind := FlawNoArea
	if i > 0 {
		kind = FlawEmptyHole
	}
	var at Point
	if len(m.rings[i]) > 0 {
		at = m.rings[i][0]
	}
	m.add(Flaw{Kind: kind, Ring: i, Other: i, At: at})
}

// readTangled reads a ring that meets itself.
func (m *mender) readTangled(i int, crossings, touches []contact) {
	ring := m.rings[i].bentThrough(touches)
	m.regions[i] = Normalize([]Ring{ring})
	wrong := assemble(appendRings(nil, []Ring{ring}), func(w windingOf) bool { return w[0] != 0 && w[0] != 1 })
	switch thick := thickPart(wrong); {
	case len(thick) > 0: // crossing at a vertex is only a touch to the sweep
		m.add(Flaw{Kind: FlawCrossing, Ring: i, Other: i, At: nearestTo(thick, slices.Concat(crossings, touches))})
	case len(crossings) > 0:
		m.add(Flaw{Kind: FlawNoise, Ring: i, Other: i, At: crossings[0].at})
	default:
		m.add(Flaw{Kind: FlawTouch, Ring: i, Other: i, At: touches[0].at})
	}
}

// bentThrough returns r with its edges bent through the places where vertices
// lie close to them.
func (r Ring) bentThrough(touches []contact) Ring {
	cuts := map[int][]Point{}
	for _, c := range touches {
		if c.edge >= 0 {
			cuts[c.edge] = append(cuts[c.edge], c.at)
		}
		if c.otherEdge >= 0 {
			cuts[c.otherEdge] = append(cuts[c.otherEdge], c.at)
		}
	}
	out := make(Ring, 0, len(r)+len(touches))
	for k, p := range r {
		d := r[(k+1)%len(r)].Sub(p)
		slices.SortFunc(cuts[k], func(a, b Point) int {
			return cmp.Or(cmp.Compare(a.Sub(p).Dot(d), b.Sub(p).Dot(d)), a.Compare(b))
		})
		out = append(append(out, p), cuts[k]...)
	}
	return out
}

// thickPart returns what is left of g after half of NoiseMM is taken off all
// round; g itself when that cannot be worked out.
func thickPart(g Region) Region {
	if len(g) == 0 {
		return nil
	}
	core, err := Buffer(g, -NoiseMM/2, MitreJoin)
	if err != nil {
		return g
	}
	return core
}

// nearestTo returns the contact nearest to g, the first by place of several.
func nearestTo(g Region, contacts []contact) Point {
	best, bestDist := Point{}, math.Inf(1)
	for _, c := range contacts {
		d := g.DistanceMM(c.at)
		if d < bestDist {
			best, bestDist = c.at, d
		}
	}
	return best
}

// combine takes the holes out of the shell.
func (m *mender) combine() Region {
	shell := m.regions[0]
	var holes []Region
	apart := true
	for i := 1; i < len(m.rings); i++ {
		if len(m.regions[i]) == 0 {
			continue
		}
		apart = m.placeInShell(i) && m.placeAmongHoles(i) && apart
		holes = append(holes, m.regions[i])
	}
	if m.fatal() {
		return nil
	}
	if len(holes) == 0 {
		return shell
	}
	if apart && len(shell) == 1 && allSimple(holes) {
		return withHoles(shell, holes)
	}
	out := Difference(shell, Union(holes...))
	if len(out) == 0 {
		m.add(Flaw{Kind: FlawNoArea, At: shell[0][0][0]})
	}
	return out
}

func allSimple(gs []Region) bool {
	return !slices.ContainsFunc(gs, func(g Region) bool { return len(g) != 1 || len(g[0]) != 1 })
}

// withHoles returns a shell with holes that touch nothing.
func withHoles(shell Region, holes []Region) Region {
	rings := slices.Clone(shell[0])
	for _, h := range holes {
		rings = append(rings, h[0][0].Reversed())
	}
	return nest(rings)
}

// placeInShell checks hole i against the shell; true when they do not meet.
func (m *mender) placeInShell(i int) (apart bool) {
	shell, hole := m.regions[0], m.regions[i]
	crossings, touches := contactsOf(m.crossings, 0, i), contactsOf(m.touches, 0, i)
	if len(crossings)+len(touches) == 0 {
		if !shell.Has(hole[0][0][0]) {
			m.add(Flaw{Kind: FlawHoleOutside, Ring: i, Other: 0, At: hole[0][0][0]})
		}
		return shell.Has(hole[0][0][0]) && !hole.Has(shell[0][0][0])
	}
	switch over := Difference(hole, shell); {
	case len(thickPart(over)) == 0:
		if len(over) > 0 || distinctPlaces(touches) > 1 {
			m.add(Flaw{Kind: FlawHoleMerged, Ring: i, Other: 0, At: slices.Concat(crossings, touches)[0].at})
		}
	case len(thickPart(Intersection(hole, shell))) == 0:
		m.add(Flaw{Kind: FlawHoleOutside, Ring: i, Other: 0, At: hole[0][0][0]})
	case len(crossings) > 0:
		m.add(Flaw{Kind: FlawRingsCross, Ring: i, Other: 0, At: crossings[0].at})
	default:
		m.add(Flaw{Kind: FlawRingsCross, Ring: i, Other: 0, At: touches[0].at})
	}
	return false
}

func distinctPlaces(contacts []contact) int {
	n := 0
	for i, c := range contacts {
		if i == 0 || c.at != contacts[i-1].at {
			n++
		}
	}
	return n
}

// placeAmongHoles checks hole i against the holes before it; true when it
// meets none.
func (m *mender) placeAmongHoles(i int) (apart bool) {
	apart = true
	hole := m.regions[i]
	for j := 1; j < i; j++ {
		other := m.regions[j]
		if len(other) == 0 || !hole.Bounds().Pad(NearMM).Overlaps(other.Bounds()) {
			continue
		}
		touches := contactsOf(m.touches, j, i)
		meet := len(touches)+len(contactsOf(m.crossings, j, i)) > 0
		nested := !meet && (other.Has(hole[0][0][0]) || hole.Has(other[0][0][0]))
		switch {
		case slices.EqualFunc(hole, other, equalPolygons):
			m.add(Flaw{Kind: FlawRepeated, Ring: i, Other: j, At: hole[0][0][0]})
		case nested, meet && (distinctPlaces(touches) != 1 || len(Intersection(hole, other)) > 0):
			m.add(Flaw{Kind: FlawHolesMerged, Ring: i, Other: j, At: hole[0][0][0]})
		}
		apart = apart && !meet && !nested
	}
	return apart
}

func equalPolygons(p, q Polygon) bool {
	return slices.EqualFunc(p, q, func(r, s Ring) bool { return slices.Equal(r, s) })
}
