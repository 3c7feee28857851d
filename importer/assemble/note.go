package assemble

import (
	"cmp"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// compareNotes orders notes by all they hold.
func compareNotes(m, n layout.Note) int {
	return cmp.Or(cmp.Compare(m.Rule, n.Rule), cmp.Compare(m.Text, n.Text),
		cmp.Compare(m.Severity, n.Severity), comparePoints(m.At, n.At))
}

func comparePoints(p, q *geom.Point) int {
	switch {
	case p == nil && q == nil:
		return 0
	case p == nil:
		return -1
	case q == nil:
		return 1
	}
	return p.Compare(*q)
}
