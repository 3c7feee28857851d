package stakeout

import "slices"

// few takes references, as few as a greedy choice finds, so that each target has
// a pair that is at most [Tolerated] times as costly as its best.
func (b *board) few(found [][]pair) []bool {
	taken := make([]bool, len(b.marks))
	var all [][]pair // good pairs of the targets that have any
	for _, list := range found {
		if len(list) > 0 {
			all = append(all, good(list))
		}
	}
	for open := slices.Clone(all); len(open) > 0; {
		p := mostUseful(open, taken)
		taken[p.first], taken[p.second] = true, true
		open = slices.DeleteFunc(open, func(list []pair) bool { return served(list, taken) })
	}
	drop(all, taken)
	return taken
}

// drop gives up references, the last by name first, that the others make
// needless.
func drop(all [][]pair, taken []bool) {
	for i := len(taken) - 1; i >= 0; i-- {
		if !taken[i] {
			continue
		}
		taken[i] = false
		if slices.ContainsFunc(all, func(list []pair) bool { return !served(list, taken) }) {
			taken[i] = true
		}
	}
}

// good returns the pairs that are not much worse than the first.
func good(list []pair) []pair {
	n := 0
	for n < len(list) && list[n].cost <= Tolerated*list[0].cost {
		n++
	}
	return list[:n]
}

// mostUseful returns the pair that serves most targets for each reference it
// adds; of several, the one that adds fewer, and then the first by name.
func mostUseful(open [][]pair, taken []bool) pair {
	var best pair
	bestServed, bestAdded := 0, 1
	tried := make(map[[2]int]bool)
	for _, list := range open {
		for _, p := range list {
			if key := [2]int{p.first, p.second}; tried[key] {
				continue
			} else {
				tried[key] = true
			}
			n, added := usefulness(p, open, taken)
			if c := n*bestAdded - bestServed*added; c > 0 || c == 0 && (added < bestAdded || added == bestAdded && before(p, best)) {
				best, bestServed, bestAdded = p, n, added
			}
		}
	}
	return best
}

// usefulness counts the targets that could be served with p's references beside
// those taken, and the references that are new.
func usefulness(p pair, open [][]pair, taken []bool) (targets, added int) {
	with := slices.Clone(taken)
	for _, i := range [2]int{p.first, p.second} {
		if !with[i] {
			with[i] = true
			added++
		}
	}
	for _, list := range open {
		if served(list, with) {
			targets++
		}
	}
	return targets, added
}

func served(list []pair, taken []bool) bool {
	return slices.ContainsFunc(list, func(p pair) bool { return taken[p.first] && taken[p.second] })
}

func before(p, q pair) bool {
	return p.first < q.first || p.first == q.first && p.second < q.second
}
