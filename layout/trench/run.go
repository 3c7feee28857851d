package trench

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/graph"
)

// describe writes the tree into the network as runs, seen from the point of
// connection outward.
func (t *tree) describe(net *layout.Network, depth layout.Length) {
	hops := t.outward()
	labels := t.label(hops)
	total := int64(0)
	for _, chain := range chains(hops, labels) {
		from, to := labels[chain[0].from], labels[chain[len(chain)-1].to]
		for _, p := range t.pieces(chain) {
			total += p.length
			net.Runs = append(net.Runs, layout.TrenchRun{
				From: from, To: to, Surface: p.surface, Path: p.path, Length: metres(p.length), Depth: depth})
		}
	}
	net.TrenchLength = metres(total)
	mergeClose(net, t.teeLabels(labels))
	net.PavingCrossings, net.PavingCrossingLength = crossings(net.Runs)
	net.Unreached = t.unreached(hops)
}

// hop is a way walked in one sense.
type hop struct {
	way      int
	from, to int   // places
	dist     int64 // of to, from the point of connection along the tree, in µm
}

// outward returns the ways of the tree as walked from the point of connection,
// breadth first, neighbours in point order.
func (t *tree) outward() []hop {
	start := hop{way: -1, to: t.chart.standing[0]}
	hops := []hop{start}
	for k := 0; k < len(hops); k++ {
		at := hops[k]
		first := len(hops)
		for _, w := range t.at[at.to] {
			if w != at.way {
				hops = append(hops, hop{w, at.to, t.ways[w].other(at.to), at.dist + t.ways[w].length})
			}
		}
		slices.SortFunc(hops[first:], func(a, b hop) int {
			return t.chart.places[a.to].at.Compare(t.chart.places[b.to].at)
		})
	}
	return hops[1:]
}

// label names the places runs end at: terminals by what stands there, and other
// places where more than two ways meet T1, T2… outward from the point of
// connection.
func (t *tree) label(hops []hop) map[int]string {
	labels := make(map[int]string)
	for i, p := range t.chart.standing {
		labels[p] = t.chart.terminals[i].labels[0]
	}
	var tees []hop
	for _, h := range hops {
		if t.isTee(h.to) {
			tees = append(tees, h)
		}
	}
	slices.SortFunc(tees, func(a, b hop) int {
		return cmp.Or(cmp.Compare(a.dist, b.dist), t.chart.places[a.to].at.Compare(t.chart.places[b.to].at))
	})
	for i, h := range tees {
		labels[h.to] = fmt.Sprintf("T%d", i+1)
	}
	return labels
}

// teeLabels lists the labels of tees, in order.
func (t *tree) teeLabels(labels map[int]string) (out []string) {
	for p, label := range labels {
		if t.isTee(p) {
			out = append(out, label)
		}
	}
	slices.SortFunc(out, layout.CompareLabels)
	return out
}

// chains joins hops into chains from one labelled place to the next.
func chains(hops []hop, labels map[int]string) [][]hop {
	next := make(map[int]hop, len(hops)) // from places with one way on
	for _, h := range hops {
		next[h.from] = h
	}
	var out [][]hop
	for _, h := range hops {
		if _, ok := labels[h.from]; !ok {
			continue
		}
		chain := []hop{h}
		for labels[h.to] == "" {
			h = next[h.to]
			chain = append(chain, h)
		}
		out = append(out, chain)
	}
	return out
}

// piece is a part of a chain in one surface.
type piece struct {
	surface layout.Surface
	length  int64 // µm
	path    geom.Line
}

// pieces cuts a chain where the surface changes.
func (t *tree) pieces(chain []hop) []piece {
	var out []piece
	for _, h := range chain {
		for _, p := range t.chart.cut(t.ways[h.way], h.from) {
			out = appendPiece(out, p)
		}
	}
	for i := range out {
		out[i].path = straightened(out[i].path)
	}
	return out
}

// cut returns the pieces of a way walked from one of its ends. The parts of its
// length add up to the whole.
func (c *chart) cut(w way, from int) []piece {
	a, b := c.places[from].at, c.places[w.other(from)].at
	if w.line != nil {
		line := slices.Clone(w.line)
		if line[0] != a {
			slices.Reverse(line)
		}
		return []piece{{layout.SurfaceSleeve, w.length, line}}
	}
	s := geom.Segment{A: a, B: b}
	var out []piece
	done, at := int64(0), a
	until := func(share float64, surface layout.Surface) {
		if end := int64(math.Round(share * float64(w.length))); end > done {
			p := along(s, share)
			out = append(out, piece{surface, end - done, geom.Line{at, p}})
			done, at = end, p
		}
	}
	for _, paved := range c.ground.paving.covered(s, nil) {
		until(paved.lo, layout.SurfaceSoil)
		until(paved.hi, layout.SurfacePaving)
	}
	until(1, layout.SurfaceSoil)
	return out
}

// appendPiece appends p, or prolongs the last piece if it is in the same
// surface. A piece too short to be told on the grid goes with its neighbour.
func appendPiece(pieces []piece, p piece) []piece {
	if len(pieces) == 0 {
		return append(pieces, p)
	}
	last := &pieces[len(pieces)-1]
	if last.surface != p.surface && !last.pointlike() && !p.pointlike() {
		return append(pieces, p)
	}
	if last.pointlike() {
		last.surface = p.surface
	}
	last.length += p.length
	last.path = append(last.path, p.path...)
	return pieces
}

func (p piece) pointlike() bool {
	for _, q := range p.path {
		if q != p.path[0] {
			return false
		}
	}
	return true
}

// straightened drops from l repeated points and those in line with their
// neighbours.
func straightened(l geom.Line) geom.Line {
	l = slices.Compact(l)
	out := l[:1]
	for i, p := range l[1:] {
		n := len(out)
		if n > 1 && geom.Orient(out[n-2], out[n-1], p) == 0 && between(geom.Segment{A: out[n-2], B: p}, out[n-1]) {
			out[n-1] = l[1+i]
			continue
		}
		out = append(out, p)
	}
	return out
}

// crossings returns how many unbroken parts of the network lie under paving,
// and their length together.
func crossings(runs []layout.TrenchRun) (int, layout.Length) {
	known := make(map[geom.Point]int)
	number := func(p geom.Point) int {
		if _, ok := known[p]; !ok {
			known[p] = len(known)
		}
		return known[p]
	}
	sets := graph.NewDisjointSet(2 * len(runs))
	joins, length := 0, layout.Length(0)
	for _, r := range runs {
		if r.Surface != layout.SurfacePaving {
			continue
		}
		length += r.Length
		if a, b := number(r.Path[0]), number(r.Path[len(r.Path)-1]); sets.Join(a, b) {
			joins++
		}
	}
	return len(known) - joins, length
}

// unreached lists the labels at terminals that no way of the tree leads to.
func (t *tree) unreached(hops []hop) []layout.Note {
	reached := map[int]bool{t.chart.standing[0]: true}
	for _, h := range hops {
		reached[h.to] = true
	}
	cut := make(map[string]geom.Point)
	for i, p := range t.chart.standing {
		for _, label := range t.chart.terminals[i].labels {
			if !reached[p] {
				cut[label] = t.chart.places[p].at
			}
		}
	}
	var out []layout.Note
	for _, label := range slices.SortedFunc(maps.Keys(cut), layout.CompareLabels) {
		at := cut[label]
		out = append(out, layout.Note{Rule: "trench.unreached", Severity: layout.SeverityError,
			Text: "head " + label + " " + t.chart.ground.whyUnreached(at), At: &at})
	}
	return out
}

func (g *ground) whyUnreached(p geom.Point) string {
	if q, ok := g.comeOut(p); !ok || !p.Within(q, gridSlack) {
		return "stands in ground that must not be opened"
	}
	return "cannot be reached from the point of connection without passing a building, a wall, water or ground that must not be opened"
}
