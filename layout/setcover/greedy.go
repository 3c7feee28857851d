package setcover

// greedy adds, while too much is uncovered, the column that covers the most
// uncovered weight; ties go to the lower index. It always ends, since the rows
// that cannot be covered are not in q.
func greedy(q *reduced) []int32 {
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
	var chosen []int32
	for left > q.spare {
		best := 0
		for c := range gain {
			if gain[c] > gain[best] {
				best = c
			}
		}
		chosen = append(chosen, int32(best))
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
	return chosen
}
