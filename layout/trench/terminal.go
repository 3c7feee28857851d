package trench

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// pocLabel names the point of connection as the end of a run.
const pocLabel = "POC"

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
	all := []terminal{{at: poc, labels: []string{pocLabel}, poc: true}}
	for i, h := range heads {
		all = append(all, terminal{at: h.At, labels: []string{headLabel(h, i)}})
	}
	slices.SortFunc(all[1:], func(a, b terminal) int {
		return cmp.Or(a.at.Compare(b.at), compareLabels(a.labels[0], b.labels[0]))
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

// compareLabels orders labels as people do: the point of connection, then by
// letters, then by number, so that H2 comes before H10.
func compareLabels(a, b string) int {
	if a == b {
		return 0
	}
	if a == pocLabel {
		return -1
	}
	if b == pocLabel {
		return 1
	}
	la, na := splitLabel(a)
	lb, nb := splitLabel(b)
	return cmp.Or(cmp.Compare(la, lb), cmp.Compare(na, nb), cmp.Compare(a, b))
}

func splitLabel(s string) (letters string, number int) {
	letters = strings.TrimRight(s, "0123456789")
	number, _ = strconv.Atoi(s[len(letters):])
	return letters, number
}
