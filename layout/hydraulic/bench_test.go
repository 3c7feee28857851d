package hydraulic_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"lotwright/layout"
	"lotwright/layout/hydraulic"
)

func BenchmarkSolve(b *testing.B) {
	for _, heads := range []int{1, 10, 40, 200} {
		n := lateral(heads)
		b.Run(fmt.Sprintf("heads=%d", heads), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				solve(b, n)
			}
		})
	}
}

func BenchmarkSettle(b *testing.B) {
	for _, heads := range []int{4, 10, 40} {
		n := lateral(heads)
		b.Run(fmt.Sprintf("heads=%d", heads), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				settle(b, n, hydraulic.Limits{})
			}
		})
	}
}

func BenchmarkSize(b *testing.B) {
	for _, pipes := range []int{7, 40, 200} {
		n, load := randomLoad(rand.New(rand.NewPCG(1, uint64(pipes))), pipes)
		for i := range load.Flow {
			load.Flow[i] *= layout.GPM(40) / load.Drawn // as much as 2 in pipe carries
		}
		tight(b, &n, load, 2)
		b.Run(fmt.Sprintf("pipes=%d", pipes), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if out := size(b, n, load, hydraulic.Sizing{}); out.Status != hydraulic.Sizable {
					b.Fatal(out.Reason)
				}
			}
		})
	}
}

// lateral is a tree of catalogue heads, each behind one of the last few.
func lateral(heads int) hydraulic.Network {
	r := rand.New(rand.NewPCG(uint64(heads), 0))
	n := chain(measured(90, 400, 70), pipe("2 in", 50))
	for k := range heads {
		l := pipe("1-1/4 in", between(r, 15, 35))
		l.Label, l.From, l.To = fmt.Sprintf("P%d", k+2), max(1, k+1-r.IntN(4)), k+2
		n.Nodes = append(n.Nodes, hydraulic.Node{Label: fmt.Sprintf("H%d", k+1), Emitter: generic()})
		n.Links = append(n.Links, l)
	}
	return n
}
