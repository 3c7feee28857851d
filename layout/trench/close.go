package trench

import (
	"cmp"
	"fmt"
	"slices"

	"lotwright/layout"
)

// closeBy is how near a tee may lie to a head or the point of connection: nearer,
// the fittings of the two do not fit between. A judgement.
const closeBy layout.Length = 0.15

// mergeClose moves tees that lie too close to a head or the point of connection
// there, as long as the network stays no longer than its spanning tree. What
// ended at the tee is led on over the short way between, which is then dug once
// and counted with each.
func mergeClose(net *layout.Network, tees []string) {
	for merged := true; merged; {
		merged = false
		for i, r := range net.Runs {
			tee, end := r.From, r.To
			if !slices.Contains(tees, tee) {
				tee, end = end, tee
			}
			if r.Length >= closeBy || inPieces(net.Runs, i) || r.Surface != layout.SurfaceSoil || !slices.Contains(tees, tee) || slices.Contains(tees, end) {
				continue
			}
			if m, ok := mergedAt(*net, i, tee, end); ok {
				*net, merged = m, true
				break
			}
		}
	}
	renumber(net, tees)
}

// inPieces reports whether a run is one of several of its stretch.
func inPieces(runs []layout.TrenchRun, i int) bool {
	same := func(k int) bool {
		return k >= 0 && k < len(runs) && runs[k].From == runs[i].From && runs[k].To == runs[i].To
	}
	return same(i-1) || same(i+1)
}

// mergedAt returns the network with a tee moved to the other end of a run; ok is
// false where that would make it too long.
func mergedAt(net layout.Network, run int, tee, end string) (out layout.Network, ok bool) {
	short := slices.Clone(net.Runs[run].Path)
	if net.Runs[run].To == tee { // from the tee to the end
		slices.Reverse(short)
	}
	out = net
	out.Runs = slices.Delete(slices.Clone(net.Runs), run, run+1)
	out.TrenchLength -= net.Runs[run].Length
	for i := range out.Runs {
		r := &out.Runs[i]
		switch {
		case r.To == tee && r.Path[len(r.Path)-1] == short[0]:
			r.Path = straightened(append(slices.Clone(r.Path), short[1:]...))
		case r.From == tee && r.Path[0] == short[0]:
			back := slices.Clone(short)
			slices.Reverse(back)
			r.Path = straightened(append(back, r.Path[1:]...))
		case r.To == tee || r.From == tee: // another piece of a stretch that changes surface
		default:
			continue
		}
		if r.Path[0] == short[len(short)-1] || r.Path[len(r.Path)-1] == short[len(short)-1] {
			r.Length += net.Runs[run].Length
			out.TrenchLength += net.Runs[run].Length
		}
		if r.From == tee {
			r.From = end
		}
		if r.To == tee {
			r.To = end
		}
	}
	return out, out.TrenchLength <= out.SpanningTreeLength
}

// renumber names the tees that are left T1, T2… in the order they had, and puts
// the runs in the order of their names.
func renumber(net *layout.Network, tees []string) {
	name := make(map[string]string)
	for _, t := range tees {
		if slices.ContainsFunc(net.Runs, func(r layout.TrenchRun) bool { return r.From == t || r.To == t }) {
			name[t] = fmt.Sprintf("T%d", len(name)+1)
		}
	}
	for i := range net.Runs {
		r := &net.Runs[i]
		if n, ok := name[r.From]; ok {
			r.From = n
		}
		if n, ok := name[r.To]; ok {
			r.To = n
		}
	}
	slices.SortStableFunc(net.Runs, func(a, b layout.TrenchRun) int { // pieces of one stretch stay in order
		return cmp.Or(layout.CompareLabels(a.From, b.From), layout.CompareLabels(a.To, b.To))
	})
}
