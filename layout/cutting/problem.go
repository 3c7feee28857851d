// Package cutting cuts pieces from sticks: one-dimensional cutting stock, which
// with one length of stick is bin packing.
//
// Lengths are whole millimetres. The sticks come in one or several lengths, any
// number of each, and every cut may cost a kerf. Small instances are solved
// exactly by branch and bound over the ways of filling one stick; larger ones by
// best-fit decreasing, minimum bin slack (Gupta and Ho 1999) and repacking. All
// come with a lower bound that nothing can beat: the lengths' sum and dual feasible
// functions, which for one length of stick make L1 and L2 of Martello and Toth
// (Discrete Applied Mathematics 28, 1990).
//
// The package knows nothing of what is cut.
package cutting

import (
	"fmt"
)

// Stock is a length of stick that can be had in any number.
type Stock struct {
	Length int64 // mm
	Cost   int64 // what is kept small; 0: the length
}

// Problem is an instance.
type Problem struct {
	Pieces []int64 // mm
	Stocks []Stock
	Kerf   int64 // mm lost to each cut between two pieces or a piece and its offcut
}

// The largest lengths, costs and sum of pieces that are taken, so that products
// of two of them stay within 63 bits.
const (
	maxLength = 1 << 30 // mm
	maxTotal  = 1 << 40 // mm
)

// Validate says what makes p not a problem, if anything.
func (p Problem) Validate() error {
	if p.Kerf < 0 || p.Kerf >= maxLength {
		return fmt.Errorf("kerf %d mm is not in [0, 2^30)", p.Kerf)
	}
	longest := int64(0)
	for i, s := range p.Stocks {
		if s.Length <= 0 || s.Length >= maxLength {
			return fmt.Errorf("stock %d: length %d mm is not in (0, 2^30)", i, s.Length)
		}
		if s.Cost < 0 || s.Cost >= maxLength {
			return fmt.Errorf("stock %d: cost %d is not in [0, 2^30)", i, s.Cost)
		}
		longest = max(longest, s.Length)
	}
	total := int64(0)
	for i, w := range p.Pieces {
		if w <= 0 {
			return fmt.Errorf("piece %d: length %d mm is not positive", i, w)
		}
		if w > longest {
			return fmt.Errorf("piece %d: %d mm is longer than the longest stick, %d mm", i, w, longest)
		}
		if total += w + p.Kerf; total >= maxTotal {
			return fmt.Errorf("piece %d: the pieces come to 2^40 mm or more", i)
		}
	}
	return nil
}

// Settings limit the effort. The zero value suits a lot or a batch.
type Settings struct {
	Nodes int    // steps of the exact search and of repacking; 0: 100 000; negative: none
	Seed  uint64 // of the choice of what is repacked
}

const defaultNodes = 100_000

func (s Settings) nodes() int {
	if s.Nodes == 0 {
		return defaultNodes
	}
	return max(0, s.Nodes)
}

// Status says how good a result is known to be.
type Status string

// The statuses. An early stop is not an error.
const (
	Optimal Status = "optimal" // no cutting costs less
	Limited Status = "limited" // the effort ran out; Bound says how much less it might cost
)

// Stick is one stick and what is cut from it.
type Stick struct {
	Stock  int   // index into Stocks
	Pieces []int // indices into Pieces, longest first
}

// Result is a cutting.
type Result struct {
	Sticks []Stick // the longest stock first, then the fullest
	Cost   int64   // of all sticks
	Bound  int64   // no cutting costs less than this
	Status Status
	Nodes  int // steps spent
}

// instance is a problem with the kerf added to pieces and sticks, which lets k
// pieces with k−1 cuts between them fit exactly when their sum does, and with
// pieces of one length counted together.
type instance struct {
	sizes  []int64 // of pieces, longest first
	counts []int   // of each size
	stocks []Stock // in the problem's order
	total  int64   // of all pieces

	longest int64   // stick
	unit    int64   // all costs are multiples of it
	covers  []int64 // least cost of sticks that hold so many mm; nil: not tabled
}

func newInstance(p Problem, sizes []int64, counts []int) *instance {
	in := &instance{sizes: sizes, counts: counts, unit: 1}
	for _, s := range p.Stocks {
		if s.Cost == 0 {
			s.Cost = s.Length
		}
		s.Length += p.Kerf
		in.stocks = append(in.stocks, s)
	}
	in.measureStocks()
	for k, w := range sizes {
		in.total += w * int64(counts[k])
	}
	in.tableCovers()
	return in
}

func (in *instance) measureStocks() {
	unit := int64(0)
	for _, s := range in.stocks {
		in.longest = max(in.longest, s.Length)
		for a := s.Cost; a != 0; {
			unit, a = a, unit%a
		}
	}
	in.unit = max(1, unit)
}

// fill is a way of filling one stick.
type fill struct {
	stock int
	cuts  []cut
	used  int64 // mm, kerfs counted
}

// cut is a number of pieces of one size.
type cut struct{ size, n int }

// packing is a list of filled sticks.
type packing struct {
	fills []fill
	cost  int64
}

func (k *packing) add(in *instance, f fill) {
	k.fills = append(k.fills, f)
	k.cost += in.stocks[f.stock].Cost
}
