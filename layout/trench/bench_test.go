package trench_test

import (
	"context"
	"fmt"
	"testing"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/trench"
)

// suburban is a lot of 20 m by 32 m with a house, a drive, a walk and a patio,
// heads about as far apart as they would stand, and as many trees as asked.
func suburban(trees, heads int) (*layout.Lot, []layout.Head) {
	lot := &layout.Lot{
		ID: "suburban", Parcel: rect(0, 0, 20, 32), Building: rect(4, 10, 16, 20),
		Hardscape: geom.Union(rect(12, 0, 15.5, 10), rect(8, 5, 9.2, 10), rect(9.2, 5, 12, 6.2), rect(6, 20, 11, 24)),
	}
	for i, p := range []geom.Point{m(2.5, 8), m(18, 3), m(9, 27.5), m(17.5, 24)}[:trees] {
		disc, err := geom.Disc(p, int64(1500+400*i))
		if err != nil {
			panic(err)
		}
		lot.RootZone = geom.Union(lot.RootZone, disc)
	}
	at := []geom.Point{m(3, 4), m(10.5, 3), m(18, 6), m(2, 22), m(14, 27), m(5, 29),
		m(1, 8), m(1, 15), m(18, 12), m(18, 18), m(12, 22), m(19, 30), m(10, 31), m(1, 31), m(1, 1), m(19, 1)}
	return lot, headsAt(at[:heads]...)
}

func BenchmarkRoute(b *testing.B) {
	for _, size := range []struct{ trees, heads int }{{0, 2}, {0, 6}, {0, 16}, {4, 6}} {
		lot, heads := suburban(size.trees, size.heads)
		b.Run(fmt.Sprintf("heads=%d/trees=%d", size.heads, size.trees), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := trench.Route(context.Background(), lot, heads, trench.Settings{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
