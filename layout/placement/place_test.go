package placement_test

import (
	"context"
	"math/bits"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/placement"
	"lotwright/layout/sight"
)

func place(t *testing.T, site placement.Site, target float64) placement.Result {
	t.Helper()
	r, err := placement.Place(context.Background(), site, placement.Settings{CoverageTarget: target})
	require.NoError(t, err)
	return r
}

// TestSquareYard: how many heads does a square yard of 45.5 ft need? One disc
// reaches most from the middle: the circle less four segments, 99.06 % at 30 ft
// and 88.78 % at 25 ft. Two discs cover a square of side s when their radius is
// at least s·√5/4, three when it is at least 0.5039·s (Heppes and Melissen,
// Covering a rectangle with equal circles, 1997): 25.43 ft and 22.93 ft here.
// So at 25 ft two miss the last of it, by a hair, and three reach it all.
func TestSquareYard(t *testing.T) {
	for _, c := range []struct {
		throwFeet, target float64
		heads             int
		least, most       float64 // coverage
	}{
		{30, 0.97, 1, 0.9902, 0.9907},
		{30, 0.995, 2, 0.995, 1},
		{25, 0.88, 1, 0.88, 0.8879},
		{25, 0.97, 2, 0.99, 0.9999},
		{25, 0.999, 2, 0.999, 0.9992},
		{25, 1, 3, 1, 1},
		{32.5, 1, 1, 1, 1},
	} {
		y := newYard(t, &layout.Lot{Parcel: square(45.5)}, feet(c.throwFeet))
		got := place(t, y.site, c.target)
		assert.Equal(t, placement.Reached, got.Status, "%+v", c)
		assert.Len(t, got.Heads, c.heads, "%+v", c)
		assert.GreaterOrEqual(t, got.Coverage, c.least-1e-9, "%+v", c)
		assert.LessOrEqual(t, got.Coverage, c.most+1e-9, "%+v", c)
		requireSound(t, y, got, c.target)
	}
}

// requireSound checks a placement by other means than it was made with.
func requireSound(t *testing.T, y yard, got placement.Result, target float64) {
	t.Helper()
	require.True(t, slices.IsSortedFunc(got.Heads, geom.Point.Compare))
	for _, h := range got.Heads {
		require.True(t, y.ground.Allows(h) || slices.Contains(y.site.Pinned, h), "%v", h)
	}
	for _, p := range y.site.Pinned {
		require.Contains(t, got.Heads, p)
	}
	var all []sight.Reach
	field := sight.NewField(y.lawn)
	for _, h := range got.Heads {
		all = append(all, field.From(h, y.site.ThrowMM, 0))
	}
	require.InDelta(t, sight.CoveredM2(all)/y.lawn.AreaM2(), got.Coverage, 1e-9)
	require.InDelta(t, sampledShare(y.lawn, got.Heads, y.site.ThrowMM, 150), got.Coverage, 0.003)
	require.LessOrEqual(t, got.Bound, len(got.Heads))
	require.GreaterOrEqual(t, got.Greedy, len(got.Heads))
	require.GreaterOrEqual(t, got.Bound, len(y.site.Pinned))
	if got.Status == placement.Reached {
		require.GreaterOrEqual(t, got.Coverage, target-max(1e-9, 1e-5/y.lawn.AreaM2()), "a tenth of a square centimetre is forgiven")
		require.True(t, got.Proven)
	} else {
		require.Less(t, got.Coverage, target)
	}
}

func TestPlaceByHand(t *testing.T) {
	// A lawn round three sides of a house: arms 4 m wide and 14 m long, and
	// 20 m by 6 m behind it.
	horseshoe := &layout.Lot{Parcel: rect(0, 0, 20, 20), Building: rect(4, 0, 16, 14)}
	// Two rooms of 8 m by 8 m, and a corridor 2 m wide and 6 m long between
	// their middles: from the middle of a room half the corridor is in sight.
	rooms := &layout.Lot{Parcel: rect(0, 0, 22, 8), Building: geom.Union(rect(8, 0, 14, 3), rect(8, 5, 14, 8))}
	// The corridor is round the corner: nobody in a room sees into the other.
	islands := &layout.Lot{Parcel: rect(0, 0, 30, 5), Hardscape: geom.Union(rect(5, 0, 12, 5), rect(17, 0, 25, 5))}
	wall := &layout.Lot{Parcel: rect(0, 0, 10, 10), Wall: rect(4.95, 0, 5.05, 10)}
	cases := map[string]struct {
		lot   *layout.Lot
		throw float64
		heads int
	}{
		"one room":                        {&layout.Lot{Parcel: rect(0, 0, 8, 8)}, 25, 1},
		"two rooms joined by a corridor":  {rooms, 25, 2},
		"three islands":                   {islands, 30, 3},
		"a wall down the middle":          {wall, 30, 2},
		"horseshoe round a house, 30 ft":  {horseshoe, 30, 3},
		"a strip three throws and a half": {&layout.Lot{Parcel: rect(0, 0, 32, 2)}, 15, 4},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			y := newYard(t, c.lot, feet(c.throw))
			got := place(t, y.site, 0.97)
			assert.Equal(t, placement.Reached, got.Status)
			assert.Len(t, got.Heads, c.heads)
			requireSound(t, y, got, 0.97)
			if c.heads > 1 {
				assert.Less(t, bestOf(y, c.heads-1), 0.97, "one head fewer among the spots would do")
			}
		})
	}
}

// bestOf tries every choice of n spots and returns the largest share of the
// witnesses any reaches.
func bestOf(y yard, n int) float64 {
	rows := (len(y.site.WitnessAt) + 63) / 64
	sees := make([][]uint64, len(y.site.Spots))
	total := int64(0)
	for _, w := range y.site.WitnessMM2 {
		total += w
	}
	for i, s := range y.site.Spots {
		sees[i] = make([]uint64, rows)
		for j, w := range y.site.WitnessAt {
			if reaches(y.lawn, s, w, y.site.ThrowMM) {
				sees[i][j/64] |= 1 << (j % 64)
			}
		}
	}
	return float64(bestUnion(sees, y.site.WitnessMM2, make([]uint64, rows), n)) / float64(total)
}

func bestUnion(sees [][]uint64, weights []int64, wet []uint64, n int) int64 {
	if n == 0 {
		return weightOf(wet, weights)
	}
	best := int64(0)
	for i := range sees {
		more := slices.Clone(wet)
		for k, w := range sees[i] {
			more[k] |= w
		}
		best = max(best, bestUnion(sees[i+1:], weights, more, n-1))
	}
	return best
}

func weightOf(set []uint64, weights []int64) int64 {
	sum := int64(0)
	for k, w := range set {
		for ; w != 0; w &= w - 1 {
			sum += weights[64*k+bits.TrailingZeros64(w)]
		}
	}
	return sum
}

func TestPinnedHeadsAreKept(t *testing.T) {
	middle := square(45.5).Bounds().Max
	middle = geom.Pt(middle.X/2, middle.Y/2)
	for name, c := range map[string]struct {
		pinned []geom.Point
		heads  int
	}{
		"one in the middle is enough":        {[]geom.Point{middle}, 1},
		"one in a corner needs another":      {[]geom.Point{geom.Pt(300, 300)}, 2},
		"a useless one beyond the lot line":  {[]geom.Point{geom.Pt(-4000, 300)}, 2},
		"two side by side":                   {[]geom.Point{middle, middle.Add(geom.Pt(10, 0))}, 2},
		"three in one corner need a fourth":  {[]geom.Point{geom.Pt(300, 300), geom.Pt(300, 400), geom.Pt(400, 300)}, 4},
		"one that keeps too little distance": {[]geom.Point{geom.Pt(10, 6000)}, 2},
	} {
		t.Run(name, func(t *testing.T) {
			y := newYard(t, &layout.Lot{Parcel: square(45.5), Pinned: layout.PinsAt(c.pinned...)}, feet(30))
			got := place(t, y.site, 0.97)
			assert.Equal(t, placement.Reached, got.Status)
			assert.Len(t, got.Heads, c.heads)
			requireSound(t, y, got, 0.97)
		})
	}
}

// TestUnreachable: a lawn of which two fifths lie where nobody may stand.
func TestUnreachable(t *testing.T) {
	y := newYard(t, &layout.Lot{Parcel: rect(0, 0, 21, 6), Hardscape: rect(12, 0, 13, 6)}, feet(30))
	east := func(p geom.Point) bool { return p.X > 12_500 }
	allows := y.site.Allows
	y.site.Allows = func(p geom.Point) bool { return allows(p) && !east(p) }
	y.site.Spots = slices.DeleteFunc(y.site.Spots, east)
	got := place(t, y.site, 0.97)
	assert.Equal(t, placement.Unreachable, got.Status)
	assert.InDelta(t, 0.6, got.Coverage, 0.004, "all that can be reached")
	assert.False(t, slices.ContainsFunc(got.Heads, east))
	requireSound(t, y, got, 0.97)
	got = place(t, y.site, 0.55)
	assert.Equal(t, placement.Reached, got.Status)
	requireSound(t, y, got, 0.55)

	y.site.Spots, y.site.Allows = nil, func(geom.Point) bool { return false }
	got = place(t, y.site, 0.97)
	assert.Equal(t, placement.Unreachable, got.Status)
	assert.Empty(t, got.Heads)
	assert.Zero(t, got.Coverage)
}

// row is a site with one dimension, to steer what the exact area says of a
// choice: spots are columns at y = 1, each with a list of the witnesses it sees.
type row struct {
	sees  map[geom.Point][]geom.Point
	exact func(spots []geom.Point) float64 // share
}

type rowReach struct {
	at   geom.Point
	sees []geom.Point
}

func (r *rowReach) Sees(p geom.Point) bool { return slices.Contains(r.sees, p) }

func (r *rowReach) SeesEach(points []geom.Point, f func(int)) {
	for i, p := range points {
		if r.Sees(p) {
			f(i)
		}
	}
}

func (r row) site(weights ...int64) placement.Site {
	s := placement.Site{ThrowMM: 1000, LawnAreaM2: 1, Allows: func(geom.Point) bool { return false }}
	for x, w := range weights {
		s.WitnessAt, s.WitnessMM2 = append(s.WitnessAt, geom.Pt(int64(x), 0)), append(s.WitnessMM2, w)
	}
	for p := range r.sees {
		s.Spots = append(s.Spots, p)
	}
	slices.SortFunc(s.Spots, geom.Point.Compare)
	s.ReachFrom = func(p geom.Point) placement.Reach { return &rowReach{p, r.sees[p]} }
	s.AreaReached = func(reaches []placement.Reach) float64 {
		var at []geom.Point
		for _, reach := range reaches {
			at = append(at, reach.(*rowReach).at)
		}
		return r.exact(at)
	}
	return s
}

// TestWitnessesOnlySample: where the exact area of the choice that the
// witnesses ask for falls short, more is asked for; only when no spot adds
// anything is the target out of reach.
func TestWitnessesOnlySample(t *testing.T) {
	w := func(xs ...int64) (out []geom.Point) {
		for _, x := range xs {
			out = append(out, geom.Pt(x, 0))
		}
		return out
	}
	a, b := geom.Pt(0, 1), geom.Pt(1, 1)
	share := func(one, both float64) func([]geom.Point) float64 {
		return func(at []geom.Point) float64 {
			slices.SortFunc(at, geom.Point.Compare)
			switch len(slices.Compact(at)) {
			case 0:
				return 0
			case 1:
				return one
			}
			return both
		}
	}
	cases := map[string]struct {
		row     row
		weights []int64
		status  placement.Status
		heads   int
	}{
		"one is enough": {
			row{map[geom.Point][]geom.Point{a: w(0), b: w(0)}, share(0.98, 0.99)}, []int64{100}, placement.Reached, 1},
		"the second spot makes up for it": {
			row{map[geom.Point][]geom.Point{a: w(0), b: w(1)}, share(0.96, 0.99)}, []int64{975, 25}, placement.Reached, 2},
		"it sees no witness of its own": {
			row{map[geom.Point][]geom.Point{a: w(0, 1), b: w(0)}, share(0.96, 0.99)}, []int64{90, 10}, placement.Reached, 2},
		"and one witness is out of reach": {
			row{map[geom.Point][]geom.Point{a: w(0, 1), b: w(0)}, share(0.969, 0.971)}, []int64{90, 881, 29}, placement.Reached, 2},
		"even both are too little": {
			row{map[geom.Point][]geom.Point{a: w(0, 1), b: w(0)}, share(0.95, 0.96)}, []int64{90, 10}, placement.Unreachable, 2},
		"nothing more to gain": {
			row{map[geom.Point][]geom.Point{a: w(0, 1), b: w(0)}, share(0.96, 0.96)}, []int64{90, 10}, placement.Unreachable, 1},
		"the witnesses were too strict": {
			row{map[geom.Point][]geom.Point{a: w(0), b: w(0)}, share(0.98, 0.99)}, []int64{90, 10}, placement.Reached, 1},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			got := place(t, c.row.site(c.weights...), 0.97)
			assert.Equal(t, c.status, got.Status)
			assert.Len(t, got.Heads, c.heads)
			assert.LessOrEqual(t, got.Bound, len(got.Heads))
		})
	}
}

// TestPinnedHeadsSeeEveryWitness, but not quite enough of the lawn.
func TestPinnedHeadsSeeEveryWitness(t *testing.T) {
	y := newYard(t, &layout.Lot{Parcel: square(45.5), Pinned: layout.PinsAt(geom.Pt(6934, 6934))}, feet(32))
	for _, w := range y.site.WitnessAt {
		require.True(t, y.site.ReachFrom(y.site.Pinned[0]).Sees(w))
	}
	got := place(t, y.site, 1)
	assert.Equal(t, placement.Reached, got.Status)
	assert.Greater(t, len(got.Heads), 1)
	requireSound(t, y, got, 1)
}

func TestAnyLot(t *testing.T) {
	reached, heads, pinned := 0, 0, 0
	for seed := range uint64(40) {
		lot := randomLot(seed)
		y := newYard(t, lot, feet([]float64{25, 30}[seed%2]))
		target := []float64{0.9, 0.97, 1, 0.99}[seed%4]
		got := place(t, y.site, target)
		requireSound(t, y, got, target)
		require.Equal(t, got, place(t, y.site, target), "seed %d: the same twice", seed)
		if got.Status == placement.Reached {
			reached++
		}
		heads += len(got.Heads)
		pinned += len(lot.Pinned)
		if n := got.Bound - 1; n > 0 && n < 3 && len(lot.Pinned) == 0 && got.Bound == len(got.Heads) {
			require.Less(t, bestOf(y, n), target, "seed %d: the bound of %d does not hold", seed, got.Bound)
		}
	}
	assert.Greater(t, reached, 35)
	assert.Greater(t, heads, 100)
	assert.Greater(t, pinned, 5)
}

func TestCancelled(t *testing.T) {
	y := newYard(t, &layout.Lot{Parcel: rect(0, 0, 40, 40)}, feet(25))
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := placement.Place(ctx, y.site, placement.Settings{CoverageTarget: 0.97})
	assert.ErrorIs(t, err, context.Canceled)
}

// TestAllOfTheLawn: what full coverage takes where it can be told by eye. The
// witnesses, a metre apart, would let one head fewer pass in some.
func TestAllOfTheLawn(t *testing.T) {
	comb := rect(0, 0, 21, 3)
	for tooth := range 4 {
		comb = geom.Union(comb, rect(6*float64(tooth), 3, 6*float64(tooth)+3, 15))
	}
	cases := map[string]struct {
		lot   *layout.Lot
		throw float64
		heads int
	}{
		// The back is 3 m deep: who sees the tip of a tooth whole cannot see another's.
		"comb, long throw":   {&layout.Lot{Parcel: comb}, 45, 4},
		"L":                  {&layout.Lot{Parcel: geom.Union(rect(0, 0, 12, 4), rect(0, 0, 4, 12))}, 60, 1},
		"room with a pillar": {&layout.Lot{Parcel: rect(0, 0, 10, 10), Building: rect(4, 4, 6, 6)}, 60, 2},
		"U":                  {&layout.Lot{Parcel: rect(0, 0, 16, 16), Building: rect(4, 4, 12, 16)}, 80, 2},
		"strip":              {&layout.Lot{Parcel: rect(0, 0, 36, 2)}, 30, 2},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			y := newYard(t, c.lot, feet(c.throw))
			got := place(t, y.site, 1)
			assert.Equal(t, placement.Reached, got.Status)
			assert.Len(t, got.Heads, c.heads)
			requireSound(t, y, got, 1)
		})
	}
}

// TestStartIsTried: heads brought along that do with fewer are taken.
func TestStartIsTried(t *testing.T) {
	y := newYard(t, &layout.Lot{Parcel: rect(0, 0, 30, 20), Building: rect(9, 7, 20, 13)}, feet(30))
	own := place(t, y.site, 0.97)
	y.site.Start = [][]geom.Point{own.Heads}
	again := place(t, y.site, 0.9)
	assert.LessOrEqual(t, len(again.Heads), len(own.Heads))
	requireSound(t, y, again, 0.9)

	// Of the site's own spots only two are left; the start does better.
	y.site.Spots = []geom.Point{m(1, 1), m(29, 19)}
	y.site.Start = [][]geom.Point{own.Heads}
	y.site.DryAt = nil
	again = place(t, y.site, 0.97)
	assert.Len(t, again.Heads, len(own.Heads))
	assert.Equal(t, placement.Reached, again.Status)
}
