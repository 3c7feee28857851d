package setcover

import "slices"

// greedy returns the plain greedy choice.
func greedy(q *reduced) []int32 { return q.completed(nil) }

// completed adds to the columns given, while too much is uncovered, the column
// that covers the most uncovered weight; ties go to the lower index. It always
// ends, since the rows that cannot be covered are not in q.
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
	covered := make([]bool, len(q.weights))
	take := func(best int32) {
		left -= gain[best]
		for _, r := range q.columns[best] {
			if covered[r] {
				continue
			}
			covered[r] = true
			for _, c := range q.rows[r] {
				gain[c] -= q.weights[r]
			}
		}
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

// fromOriginal returns the caller's columns as reduced ones, each by itself or
// by one that covers at least as much, without repeats.
func (q *reduced) fromOriginal(cols []int) []int32 {
	var out []int32
	for _, c := range cols {
		if r := q.standIn(c); r >= 0 && !slices.Contains(out, r) {
			out = append(out, r)
		}
	}
	return out
}

// standIn returns the reduced column that covers what the caller's covers; −1
// if it covers nothing that matters.
func (q *reduced) standIn(c int) int32 {
	if i, ok := slices.BinarySearch(q.origin, c); ok {
		return int32(i)
	}
	if len(q.merged[c]) == 0 {
		return -1
	}
	set := newBitset(len(q.weights))
	for _, r := range q.merged[c] {
		set.add(r)
	}
	for _, d := range q.rows[q.merged[c][0]] {
		if set.within(q.sets[d]) {
			return d
		}
	}
	panic("bug in setcover: a column was dropped that no other covers")
}
