package certify

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/geom"
	"lotwright/layout/sight"
)

// randomLawn is a square with a few random houses cut out of it.
func randomLawn(rng *rand.Rand) geom.Region {
	lawn := geom.Region{{{geom.Pt(0, 0), geom.Pt(20_000, 0), geom.Pt(20_000, 20_000), geom.Pt(0, 20_000)}}}
	for range 4 {
		c, w := geom.Pt(rng.Int64N(20_000), rng.Int64N(20_000)), 1000+rng.Int64N(4000)
		lawn = geom.Difference(lawn, geom.Region{{{c, c.Add(geom.Pt(w, w/3)), c.Add(geom.Pt(w/2, w)), c.Add(geom.Pt(-w/4, w/2))}}})
	}
	return lawn
}

func TestCellsHoldTheLawn(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 8))
	for range 30 {
		lawn := randomLawn(rng)
		sum, cut := int64(0), int64(0)
		for _, c := range newGrid(lawn, sizes{cellMM: 1024, atomMM: 128}).cells {
			sum += c.area
			if c.atoms != nil {
				cut += int64(len(c.atoms))
			}
		}
		assert.LessOrEqual(t, 2*sum, lawn.Area2())
		assert.Less(t, lawn.Area2()/2-sum, cut+1, "less than 1 mm² is lost to rounding an atom")
	}
}

// TestWhatIsLeftOutIsNeverWetted: no point of a box may see any point of a cell
// that is counted as less than its full area where that point's atom is left
// out. Points are drawn at random and judged by the exact view of sight.
func TestWhatIsLeftOutIsNeverWetted(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 4))
	out := 0
	for range 60 {
		lawn := randomLawn(rng)
		g := newGrid(lawn, sizes{cellMM: 1024, atomMM: 128})
		v := viewer{grid: g, throwMM: 9000, blockers: slices.Concat(slices.Collect(lawn.Edges()), chords(lawn))}
		b := box{geom.Pt(rng.Int64N(20_000), rng.Int64N(20_000)), []int64{0, 16, 128, 512}[rng.IntN(4)]}
		w := v.from(b, v.blockers)
		field := sight.NewField(lawn)
		for range 4 {
			h := geom.Pt(b.center.X-b.half+rng.Int64N(2*b.half+1), b.center.Y-b.half+rng.Int64N(2*b.half+1))
			reach := field.From(h, 9000, 0)
			for range 500 {
				p := geom.Pt(rng.Int64N(20_000), rng.Int64N(20_000))
				if w.countsAtom(p) {
					continue
				}
				out++
				require.False(t, lawn.Has(p) && reach.Sees(p), "box %v, head %v, point %v", b, h, p)
			}
		}
	}
	assert.Greater(t, out, 10_000)
}

// countsAtom reports whether the atom around p counts as wettable.
func (w *view) countsAtom(p geom.Point) bool {
	for i := range w.grid.cells {
		c := &w.grid.cells[i]
		if !w.grid.bounds(c.min).Has(p) {
			continue
		}
		for k := range int(w.grid.atomsPerSide() * w.grid.atomsPerSide()) {
			if only := uint64(1) << k; c.lawn&only != 0 && w.grid.atom(c.min, k).Has(p) {
				saved := *c
				c.lawn, c.area = only, c.areaOf(only, w.grid.atomMM)
				wet := w.wettable(int32(i))
				*c = saved
				return wet > 0
			}
		}
	}
	return true
}

func TestDiagonalsOfAHouseBlock(t *testing.T) {
	house := geom.Region{{{geom.Pt(4000, 4000), geom.Pt(6000, 4000), geom.Pt(6000, 7000), geom.Pt(4000, 7000)}}}
	lawn := geom.Difference(geom.Region{{{geom.Pt(0, 0), geom.Pt(10_000, 0), geom.Pt(10_000, 10_000), geom.Pt(0, 10_000)}}}, house)
	assert.ElementsMatch(t, []geom.Segment{{A: geom.Pt(4000, 4000), B: geom.Pt(6000, 7000)}, {A: geom.Pt(4000, 7000), B: geom.Pt(6000, 4000)}},
		directed(chords(lawn)))
}

// directed turns segments so that A comes before B.
func directed(segments []geom.Segment) []geom.Segment {
	for i, s := range segments {
		if s.A.Compare(s.B) > 0 {
			segments[i] = geom.Segment{A: s.B, B: s.A}
		}
	}
	return segments
}

func TestBoxesOffLegalGroundAreExcluded(t *testing.T) {
	lawn := geom.Region{{{geom.Pt(0, 0), geom.Pt(10_000, 0), geom.Pt(10_000, 10_000), geom.Pt(0, 10_000)}}}
	ground := Standing{EdgeMM: 100, Edges: slices.Collect(lawn.Edges())}
	for name, c := range map[string]struct {
		b        box
		excluded bool
	}{
		"far outside":               {box{geom.Pt(-5000, 5000), 16}, true},
		"just outside":              {box{geom.Pt(-17, 5000), 16}, true},
		"on the lot line":           {box{geom.Pt(0, 5000), 16}, true},
		"all within the clearance":  {box{geom.Pt(83, 5000), 16}, true},
		"touches the clearance":     {box{geom.Pt(84, 5000), 16}, false},
		"reaches beyond it":         {box{geom.Pt(90, 5000), 16}, false},
		"in the middle":             {box{geom.Pt(5000, 5000), 1024}, false},
		"a large box over a corner": {box{geom.Pt(0, 0), 1024}, false},
	} {
		assert.Equal(t, c.excluded, ground.excludes(lawn, c.b.bounds()), name)
	}
}
