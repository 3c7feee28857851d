package design

import (
	"fmt"

	"lotwright/layout"
	"lotwright/layout/hydraulic"
)

// cable chains the heads with valves of their own by control cable in the trench.
func (r *run) cable() error {
	tree := hydraulic.CableTree{Above: []int{-1}, Length: []layout.Length{0}}
	names := []string{layout.POCLabel}
	number := map[string]int{layout.POCLabel: 0}
	for grown := true; grown; { // pipes come in any order
		grown = false
		for _, p := range r.d.Network.Pipes {
			above, ok := number[p.From]
			if _, known := number[p.To]; !ok || known {
				continue
			}
			number[p.To], grown = len(names), true
			names = append(names, p.To)
			tree.Above, tree.Length = append(tree.Above, above), append(tree.Length, p.Length)
		}
	}
	var stops []int
	for _, h := range r.d.Heads {
		if i, ok := number[h.Label]; ok {
			stops = append(stops, i)
		}
	}
	hops, err := hydraulic.DaisyChain(tree, stops, hydraulic.Cable{})
	if err != nil {
		return fmt.Errorf("laying control cable: %w", err)
	}
	for _, h := range hops {
		r.d.Network.Cable = append(r.d.Network.Cable, layout.CableHop{From: names[h.From], To: names[h.To], Way: h.Way,
			Laid: layout.Length(h.Pieces) * hydraulic.DefaultCablePiece, Joints: h.Joints})
	}
	return nil
}
