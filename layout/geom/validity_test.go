package geom_test

import (
	"math"
	"math/rand/v2"
	"testing"

	sf "github.com/peterstace/simplefeatures/geom"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/geom"
)

// ring makes a ring of coordinates in metres.
func ring(xy ...float64) geom.Ring {
	r := make(geom.Ring, 0, len(xy)/2)
	for i := 0; i < len(xy); i += 2 {
		r = append(r, geom.Vec{X: xy[i] * 1000, Y: xy[i+1] * 1000}.Round())
	}
	return r
}

func TestMendByHand(t *testing.T) {
	square := ring(0, 0, 10, 0, 10, 10, 0, 10)
	cases := map[string]struct {
		rings []geom.Ring
		area  float64
		parts int
		flaw  geom.FlawKind // "" for none
	}{
		"square":                     {[]geom.Ring{square}, 100, 1, ""},
		"square with a hole":         {[]geom.Ring{square, ring(2, 2, 4, 2, 4, 4, 2, 4)}, 96, 1, ""},
		"repeated vertices":          {[]geom.Ring{ring(0, 0, 0, 0, 10, 0, 10, 10, 10, 10, 10, 10, 0, 10)}, 100, 1, geom.FlawDuplicates},
		"repeated vertex at the end": {[]geom.Ring{ring(0, 0, 10, 0, 10, 10, 0, 10, 0, 0)}, 100, 1, geom.FlawDuplicates},
		"vertices 1 mm apart":        {[]geom.Ring{ring(0, 0, 10, 0, 10, 0.001, 10, 10, 0, 10)}, 100, 1, geom.FlawDuplicates},
		"spike outward":              {[]geom.Ring{ring(0, 0, 10, 0, 10, 5, 60, 5, 10, 5, 10, 10, 0, 10)}, 100, 1, geom.FlawSpike},
		"spike inward":               {[]geom.Ring{ring(0, 0, 10, 0, 10, 5, 3, 5, 10, 5, 10, 10, 0, 10)}, 100, 1, geom.FlawSpike},
		"spike past the corner":      {[]geom.Ring{ring(0, 0, 15, 0, 10, 0, 10, 10, 0, 10)}, 100, 1, geom.FlawSpike},
		"spike on a spike":           {[]geom.Ring{ring(0, 0, 10, 0, 10, 5, 20, 5, 20, 9, 20, 5, 10, 5, 10, 10, 0, 10)}, 100, 1, geom.FlawSpike},
		"spike 1 mm wide":            {[]geom.Ring{ring(0, 0, 10, 0, 10, 5, 60, 5, 10, 5.001, 10, 10, 0, 10)}, 100, 1, geom.FlawSpike},
		"acute corner is no spike":   {[]geom.Ring{ring(0, 0, 10, 0, 0, 0.3)}, 1.5, 1, ""},

		"bow-tie":                     {[]geom.Ring{ring(0, 0, 10, 10, 10, 0, 0, 10)}, 0, 0, geom.FlawCrossing},
		"lopsided bow-tie":            {[]geom.Ring{ring(0, 0, 10, 0, 10, 10, -1, -2)}, 0, 0, geom.FlawCrossing},
		"bow-tie, dense at the cross": {[]geom.Ring{ring(0, 0, 4.95, 4.95, 5.05, 5.05, 10, 10, 10, 0, 5.05, 4.95, 4.95, 5.05, 0, 10)}, 0, 0, geom.FlawCrossing},
		"corner 15 cm past an edge":   {[]geom.Ring{ring(0, 0, 10, 0, 10, 10, 5, -0.15, 0, 10)}, 49.27, 3, geom.FlawNoise},
		"corner 1 m past an edge":     {[]geom.Ring{ring(0, 0, 10, 0, 10, 10, 5, -1, 0, 10)}, 0, 0, geom.FlawCrossing},
		"ring run twice":              {[]geom.Ring{append(ring(0, 0, 10, 0, 10, 10, 0, 10), ring(0, 0, 10, 0, 10, 10, 0, 10)...)}, 0, 0, geom.FlawCrossing},
		"corner touches an edge":      {[]geom.Ring{ring(0, 0, 10, 0, 10, 10, 5, 0, 0, 10)}, 50, 2, geom.FlawTouch},
		"corner 1 mm off an edge":     {[]geom.Ring{ring(0, 0, 10, 0, 10, 10, 5, 0.001, 0, 10)}, 50, 2, geom.FlawTouch},
		"pocket hung on a point":      {[]geom.Ring{ring(0, 0, 10, 0, 10, 10, 5, 10, 7, 5, 3, 5, 5, 10, 0, 10)}, 90, 1, geom.FlawTouch},
		"loop inside out":             {[]geom.Ring{ring(0, 0, 10, 0, 10, 10, 5, 10, 3, 5, 7, 5, 5, 10, 0, 10)}, 0, 0, geom.FlawCrossing},
		"hole on a seam":              {[]geom.Ring{ring(0, 0, 10, 0, 10, 10, 5, 10, 5, 7, 7, 7, 7, 3, 3, 3, 3, 7, 5, 7, 5, 10, 0, 10)}, 84, 1, geom.FlawTouch},

		"hole outside":              {[]geom.Ring{square, ring(20, 0, 22, 0, 22, 2, 20, 2)}, 0, 0, geom.FlawHoleOutside},
		"hole outside, same edge":   {[]geom.Ring{square, ring(10, 0, 12, 0, 12, 2, 10, 2)}, 0, 0, geom.FlawHoleOutside},
		"hole around the shell":     {[]geom.Ring{square, ring(-5, -5, 20, -5, 20, 20, -5, 20)}, 0, 0, geom.FlawHoleOutside},
		"hole crosses":              {[]geom.Ring{square, ring(8, 4, 15, 4, 15, 6, 8, 6)}, 0, 0, geom.FlawRingsCross},
		"hole sticks out by 10 cm":  {[]geom.Ring{square, ring(8, 4, 10.1, 4, 10.1, 6, 8, 6)}, 96, 1, geom.FlawHoleMerged},
		"hole shares an edge":       {[]geom.Ring{square, ring(8, 4, 10, 4, 10, 6, 8, 6)}, 96, 1, geom.FlawHoleMerged},
		"hole touches in one point": {[]geom.Ring{square, ring(8, 4, 10, 5, 8, 6)}, 98, 1, ""},
		"hole cuts the shell":       {[]geom.Ring{square, ring(4, 0, 6, 0, 6, 10, 4, 10)}, 80, 2, geom.FlawHoleMerged},
		"hole is the shell":         {[]geom.Ring{square, square}, 0, 0, geom.FlawNoArea},
		"hole in a hole":            {[]geom.Ring{square, ring(1, 1, 9, 1, 9, 9, 1, 9), ring(3, 3, 5, 3, 5, 5, 3, 5)}, 36, 1, geom.FlawHolesMerged},
		"hole around a hole":        {[]geom.Ring{square, ring(3, 3, 5, 3, 5, 5, 3, 5), ring(1, 1, 9, 1, 9, 9, 1, 9)}, 36, 1, geom.FlawHolesMerged},
		"holes overlap":             {[]geom.Ring{square, ring(1, 1, 5, 1, 5, 5, 1, 5), ring(4, 4, 6, 4, 6, 6, 4, 6)}, 81, 1, geom.FlawHolesMerged},
		"holes share an edge":       {[]geom.Ring{square, ring(1, 1, 5, 1, 5, 5, 1, 5), ring(5, 1, 6, 1, 6, 5, 5, 5)}, 80, 1, geom.FlawHolesMerged},
		"holes touch in a point":    {[]geom.Ring{square, ring(1, 1, 5, 1, 5, 5, 1, 5), ring(5, 5, 6, 5, 6, 6, 5, 6)}, 83, 1, ""},
		"hole twice":                {[]geom.Ring{square, ring(1, 1, 5, 1, 5, 5, 1, 5), ring(1, 5, 5, 5, 5, 1, 1, 1)}, 84, 1, geom.FlawRepeated},
		"hole without area":         {[]geom.Ring{square, ring(1, 1, 5, 1, 5, 1)}, 100, 1, geom.FlawEmptyHole},

		"nothing":         {nil, 0, 0, geom.FlawNoArea},
		"no points":       {[]geom.Ring{{}}, 0, 0, geom.FlawNoArea},
		"one point":       {[]geom.Ring{ring(1, 1)}, 0, 0, geom.FlawNoArea},
		"two points":      {[]geom.Ring{ring(1, 1, 2, 2)}, 0, 0, geom.FlawNoArea},
		"points in a row": {[]geom.Ring{ring(1, 1, 2, 2, 3, 3, 2, 2)}, 0, 0, geom.FlawNoArea},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			region, flaws := geom.Mend(c.rings)
			assert.InDelta(t, c.area, region.AreaM2(), 0.012)
			assert.Len(t, region, c.parts)
			if c.flaw == "" {
				assert.Empty(t, flaws)
				return
			}
			kinds := map[geom.FlawKind]bool{}
			for _, f := range flaws {
				kinds[f.Kind] = true
			}
			assert.Contains(t, kinds, c.flaw)
			for turn := range len(c.rings) {
				assertSameMend(t, c.rings, turned(c.rings, turn+1, turn%2 == 0))
			}
		})
	}
}

// turned starts every ring k points later and, if asked, runs it the other way.
func turned(rings []geom.Ring, k int, back bool) []geom.Ring {
	out := make([]geom.Ring, len(rings))
	for i, r := range rings {
		if len(r) == 0 {
			continue
		}
		out[i] = append(append(geom.Ring{}, r[k%len(r):]...), r[:k%len(r)]...)
		if back {
			out[i] = out[i].Reversed()
		}
	}
	return out
}

func assertSameMend(t *testing.T, a, b []geom.Ring) {
	ga, fa := geom.Mend(a)
	gb, fb := geom.Mend(b)
	assert.Equal(t, ga, gb)
	require.Len(t, fb, len(fa))
	for i := range fa {
		assert.Equal(t, fa[i].Kind, fb[i].Kind)
	}
}

// randomRing is a ring around the origin whose corners come in order of angle,
// so that it does not cross itself.
func randomRing(r *rand.Rand, corners int, radius float64) geom.Ring {
	out := make(geom.Ring, corners)
	for k := range out {
		a := 2 * math.Pi * (float64(k) + 0.9*r.Float64()) / float64(corners)
		d := radius * (0.3 + 0.7*r.Float64())
		out[k] = geom.Vec{X: d * math.Cos(a), Y: d * math.Sin(a)}.Round()
	}
	return out
}

// Valid rings come back as they are, but for collinear vertices; the other
// library agrees that they were valid.
func TestMendKeepsValidRings(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for range 2000 {
		shell := randomRing(r, 3+r.IntN(40), 20_000)
		if shell.Area2() <= 0 || !validElsewhere(shell) {
			continue
		}
		region, flaws := geom.Mend(turned([]geom.Ring{shell}, r.IntN(len(shell)), r.IntN(2) == 0))
		for _, f := range flaws { // near misses of two millimetres are ours to find
			assert.Contains(t, []geom.FlawKind{geom.FlawTouch, geom.FlawSpike, geom.FlawDuplicates}, f.Kind)
		}
		if len(flaws) == 0 {
			require.Len(t, region, 1)
			assert.Equal(t, shell.Area2(), region.Area2())
		}
	}
}

func validElsewhere(r geom.Ring) bool {
	xy := make([]float64, 0, 2*len(r)+2)
	for _, p := range append(r, r[0]) {
		xy = append(xy, float64(p.X), float64(p.Y))
	}
	return sf.NewPolygon([]sf.LineString{sf.NewLineStringXY(xy...)}).Validate() == nil
}

// Random chains: whatever comes out must be valid by the other library's rules,
// and what we take without a word must have been valid before.
func TestMendAgainstOtherLibrary(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	silent, fatal, mended := 0, 0, 0
	for range 4000 {
		shell := make(geom.Ring, 3+r.IntN(6))
		for k := range shell {
			shell[k] = geom.Pt(r.Int64N(20)*500, r.Int64N(20)*500)
		}
		region, flaws := geom.Mend([]geom.Ring{shell})
		switch {
		case len(region) == 0:
			fatal++
			require.NotEmpty(t, flaws)
			require.True(t, flaws[len(flaws)-1].Kind.Fatal())
		case len(flaws) > 0:
			mended++
		default:
			silent++
			require.True(t, validElsewhere(shell), "%v", shell)
			require.Equal(t, max(shell.Area2(), -shell.Area2()), region.Area2())
		}
		for _, poly := range region {
			for _, ring := range poly {
				require.True(t, validElsewhere(ring), "%v", shell)
			}
		}
	}
	assert.Greater(t, silent, 100)
	assert.Greater(t, fatal, 100)
	assert.Greater(t, mended, 50)
}

// Shapes rounded to six decimals of a degree (here: to 11 cm) may turn invalid,
// by noise only: they must never be refused.
func TestMendForgivesRounding(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	invalid := 0
	for range 3000 {
		shell := randomRing(r, 30+r.IntN(60), 4_000)
		if shell.Area2() <= 0 || !validElsewhere(shell) {
			continue
		}
		rounded := make(geom.Ring, len(shell))
		for k, p := range shell {
			rounded[k] = geom.Pt(roundTo(p.X, 111), roundTo(p.Y, 111))
		}
		if !validElsewhere(rounded) {
			invalid++
		}
		region, flaws := geom.Mend([]geom.Ring{rounded})
		require.NotEmpty(t, region, "%v %v", flaws, rounded)
		require.InEpsilon(t, float64(shell.Area2()), float64(region.Area2()), 0.2)
	}
	assert.Greater(t, invalid, 30)
}

func roundTo(v, step int64) int64 {
	return int64(math.Round(float64(v)/float64(step))) * step
}

// A ball of wool is given up early.
func TestMendGivesUpOnTangles(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	shell := make(geom.Ring, 20_000)
	for k := range shell {
		shell[k] = geom.Pt(r.Int64N(100_000), r.Int64N(100_000))
	}
	region, flaws := geom.Mend([]geom.Ring{shell})
	assert.Empty(t, region)
	require.NotEmpty(t, flaws)
	assert.Equal(t, geom.FlawCrossing, flaws[len(flaws)-1].Kind)
}

func FuzzMend(f *testing.F) {
	f.Add([]byte{0, 0, 9, 0, 9, 9, 0, 9, 255, 3, 3, 5, 3, 5, 5})
	f.Add([]byte{0, 0, 9, 9, 9, 0, 0, 9})
	f.Fuzz(func(t *testing.T, coords []byte) {
		if len(coords) > 200 {
			return
		}
		rings := []geom.Ring{nil}
		for i := 0; i+1 < len(coords); i += 2 {
			if coords[i] == 255 {
				rings = append(rings, nil)
				continue
			}
			last := &rings[len(rings)-1]
			*last = append(*last, geom.Pt(int64(coords[i])*50, int64(coords[i+1])*50))
		}
		region, flaws := geom.Mend(rings)
		if len(region) == 0 {
			require.NotEmpty(t, flaws)
		}
		other, _ := geom.Mend(turned(rings, len(coords)/3, len(coords)%2 == 0))
		require.Equal(t, region, other)
		for _, poly := range region {
			require.Positive(t, geom.Region{poly}.Area2())
			for _, ring := range poly {
				require.True(t, validElsewhere(ring))
			}
		}
	})
}
