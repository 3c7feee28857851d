package hydraulic

import (
	"cmp"
	"errors"
	"math"
	"slices"

	"lotwright/layout"
)

// CableTree is the trench a control cable may lie in: node 0 is where the
// controller's cable comes in, and each other node is joined to one before it.
type CableTree struct {
	Above  []int           // of each node, the one before it on the way from node 0; -1 for node 0
	Length []layout.Length // of the trench between the two
}

// Cable says how control cable is sold and laid. The zero value is the default.
type Cable struct {
	Piece layout.Length // standard length; 0 means [DefaultCablePiece]
	Slack layout.Length // left at each end of a hop; 0 means [DefaultCableSlack], negative none
}

// Defaults of control cable. Common practice, no source.
const (
	DefaultCablePiece layout.Length = 50 * layout.MetresPerFoot
	DefaultCableSlack layout.Length = 3 * layout.MetresPerFoot
)

// Hop is the cable between two stops of a daisy chain.
type Hop struct {
	From, To int
	Way      layout.Length // along the trench
	Pieces   int           // standard lengths
	Joints   int           // between them, in a valve box
	Spare    layout.Length // coiled up
}

// forgivenCable is the rounding of a way that takes no further piece, in m.
const forgivenCable = 1e-6

// DaisyChain returns the cable that passes every stop, from node 0, in hops from
// stop to stop along the trench. The order makes the whole way as short as any
// chain's: where the trench divides, the side that reaches farthest comes last,
// since from there the cable need not come back; the others go by reach, then
// number. The way is least, the number of standard lengths need not be. A way
// of the full tree twice, less the longest reach, is what it comes to.
func DaisyChain(t CableTree, stops []int, c Cable) ([]Hop, error) {
	if err := t.check(stops); err != nil {
		return nil, err
	}
	if c.Piece == 0 {
		c.Piece = DefaultCablePiece
	}
	if c.Slack == 0 {
		c.Slack = DefaultCableSlack
	}
	var hops []Hop
	from := 0
	for _, to := range t.chain(stops) {
		hops = append(hops, c.hop(from, to, t.way(from, to)))
		from = to
	}
	return hops, nil
}

func (t CableTree) check(stops []int) error {
	if len(t.Above) == 0 || len(t.Above) != len(t.Length) || t.Above[0] != -1 {
		return errors.New("a cable tree needs a way to every node but the first")
	}
	for i, above := range t.Above[1:] {
		if above < 0 || above > i || !finite(t.Length[i+1]) || t.Length[i+1] < 0 {
			return errors.New("a node of a cable tree must be joined to one before it")
		}
	}
	for _, s := range stops {
		if s < 0 || s >= len(t.Above) {
			return errors.New("a stop of a cable is not in its tree")
		}
	}
	return nil
}

// chain returns the stops in the order they are passed.
func (t CableTree) chain(stops []int) []int {
	wanted := make([]bool, len(t.Above))
	for _, s := range stops {
		wanted[s] = true
	}
	reach := make([]layout.Length, len(t.Above)) // from a node to its farthest stop; -1 none
	below := make([][]int, len(t.Above))
	for i := len(t.Above) - 1; i >= 0; i-- {
		reach[i] = -1
		if wanted[i] {
			reach[i] = 0
		}
		for _, c := range below[i] {
			reach[i] = max(reach[i], reach[c]+t.Length[c])
		}
		slices.SortFunc(below[i], func(a, b int) int {
			return cmp.Or(cmp.Compare(reach[a]+t.Length[a], reach[b]+t.Length[b]), cmp.Compare(a, b))
		})
		if i > 0 && reach[i] >= 0 {
			below[t.Above[i]] = append(below[t.Above[i]], i)
		}
	}
	var out []int
	var visit func(int)
	visit = func(i int) {
		if wanted[i] {
			out = append(out, i)
		}
		for _, c := range below[i] {
			visit(c)
		}
	}
	visit(0)
	return out
}

// way returns the length of trench between two nodes.
func (t CableTree) way(a, b int) (l layout.Length) {
	for a != b {
		if a < b {
			a, b = b, a
		}
		l += t.Length[a]
		a = t.Above[a]
	}
	return l
}

func (c Cable) hop(from, to int, way layout.Length) Hop {
	needs := way + 2*max(c.Slack, 0)
	pieces := max(1, int(math.Ceil((needs.Metres()-forgivenCable)/c.Piece.Metres())))
	return Hop{From: from, To: to, Way: way, Pieces: pieces, Joints: pieces - 1, Spare: max(0, layout.Length(pieces)*c.Piece-needs)}
}
