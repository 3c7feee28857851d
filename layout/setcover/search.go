package setcover

import (
	"cmp"
	"math/rand/v2"
	"slices"
)

// search improves a cover by row-weighting local search (Gao, Weise and Li,
// European Journal of Operational Research 2015), extended to partial covers.
//
// It always works on a choice one column short of the best cover:
//
//  1. whenever the choice leaves no more than Spare uncovered, it is the new
//     best, and its cheapest column is dropped;
//  2. the cheapest column is dropped, the one just added excepted: cheap is
//     what uncovers the least row priority;
//  3. one uncovered row is drawn at random, and of the columns that cover it
//     the one that covers the most uncovered priority is added, the one just
//     dropped excepted;
//  4. the priority of every row still uncovered grows by its weight.
//
// Ties go to the column that has rested longest, then to the lower index. A row
// is uncovered while fewer chosen columns cover it than it demands; every column
// towards its demand counts its priority once.
type search struct {
	q   *reduced
	rng *rand.Rand

	priority  []int64 // of each row
	unit      []int64 // what a row's priority grows by: its weight, coarsened
	times     []int32 // how many chosen columns cover each row
	sum       []int32 // and the sum of their numbers
	chosen    indexSet
	score     []int64 // uncovered priority a column would add, or its own share would lose
	rested    []int   // move at which a column was last added or dropped
	uncovered indexSet
	left      int64 // uncovered weight
	move      int
	lastAdded int32
	lastGone  int32

	near     []int32 // a choice one short of the best cover that leaves least
	nearLeft int64
}

// coarseUnits is the priority of a row of the largest weight; rows of less
// than 1/coarseUnits of it count as that much.
const coarseUnits = 16

func newSearch(q *reduced, start []int32, seed uint64) *search {
	s := &search{
		q: q, rng: rand.New(rand.NewPCG(seed, 0x9e3779b97f4a7c15)),
		priority: make([]int64, len(q.weights)), unit: make([]int64, len(q.weights)),
		times: make([]int32, len(q.weights)), sum: make([]int32, len(q.weights)), chosen: newIndexSet(len(q.columns)),
		score: make([]int64, len(q.columns)), rested: make([]int, len(q.columns)),
		uncovered: newIndexSet(len(q.weights)), lastAdded: -1, lastGone: -1,
	}
	heaviest := slices.Max(q.weights)
	for r, w := range q.weights {
		s.unit[r] = max(1, w*coarseUnits/heaviest)
		s.priority[r] = s.unit[r]
		s.uncovered.add(int32(r))
		s.left += w
		for _, c := range q.rows[r] {
			s.score[c] += s.priority[r]
		}
	}
	for _, c := range start {
		s.add(c)
	}
	return s
}

// run makes at most the given number of moves and returns the best cover it
// finds, or nil if it finds none smaller than the one it started from. It
// stops early at a cover of size goal.
func (s *search) run(moves, goal int) (best []int32, done int) {
	start := s.chosen.len()
	for done = 0; done < moves && s.chosen.len() > 0; done++ {
		for s.left <= s.q.spare {
			if s.chosen.len() < start || best == nil {
				best = s.choice()
				s.near = nil
			}
			if s.chosen.len() <= goal {
				return improved(best, start), done
			}
			s.drop(s.cheapest(-1))
		}
		s.exchange()
		if s.left > s.q.spare && (s.near == nil || s.left < s.nearLeft) {
			s.near, s.nearLeft = s.choice(), s.left
		}
	}
	return improved(best, start), done
}

func improved(best []int32, start int) []int32 {
	if len(best) < start {
		return best
	}
	return nil
}

func (s *search) exchange() {
	s.move++
	if c := s.cheapest(s.lastAdded); c >= 0 {
		s.drop(c)
		s.lastGone = c
	}
	if c := s.bestFor(s.uncovered.at(s.rng.IntN(s.uncovered.len()))); c >= 0 {
		s.add(c)
		s.lastAdded = c
	}
	for _, r := range s.uncovered.members {
		s.priority[r] += s.unit[r]
		for _, c := range s.q.rows[r] {
			s.score[c] += s.unit[r]
		}
	}
}

// choice returns the chosen columns, ascending.
func (s *search) choice() []int32 {
	return slices.Sorted(slices.Values(s.chosen.members))
}

// cheapest returns the chosen column, other than except, whose loss would
// uncover the least priority; −1 if there is none.
func (s *search) cheapest(except int32) int32 {
	best := int32(-1)
	for _, c := range s.chosen.members {
		if c != except && (best < 0 || s.cheaper(c, best)) {
			best = c
		}
	}
	return best
}

func (s *search) cheaper(c, d int32) bool {
	return cmp.Or(cmp.Compare(s.score[c], s.score[d]), cmp.Compare(s.rested[c], s.rested[d]), cmp.Compare(c, d)) < 0
}

// bestFor returns the column covering row r, other than the one just dropped
// unless it is the only one left, that covers the most uncovered priority. Where one column is always enough
// there is −1 instead of that one: a choice held up by it is short of a column
// from then on, which is left as it is for the sake of the choices made so far.
func (s *search) bestFor(r int32) int32 {
	best := int32(-1)
	for _, c := range s.q.rows[r] {
		if c == s.lastGone || s.chosen.has(c) {
			continue
		}
		if best < 0 || s.score[c] > s.score[best] || s.score[c] == s.score[best] && s.rested[c] < s.rested[best] {
			best = c
		}
	}
	if best < 0 && s.q.most > 1 {
		return s.lastGone
	}
	return best
}

// add chooses column c. Its score turns from what it would cover into what it
// alone covers, which is the same rows.
func (s *search) add(c int32) {
	s.chosen.add(c)
	s.rested[c] = s.move
	for _, r := range s.q.columns[c] {
		s.times[r]++
		s.sum[r] += c
		switch s.times[r] - s.q.demand[r] {
		case 0:
			s.uncovered.remove(r)
			s.left -= s.q.weights[r]
			s.rescore(r, -s.priority[r], c)
		case 1:
			s.rescoreChosen(r, -s.priority[r], c)
		}
	}
}

// drop gives up column c.
func (s *search) drop(c int32) {
	s.chosen.remove(c)
	s.rested[c] = s.move
	for _, r := range s.q.columns[c] {
		s.times[r]--
		s.sum[r] -= c
		switch s.times[r] - s.q.demand[r] {
		case -1:
			s.uncovered.add(r)
			s.left += s.q.weights[r]
			s.rescore(r, s.priority[r], c)
		case 0:
			s.rescoreChosen(r, s.priority[r], c)
		}
	}
}

// rescore adds delta to every column that covers row r and is not chosen, except
// one.
func (s *search) rescore(r int32, delta int64, except int32) {
	once := s.q.demand[r] == 1 // then none other that covers it is chosen
	for _, c := range s.q.rows[r] {
		if c != except && (once || !s.chosen.has(c)) {
			s.score[c] += delta
		}
	}
}

// rescoreChosen adds delta to the chosen columns besides c that cover row r: as
// many as it demands.
func (s *search) rescoreChosen(r int32, delta int64, except int32) {
	left := s.q.demand[r]
	if left == 1 { // it is what the sum holds besides
		other := s.sum[r]
		if s.times[r] == 2 {
			other -= except
		}
		s.score[other] += delta
		return
	}
	for _, d := range s.chosen.members {
		if d != except && s.q.sets[d].has(r) {
			s.score[d] += delta
			if left--; left == 0 {
				return
			}
		}
	}
}

// indexSet is a set of small numbers with constant-time insertion, removal and
// drawing.
type indexSet struct {
	members []int32
	pos     []int32 // index in members, −1 if absent
}

func newIndexSet(n int) indexSet {
	l := indexSet{pos: make([]int32, n)}
	for i := range l.pos {
		l.pos[i] = -1
	}
	return l
}

func (l *indexSet) len() int         { return len(l.members) }
func (l *indexSet) at(i int) int32   { return l.members[i] }
func (l *indexSet) has(v int32) bool { return l.pos[v] >= 0 }

func (l *indexSet) add(v int32) {
	l.pos[v] = int32(len(l.members))
	l.members = append(l.members, v)
}

func (l *indexSet) remove(v int32) {
	i, last := l.pos[v], l.members[len(l.members)-1]
	l.members[i], l.pos[last] = last, i
	l.members = l.members[:len(l.members)-1]
	l.pos[v] = -1
}
