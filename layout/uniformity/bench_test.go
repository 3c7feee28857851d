package uniformity_test

import (
	"fmt"
	"testing"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/uniformity"
)

// eastOf sees what lies no further west than x, in millimetres.
type eastOf int64

func (x eastOf) Sees(p geom.Point) bool { return p.X >= int64(x) }

// BenchmarkSimulate waters 500 m² in 8000 cells with twenty heads.
func BenchmarkSimulate(b *testing.B) {
	lawn := box(0, 0, 25_000, 20_000)
	for _, throw := range []layout.Length{4.5, 9} {
		var heads []uniformity.Sprinkler
		for i := range 20 {
			h := fixedArc(int64(i%5)*6250, int64(i/5)*6666, throw, 0, 360)
			h.View, h.Profile = eastOf(-1000), uniformity.Dome()
			heads = append(heads, h)
		}
		b.Run(fmt.Sprintf("heads=20/cells=8000/throw=%v", throw.Metres()), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := uniformity.Simulate(lawn, heads, uniformity.Settings{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkEvaluate(b *testing.B) {
	for _, n := range []int{100, 8000} {
		readings := make([]float64, n)
		for i := range readings {
			readings[i] = float64(i * 7919 % 8009)
		}
		b.Run(fmt.Sprintf("readings=%d", n), func(b *testing.B) {
			for b.Loop() {
				if _, err := uniformity.Evaluate(readings, uniformity.RoundUp); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func box(x0, y0, x1, y1 int64) geom.Region {
	return geom.Region{{{geom.Pt(x0, y0), geom.Pt(x1, y0), geom.Pt(x1, y1), geom.Pt(x0, y1)}}}
}

func fixedArc(x, y int64, throw layout.Length, start, sweep float64) uniformity.Sprinkler {
	return uniformity.Sprinkler{Head: layout.Head{At: geom.Pt(x, y), Kind: layout.FixedArc, Throw: throw,
		ArcStart: start, ArcSweep: sweep, Flow: layout.Flow(sweep / 36)}}
}
