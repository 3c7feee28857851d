package graph

// visit is a node waiting to be settled at a distance.
type visit struct {
	dist int64
	node int
}

// before orders visits by distance, then by node number.
func (v visit) before(w visit) bool {
	return v.dist < w.dist || v.dist == w.dist && v.node < w.node
}

// visits is a binary heap with the nearest visit on top. It is typed, because
// the interface of container/heap costs half the running time here.
type visits []visit

func (h *visits) push(v visit) {
	*h = append(*h, v)
	q := *h
	i := len(q) - 1
	for i > 0 {
		parent := (i - 1) / 2
		if !v.before(q[parent]) {
			break
		}
		q[i] = q[parent]
		i = parent
	}
	q[i] = v
}

func (h *visits) pop() visit {
	q := *h
	top, last := q[0], q[len(q)-1]
	q = q[:len(q)-1]
	*h = q
	if len(q) > 0 {
		q.sink(last)
	}
	return top
}

// sink puts v into the hole at the top.
func (h visits) sink(v visit) {
	i := 0
	for {
		child := 2*i + 1
		if child >= len(h) {
			break
		}
		if child+1 < len(h) && h[child+1].before(h[child]) {
			child++
		}
		if !h[child].before(v) {
			break
		}
		h[i] = h[child]
		i = child
	}
	h[i] = v
}
