package setcover

import "slices"

// greedy returns the plain greedy choice.
func greedy(q *reduced) []int32 { return q.completed(nil) }

// completed adds to the columns given, while too much is uncovered, the column
// that covers the most weight of rows short of their demand; ties go to the
// lower index. It always ends, since the rows that cannot be covered are not in
// q.
func (q *reduced) completed(chosen []int32) []int32 {
	gain := make([]int64, len(q.columns))
	left := int64(0)
	for c, col := range q.columns {
		for _, r := range col {
			gain[c] += q.weights[r]
		}
	}
	for _, w := range q.weights {
		left += w
	}
	short := slices.Clone(q.demand)
	take := func(best int32) {
		for _, r := range q.columns[best] {
			if short[r]--; short[r] != 0 {
				continue
			}
			left -= q.weights[r]
			for _, c := range q.rows[r] {
				gain[c] -= q.weights[r]
			}
		}
		gain[best] = taken
	}
	for _, c := range chosen {
		take(c)
	}
	for left > q.spare {
		best := 0
		for c := range gain {
			if gain[c] > gain[best] {
				best = c
			}
		}
		chosen = append(chosen, int32(best))
		take(int32(best))
	}
	return chosen
}

// taken is the gain of a column that is chosen already: below any other, also
// after rows it covers have had enough.
const taken = -1

// fromOriginal returns the caller's columns as reduced ones, each by itself or
// by one that covers at least as much, without repeats.
func (q *reduced) fromOriginal(cols []int) []int32 {
	var out []int32
	for _, c := range cols {
		if r := q.standIn(c, out); r >= 0 && !slices.Contains(out, r) {
			out = append(out, r)
		}
	}
	return out
}

// standIn returns a reduced column, not among those chosen if need be, that
// covers what the caller's covers; −1 if it covers nothing that matters beside
// them.
func (q *reduced) standIn(c int, chosen []int32) int32 {
	if i, ok := slices.BinarySearch(q.origin, c); ok {
		return int32(i)
	}
	if len(q.merged[c]) == 0 {
		return -1
	}
	set, need := newBitset(len(q.weights)), mostDemand(q.merged[c], q.demand)
	for _, r := range q.merged[c] {
		set.add(r)
	}
	for _, d := range q.rows[q.merged[c][0]] {
		if !set.within(q.sets[d]) {
			continue
		}
		if !slices.Contains(chosen, d) {
			return d
		}
		if need--; need == 0 {
			return -1
		}
	}
	panic("bug in setcover: a column was dropped that is needed")
}
