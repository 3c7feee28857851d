package sector

import "slices"

// sortedAtOnce is the length below which a stretch is sorted rather than parted.
const sortedAtOnce = 16

// nth puts the k-th smallest of v, counted from 0, in its place, none larger
// before it and none smaller behind, and returns it (C. A. R. Hoare, Algorithm
// 65: Find, Communications of the ACM 4, 1961).
func nth(v []int32, k int) int32 {
	low, high := 0, len(v)-1
	for high-low > sortedAtOnce {
		i, j := part(v, low, high)
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return v[k]
		}
	}
	slices.Sort(v[low : high+1])
	return v[k]
}

// part parts v[low:high+1] about a middling value: no larger up to j, no
// smaller from i on, equal between.
func part(v []int32, low, high int) (i, j int) {
	m := median(v[low], v[low+(high-low)/2], v[high])
	i, j = low, high
	for i <= j {
		for v[i] < m {
			i++
		}
		for v[j] > m {
			j--
		}
		if i <= j {
			v[i], v[j] = v[j], v[i]
			i++
			j--
		}
	}
	return i, j
}

func median(a, b, c int32) int32 { return max(min(a, b), min(max(a, b), c)) }
