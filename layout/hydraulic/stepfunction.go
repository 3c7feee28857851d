package hydraulic

import "slices"

// stepFunction is the least cost of a part of the network as a function of the
// head available to it: it falls in steps as the head grows. Below its first
// step nothing is possible; without steps nothing ever is.
type stepFunction []costStep

// costStep: from this head up, this cost is possible.
type costStep struct {
	head int64 // mm
	cost int64 // hundredths of the currency
}

// at returns the cost at a head.
func (f stepFunction) at(head int64) (cost int64, ok bool) {
	i, exact := slices.BinarySearchFunc(f, head, func(s costStep, h int64) int {
		switch {
		case s.head < h:
			return -1
		case s.head > h:
			return 1
		}
		return 0
	})
	if exact {
		i++
	}
	if i == 0 {
		return 0, false
	}
	return f[i-1].cost, true
}

// behind returns the function seen from the other end of a link that loses a
// head and costs so much, within the head there is at most.
func (f stepFunction) behind(loss, cost, most int64) stepFunction {
	out := make(stepFunction, 0, len(f))
	for _, s := range f {
		if s.head+loss <= most {
			out = append(out, costStep{s.head + loss, s.cost + cost})
		}
	}
	return out
}

// notAbove returns the function for heads of at most most: more is of no use, as
// behind a regulator.
func (f stepFunction) notAbove(most int64) stepFunction {
	i := 0
	for i < len(f) && f[i].head <= most {
		i++
	}
	return f[:i]
}

// plus returns the sum: both parts must be paid, at one head.
func (f stepFunction) plus(g stepFunction) stepFunction {
	if len(f) == 0 || len(g) == 0 {
		return nil
	}
	out := make(stepFunction, 0, len(f)+len(g))
	i, j := 0, 0
	for head := max(f[0].head, g[0].head); ; {
		for i+1 < len(f) && f[i+1].head <= head {
			i++
		}
		for j+1 < len(g) && g[j+1].head <= head {
			j++
		}
		out = append(out, costStep{head, f[i].cost + g[j].cost})
		switch {
		case i+1 < len(f) && (j+1 == len(g) || f[i+1].head <= g[j+1].head):
			head = f[i+1].head
		case j+1 < len(g):
			head = g[j+1].head
		default:
			return out
		}
	}
}

// orElse returns the lesser of the two at every head.
func (f stepFunction) orElse(g stepFunction) stepFunction {
	out := make(stepFunction, 0, len(f)+len(g))
	for i, j := 0, 0; i < len(f) || j < len(g); {
		var s costStep
		if j == len(g) || i < len(f) && f[i].head <= g[j].head {
			s, i = f[i], i+1
		} else {
			s, j = g[j], j+1
		}
		switch last := len(out) - 1; {
		case last >= 0 && out[last].cost <= s.cost:
		case last >= 0 && out[last].head == s.head:
			out[last] = s
		default:
			out = append(out, s)
		}
	}
	return out
}
