package trench

import (
	"cmp"
	"fmt"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// terminal is a place the network must reach, with the labels of all that
// stands there; the first names it.
type terminal struct {
	at     geom.Point
	labels []string
	poc    bool
}

// gather returns the point of connection and then the heads' places, in point
// order, so that nothing hangs on the order of the heads.
func gather(poc geom.Point, heads []layout.Head) []terminal {
	all := []terminal{{at: poc, labels: []string{layout.POCLabel}, poc: true}}
	for i, h := range heads {
		all = append(all, terminal{at: h.At, labels: []string{headLabel(h, i)}})
	}
	slices.SortFunc(all[1:], func(a, b terminal) int {
		return cmp.Or(a.at.Compare(b.at), layout.CompareLabels(a.labels[0], b.labels[0]))
	})
	out := all[:1]
	for _, t := range all[1:] {
		switch last := &out[len(out)-1]; {
		case t.at == poc:
			out[0].labels = append(out[0].labels, t.labels...)
		case last.at == t.at:
			last.labels = append(last.labels, t.labels...)
		default:
			out = append(out, t)
		}
	}
	return out
}

func headLabel(h layout.Head, i int) string {
	if h.Label != "" {
		return h.Label
	}
	return fmt.Sprintf("H%d", i+1)
}
