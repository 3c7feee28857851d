package uniformity

import (
	"fmt"
	"math"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// DefaultCell is the side of a grid cell.
const DefaultCell layout.Length = 0.25

// Settings steer a simulation. The zero value works.
type Settings struct {
	Cell layout.Length // side of a cell; 0 means [DefaultCell]
	Rule CountRule     // what counts as the lowest quarter and half
}

// Result is the water on a lawn while all heads run.
type Result struct {
	Cell layout.Length // side of the cells, as used

	// At holds the centres of the cells that lie on the lawn, row by row from
	// the south and each row from the west; Rates what falls there, in mm/h.
	At    []geom.Point
	Rates []float64

	Statistics Statistics // of Rates
	LowestAt   geom.Point // the first cell with the lowest rate

	// HeadToHead is the share of the lawn's cells that two or more heads
	// reach.
	HeadToHead float64

	Heads []Balance // in the order given
	Total Balance
}

// MeanRate is the precipitation rate as it arrives: what lands on the lawn,
// over the lawn.
func (r *Result) MeanRate() Rate { return Rate(r.Statistics.Mean) }

// Balance tells where the flow of a head, or of all, ends up. The three parts
// are sums over cells and miss the flow by the error of the grid: some 1e-4 of
// it for profiles that fall to nothing at full throw, 1 % for an even one whose
// throw is twelve cells. They meet it for a variable-throw head, whose rate is
// set by the cells it reaches.
type Balance struct {
	Flow    layout.Flow // what the head gives
	OnLawn  layout.Flow
	OffLawn layout.Flow // on open ground outside the lawn: overspray
	Blocked layout.Flow // against or behind buildings and walls
}

// OversprayShare is the share of the flow that lands off the lawn.
func (b Balance) OversprayShare() float64 { return b.share(b.OffLawn) }

// BlockedShare is the share of the flow that buildings and walls take.
func (b Balance) BlockedShare() float64 { return b.share(b.Blocked) }

// GridError is what the parts miss the flow by, as a share of it: positive when
// the cells hold too little. It is 1 for a head that reaches no cell's centre.
func (b Balance) GridError() float64 { return b.share(b.Flow - b.OnLawn - b.OffLawn - b.Blocked) }

func (b Balance) share(part layout.Flow) float64 {
	if b.Flow == 0 {
		return 0
	}
	return float64(part / b.Flow)
}

func (b Balance) plus(c Balance) Balance {
	return Balance{b.Flow + c.Flow, b.OnLawn + c.OnLawn, b.OffLawn + c.OffLawn, b.Blocked + c.Blocked}
}

// Simulate computes what falls on the cells of the lawn when the heads run. It
// fails when the lawn holds no cell, when it or a throw spans too many, or when
// a head makes no sense; the error names the head.
func Simulate(lawn geom.Region, heads []Sprinkler, s Settings) (*Result, error) {
	if s.Cell == 0 {
		s.Cell = DefaultCell
	}
	cellMM := s.Cell.Millimetres()
	if !(s.Cell > 0) || cellMM < 1 || cellMM > geom.MaxCoord {
		return nil, fmt.Errorf("a cell of %v m is below 1 mm or too large", s.Cell.Metres())
	}
	g, err := newGrid(lawn, cellMM)
	if err != nil {
		return nil, err
	}
	r := &Result{Cell: layout.Length(cellMM) / geom.MillimetresPerMetre, At: g.at, Rates: make([]float64, len(g.at))}
	reachedBy, fall := make([]int32, len(g.at)), shower{cells: make([]drop, 0, len(g.at))}
	for _, h := range heads {
		if err := checkHead(h, cellMM); err != nil {
			return nil, err
		}
		fall.over(g, h)
		b := r.add(&fall, h, g.cellM2())
		r.Heads, r.Total = append(r.Heads, b), r.Total.plus(b)
		for _, c := range fall.cells {
			reachedBy[c.index]++
		}
	}
	if r.Statistics, err = Evaluate(r.Rates, s.Rule); err != nil {
		return nil, err
	}
	r.LowestAt = g.at[slices.Index(r.Rates, r.Statistics.Lowest)]
	r.HeadToHead = shareOfAtLeast(reachedBy, 2)
	return r, nil
}

func checkHead(h Sprinkler, cellMM int64) error {
	if err := h.Validate(); err != nil {
		return err
	}
	if across := 2 * h.Head.Throw.Millimetres() / cellMM; across*across > maxCells {
		return fmt.Errorf("head %q: a throw of %v m spans too many cells of %d mm: choose a larger cell",
			h.Head.Label, h.Head.Throw.Metres(), cellMM)
	}
	return nil
}

// add turns the relative rates of one head's shower into mm/h, adds them and
// returns where the head's water went.
func (r *Result) add(fall *shower, h Sprinkler, cellM2 float64) Balance {
	perRelative := h.perRelative((fall.onLawn + fall.offLawn) * cellM2)
	for _, c := range fall.cells {
		r.Rates[c.index] += float64(c.rate * perRelative)
	}
	perCell := perRelative * cellM2 / minutesPerHour
	b := Balance{Flow: h.Head.Flow, OnLawn: layout.Flow(fall.onLawn * perCell), OffLawn: layout.Flow(fall.offLawn * perCell)}
	if h.Head.Kind == layout.FixedArc {
		b.Blocked = layout.Flow(fall.blocked * perCell)
	}
	return b
}

// shower is what one head drops on the cells of a grid, in relative rates. It
// is used again from head to head.
type shower struct {
	cells                    []drop  // on the lawn and reached
	onLawn, offLawn, blocked float64 // sums over all cells in the sector
}

type drop struct {
	index int32
	rate  float64
}

// over works out the shower of h on g.
func (f *shower) over(g *grid, h Sprinkler) {
	*f = shower{cells: f.cells[:0]}
	t := newThrower(h)
	first, last := within(t.at.Y-g.first.Y, t.throwMM, g.cellMM)
	for row := first; row <= last; row++ {
		f.along(g, row, &t)
	}
}

// thrower is a sprinkler prepared for many cells.
type thrower struct {
	at               geom.Point
	throwMM, leastMM int64
	throw            float64 // mm, not rounded to the grid
	arc              arc
	profile          radial
	view             View
}

func newThrower(h Sprinkler) thrower {
	return thrower{at: h.Head.At, throwMM: h.Head.Throw.Millimetres(), leastMM: h.LeastThrow.Millimetres(),
		throw: h.Head.Throw.Metres() * geom.MillimetresPerMetre, arc: h.arc(), profile: h.radial(), view: h.View}
}

// along accounts for one row of cells. Its columns are cut to the circle,
// exactly; within it directions are told by two cross products.
func (f *shower) along(g *grid, row int64, t *thrower) {
	dy := g.centre(0, row).Y - t.at.Y
	// The root of a whole number below 2^52, rounded down, is exact.
	halfChord := int64(math.Sqrt(float64(t.throwMM*t.throwMM - dy*dy)))
	first, last := within(t.at.X-g.first.X, halfChord, g.cellMM)
	for col := first; col <= last; col++ {
		d := geom.Pt(g.centre(col, row).X-t.at.X, dy)
		d2 := d.Norm2()
		if d2 < t.leastMM*t.leastMM || !t.arc.has(d.Vec()) {
			continue
		}
		rate := t.profile.at(math.Sqrt(float64(d2)) / t.throw)
		switch cell := g.cellAt(col, row); {
		case t.view != nil && !t.view.Sees(t.at.Add(d)):
			f.blocked += rate
		case cell == offLawn:
			f.offLawn += rate
		default:
			f.onLawn += rate
			f.cells = append(f.cells, drop{cell, rate})
		}
	}
}

// shareOfAtLeast returns the share of the counts that are no lower than least.
func shareOfAtLeast(counts []int32, least int32) float64 {
	n := 0
	for _, c := range counts {
		if c >= least {
			n++
		}
	}
	return float64(n) / float64(len(counts))
}
