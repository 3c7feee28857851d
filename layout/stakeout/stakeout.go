package stakeout

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// Named is a place with a name.
type Named struct {
	Name string // unique among references and targets
	At   geom.Point
}

// Settings say how is measured. The zero value takes the defaults.
type Settings struct {
	Graduation Graduation    // of the tapes
	Tape       layout.Length // longest; 0 means [Graduation.Tape]
	// Sees reports whether a tape can be pulled straight from a to b; nil: it
	// always can. See [Past].
	Sees func(a, b geom.Point) bool
	// PermanentOnly keeps stakes from serving as references.
	PermanentOnly bool
}

// The rules for a pair of references.
const (
	LeastCrossingDeg = 30  // the design of record
	MostCrossingDeg  = 150 // the same

	// LeastTape is the shortest distance worth taping: below it the direction
	// is lost to the width of a stake. A judgement.
	LeastTape layout.Length = 0.3

	// Tolerated is how much worse than its best pair the pair of a target may
	// be where that saves references. The design of record.
	Tolerated = 1.2

	// MostTape bounds Settings.Tape.
	MostTape layout.Length = 200
)

// Side is where the target lies, seen from the first reference towards the
// second.
type Side string

// The sides.
const (
	Left  Side = "left"
	Right Side = "right"
)

// Row tells how to find one target.
type Row struct {
	Target        Named
	First, Second Tape // the first by name
	Side          Side
	CrossingDeg   float64 // angle at which the circles cross
	// Error is how far the place that the rounded distances lead to lies from
	// the target, rounded up to a tenth of a millimetre. From stakes it includes
	// what they are off.
	Error layout.Length
	// Round is 1 from permanent references; beyond, stakes of earlier rounds
	// serve too.
	Round int
}

// Tape is a distance from a reference.
type Tape struct {
	From     Named
	Stake    bool  // From is a target staked in an earlier round
	Marks    int64 // whole quarter inches or centimetres
	Distance layout.Length
}

// Missed is a target that no pair of references serves.
type Missed struct {
	Target Named
	Rule   string // "stakeout.too_far", "stakeout.hidden", "stakeout.too_near" or "stakeout.slanted"
	Reason string
}

// Result is the table.
type Result struct {
	Rows       []Row    // by round, then by name of the target
	Missed     []Missed // by name
	References []Named  // the permanent ones used, by name
	WorstError layout.Length
}

// Table finds two distances for each target; see the package comment for how.
// The result does not depend on the order of targets and references. An error
// means input that makes no sense.
func Table(targets, references []Named, s Settings) (Result, error) {
	if s.Tape == 0 {
		s.Tape = s.Graduation.Tape()
	}
	if err := validate(targets, references, s); err != nil {
		return Result{}, err
	}
	b := board{open: byName(targets), s: s}
	for _, r := range byName(references) {
		b.marks = append(b.marks, mark{Named: r, place: r.At.Vec()})
	}
	b.permanent = len(b.marks)
	found := b.survey()
	b.stake(found, b.few(found))
	for !s.PermanentOnly && len(b.open) > 0 && b.again() {
	}
	return b.result(), nil
}

func validate(targets, references []Named, s Settings) error {
	if !(s.Tape > 0 && s.Tape <= MostTape) {
		return fmt.Errorf("stakeout: a tape of %v is not between 0 and %v", s.Tape, MostTape)
	}
	if s.Graduation != QuarterInch && s.Graduation != Centimetre {
		return fmt.Errorf("stakeout: graduation %d is not known", s.Graduation)
	}
	if name, twice := repeated(slices.Concat(targets, references)); twice {
		return fmt.Errorf("stakeout: two places are called %q", name)
	}
	return nil
}

func repeated(list []Named) (string, bool) {
	seen := make(map[string]bool, len(list))
	for _, n := range list {
		if seen[n.Name] {
			return n.Name, true
		}
		seen[n.Name] = true
	}
	return "", false
}

func byName(list []Named) []Named {
	out := slices.Clone(list)
	slices.SortFunc(out, func(a, b Named) int { return layout.CompareLabels(a.Name, b.Name) })
	return out
}

// mark is what can be taped from: a permanent reference or a stake.
type mark struct {
	Named
	place geom.Vec // where it stands, in mm: a stake is a little off
	stake bool
}

// board is one table under way.
type board struct {
	marks     []mark  // permanent references by name, then stakes as they come
	permanent int     // how many
	open      []Named // targets not staked, by name
	rows      []Row
	rounds    int
	s         Settings
}

// pair is two marks that serve a target, the first in the list first.
type pair struct {
	first, second int
	stakes        int
	cost          float64 // see [cost]
	row           Row
	place         geom.Vec // where the row leads to
}

// survey lists for every open target the pairs that serve it, the best first.
func (b *board) survey() (found [][]pair) {
	for _, t := range b.open {
		found = append(found, b.serving(t, b.view(t).usable))
	}
	return found
}

// stake stakes every open target with the best of its pairs whose marks are
// taken.
func (b *board) stake(found [][]pair, taken []bool) {
	b.rounds++
	var left []Named
	for i, t := range b.open {
		k := slices.IndexFunc(found[i], func(p pair) bool { return taken[p.first] && taken[p.second] })
		if k < 0 {
			left = append(left, t)
			continue
		}
		p := found[i][k]
		p.row.Round = b.rounds
		b.rows = append(b.rows, p.row)
		b.marks = append(b.marks, mark{t, p.place, true})
	}
	b.open = left
}

// again stakes what can be staked with the help of stakes, and reports whether
// anything was.
func (b *board) again() bool {
	all := make([]bool, len(b.marks))
	for i := range all {
		all[i] = true
	}
	before := len(b.rows)
	b.stake(b.survey(), all)
	return len(b.rows) > before
}

// view is what can be taped from a target.
type view struct {
	inReach, farEnough int // within the tape; of these, not too near
	usable             []int
}

// standing lists what may be taped from.
func (b *board) standing() []mark {
	if b.s.PermanentOnly {
		return b.marks[:b.permanent]
	}
	return b.marks
}

func (b *board) view(t Named) (v view) {
	for i, m := range b.standing() {
		if !m.At.Within(t.At, b.s.Tape.Millimetres()) {
			continue
		}
		v.inReach++
		if m.At.Within(t.At, LeastTape.Millimetres()-1) {
			continue
		}
		v.farEnough++
		if b.s.Sees == nil || b.s.Sees(m.At, t.At) {
			v.usable = append(v.usable, i)
		}
	}
	return v
}

// serving lists the pairs that serve a target, those with fewest stakes first
// and then the best.
func (b *board) serving(t Named, usable []int) (list []pair) {
	for k, j := range usable {
		for _, i := range usable[:k] {
			if p, ok := b.pair(t, i, j); ok {
				list = append(list, p)
			}
		}
	}
	slices.SortFunc(list, func(p, q pair) int {
		return cmp.Or(cmp.Compare(p.stakes, q.stakes), cmp.Compare(p.cost, q.cost),
			cmp.Compare(p.first, q.first), cmp.Compare(p.second, q.second))
	})
	return list
}

// pair describes two marks, and reports whether they serve the target.
func (b *board) pair(t Named, i, j int) (pair, bool) {
	first, second := b.marks[i], b.marks[j]
	angle := crossingDeg(t.At, first.At, second.At)
	if angle < LeastCrossingDeg || angle > MostCrossingDeg {
		return pair{}, false
	}
	row := Row{Target: t, First: b.tape(first, t), Second: b.tape(second, t), Side: Left, CrossingDeg: angle}
	if geom.Orient(first.At, second.At, t.At) < 0 {
		row.Side = Right
	}
	at, ok := row.place(first.place, second.place)
	row.Error = roundedUp(at.Sub(t.At.Vec()).Norm())
	p := pair{first: i, second: j, cost: cost(t.At, first.At, second.At), row: row, place: at}
	for _, m := range [2]mark{first, second} {
		if m.stake {
			p.stakes++
		}
	}
	return p, ok
}

func (b *board) tape(from mark, t Named) Tape {
	marks := b.s.Graduation.round(from.At.DistanceMM(t.At))
	return Tape{from.Named, from.stake, marks, b.s.Graduation.length(marks)}
}

// crossingDeg is the angle at which circles round a and b through t cross: that
// between the tapes.
func crossingDeg(t, a, b geom.Point) float64 {
	u, v := a.Sub(t), b.Sub(t)
	return math.Atan2(math.Abs(float64(u.Cross(v))), float64(u.Dot(v))) * 180 / math.Pi
}

// steadyMM is the length of tape on which what grows with it (sag, pull, lie of
// the ground) errs as much as what does not (holding, reading, the width of a
// stake): about 5 mm against 0.5 mm a metre. A judgement.
const steadyMM = 10_000

// cost is the longer tape, with [steadyMM], over the sine of the crossing, in mm:
// in proportion to how far an error may move the place. No product is added to
// anything, so it is the same on every machine.
func cost(t, a, b geom.Point) float64 {
	u, v := t.DistanceMM(a), t.DistanceMM(b)
	return (steadyMM + max(u, v)) * (u * v / math.Abs(float64(a.Sub(t).Cross(b.Sub(t)))))
}

// place returns where the rounded distances lead to from two places, and whether
// the circles cross at all.
func (r Row) place(from, to geom.Vec) (geom.Vec, bool) {
	u, v := r.First.Distance.Metres()*geom.MillimetresPerMetre, r.Second.Distance.Metres()*geom.MillimetresPerMetre
	base := to.Sub(from)
	d := base.Norm()
	along := (u*u - v*v + d*d) / (2 * d)
	across2 := u*u - along*along
	if across2 <= 0 {
		return geom.Vec{}, false
	}
	across := math.Sqrt(across2)
	if r.Side == Right {
		across = -across
	}
	e := base.Scale(1 / d)
	return from.Add(e.Scale(along)).Add(geom.Vec{X: -e.Y, Y: e.X}.Scale(across)), true
}

// roundedUp returns a distance in mm, up to the next tenth.
func roundedUp(mm float64) layout.Length {
	return layout.Length(math.Ceil(mm*10) / 10 / geom.MillimetresPerMetre)
}

// why says why no pair serves a target.
func (b *board) why(t Named, v view) Missed {
	m := Missed{Target: t}
	switch {
	case v.inReach < 2:
		m.Rule = "stakeout.too_far"
		m.Reason = fmt.Sprintf("%s within %v of it; two are needed", counted(v.inReach), b.s.Tape)
	case v.farEnough < 2:
		m.Rule = "stakeout.too_near"
		m.Reason = fmt.Sprintf("of %s within reach, %d is farther than %v, the least that can be taped; two are needed",
			counted(v.inReach), v.farEnough, LeastTape)
	case len(v.usable) < 2:
		m.Rule = "stakeout.hidden"
		m.Reason = fmt.Sprintf("of %s within reach, %d can be seen from it; two are needed", counted(v.farEnough), len(v.usable))
	default:
		m.Rule = "stakeout.slanted"
		m.Reason = fmt.Sprintf("of %s that it sees, no two lie at an angle between %d° and %d°; the nearest to square are at %.0f°",
			counted(len(v.usable)), LeastCrossingDeg, MostCrossingDeg, b.squarest(t, v.usable))
	}
	return m
}

func counted(n int) string {
	switch n {
	case 0:
		return "no point to tape from"
	case 1:
		return "one point to tape from"
	}
	return fmt.Sprintf("%d points to tape from", n)
}

// squarest returns the angle nearest to 90° of two marks.
func (b *board) squarest(t Named, usable []int) float64 {
	best := 0.0
	for k, j := range usable {
		for _, i := range usable[:k] {
			if a := crossingDeg(t.At, b.marks[i].At, b.marks[j].At); math.Abs(a-90) < math.Abs(best-90) {
				best = a
			}
		}
	}
	return best
}

// result sums up.
func (b *board) result() Result {
	out := Result{Rows: b.rows}
	used := make(map[string]bool)
	for _, r := range b.rows {
		used[r.First.From.Name], used[r.Second.From.Name] = true, true
		out.WorstError = max(out.WorstError, r.Error)
	}
	for _, m := range b.marks[:b.permanent] {
		if used[m.Name] {
			out.References = append(out.References, m.Named)
		}
	}
	for _, t := range b.open {
		out.Missed = append(out.Missed, b.why(t, b.view(t)))
	}
	return out
}
