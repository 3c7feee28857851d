package setcover

import (
	"cmp"
	"slices"
)

// reduce returns an equivalent smaller problem: rows covered by the same
// columns equally often are merged, their weights added; columns whose rows
// enough others cover too are dropped. Rows that cannot be covered have been
// taken off Spare before.
func reduce(p Problem, spare int64) *reduced {
	columns, weights, demand := mergeRows(p)
	sets := make([]bitset, len(columns))
	for c, col := range columns {
		sets[c] = newBitset(len(weights))
		for _, r := range col {
			sets[c].add(r)
		}
	}
	keep := undominated(columns, sets, demand)
	q := &reduced{weights: weights, demand: demand, most: slices.Max(append(demand, 1)), spare: spare, origin: keep, merged: columns}
	for _, c := range keep {
		q.columns = append(q.columns, columns[c])
		q.sets = append(q.sets, sets[c])
	}
	q.rows = rowsOf(q.columns, len(weights))
	return q
}

// mergeRows gives rows with the same columns and demand one number.
func mergeRows(p Problem) (columns [][]int32, weights []int64, demand []int32) {
	rows := rowsOf(p.Columns, len(p.Weights))
	order := make([]int32, 0, len(rows))
	for r, cols := range rows {
		if len(cols) >= int(p.demand(r)) {
			order = append(order, int32(r))
		}
	}
	slices.SortFunc(order, func(a, b int32) int {
		return cmp.Or(cmp.Compare(len(rows[a]), len(rows[b])), slices.Compare(rows[a], rows[b]),
			cmp.Compare(p.demand(int(a)), p.demand(int(b))), cmp.Compare(a, b))
	})
	columns = make([][]int32, len(p.Columns))
	for c, col := range p.Columns {
		columns[c] = make([]int32, 0, len(col))
	}
	for i, r := range order {
		if i > 0 && demand[len(demand)-1] == p.demand(int(r)) && slices.Equal(rows[r], rows[order[i-1]]) {
			weights[len(weights)-1] += p.Weights[r]
			continue
		}
		for _, c := range rows[r] {
			columns[c] = append(columns[c], int32(len(weights)))
		}
		weights, demand = append(weights, p.Weights[r]), append(demand, p.demand(int(r)))
	}
	return columns, weights, demand
}

// undominated returns, ascending, the columns that may be needed. One is not if
// at least as many others cover all its rows as any of these demands: a choice
// with it either has all of those, and then its rows are served without it, or
// it can be exchanged for one of them. Of equal columns the first ones stay; so
// columns always give way to ones before them in a fixed order, and those that
// stay are enough. A column that covers another covers that one's rarest row
// too, so only those are compared.
func undominated(columns [][]int32, sets []bitset, demand []int32) []int {
	rows := rowsOf(columns, len(demand))
	var keep []int
	for c, col := range columns {
		if len(col) > 0 && !dominated(int32(c), columns, rows[rarest(col, rows)], sets, mostDemand(col, demand)) {
			keep = append(keep, c)
		}
	}
	return keep
}

// mostDemand returns the largest demand of the rows.
func mostDemand(rows []int32, demand []int32) int32 {
	most := int32(1)
	for _, r := range rows {
		most = max(most, demand[r])
	}
	return most
}

func rarest(col []int32, rows [][]int32) int32 {
	return slices.MinFunc(col, func(a, b int32) int { return cmp.Compare(len(rows[a]), len(rows[b])) })
}

// dominated reports whether as many rivals as needed cover what c covers.
func dominated(c int32, columns [][]int32, rivals []int32, sets []bitset, need int32) bool {
	for _, d := range rivals {
		if d == c || len(columns[d]) < len(columns[c]) || len(columns[d]) == len(columns[c]) && d > c {
			continue
		}
		if sets[c].within(sets[d]) {
			if need--; need == 0 {
				return true
			}
		}
	}
	return false
}

type bitset []uint64

func newBitset(n int) bitset      { return make(bitset, (n+63)/64) }
func (b bitset) has(i int32) bool { return b[i/64]>>(i%64)&1 != 0 }
func (b bitset) add(i int32)      { b[i/64] |= 1 << (i % 64) }
func (b bitset) within(c bitset) bool {
	for i, w := range b {
		if w&^c[i] != 0 {
			return false
		}
	}
	return true
}
