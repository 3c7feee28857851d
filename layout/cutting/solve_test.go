package cutting_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/cutting"
)

func one(length int64) []cutting.Stock { return []cutting.Stock{{Length: length}} }

func TestSolveByHand(t *testing.T) {
	cases := map[string]struct {
		p    cutting.Problem
		cost int64
		n    int
	}{
		"nothing to cut":          {cutting.Problem{Stocks: one(10)}, 0, 0},
		"no sticks, no pieces":    {cutting.Problem{}, 0, 0},
		"one piece, whole stick":  {cutting.Problem{Pieces: []int64{10}, Stocks: one(10)}, 10, 1},
		"two fit exactly":         {cutting.Problem{Pieces: []int64{4, 6}, Stocks: one(10)}, 10, 1},
		"but not with a kerf":     {cutting.Problem{Pieces: []int64{4, 6}, Stocks: one(10), Kerf: 1}, 20, 2},
		"k pieces, k−1 kerfs":     {cutting.Problem{Pieces: []int64{3, 3, 2}, Stocks: one(10), Kerf: 1}, 10, 1},
		"best fit is led astray":  {cutting.Problem{Pieces: []int64{5, 5, 4, 4, 3, 3, 3, 3}, Stocks: one(10)}, 30, 3},
		"L1 says 3, L2 says 4":    {cutting.Problem{Pieces: []int64{6, 6, 6, 6}, Stocks: one(10)}, 40, 4},
		"a short stick is enough": {cutting.Problem{Pieces: []int64{6, 4, 3}, Stocks: []cutting.Stock{{Length: 10}, {Length: 4}}}, 14, 2},
		"dear short sticks": {cutting.Problem{Pieces: []int64{6, 4, 3},
			Stocks: []cutting.Stock{{Length: 10, Cost: 5}, {Length: 4, Cost: 6}}}, 10, 2},
		"one long or two short: cost decides": {cutting.Problem{Pieces: []int64{4, 4},
			Stocks: []cutting.Stock{{Length: 10, Cost: 9}, {Length: 4, Cost: 4}}}, 8, 2},
		// Sticks of 20 ft, pieces in mm: 137 ft is six whole sticks and 17 ft.
		"the remainder of 137 ft takes a seventh stick": {cutting.Problem{
			Pieces: append(slices.Repeat([]int64{6096}, 6), 5182), Stocks: one(6096)}, 7 * 6096, 7},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			r, err := cutting.Solve(c.p, cutting.Settings{})
			require.NoError(t, err)
			check(t, c.p, r)
			assert.Equal(t, cutting.Optimal, r.Status)
			assert.Equal(t, c.cost, r.Cost)
			assert.Len(t, r.Sticks, c.n)
		})
	}
}

func TestMalformedProblems(t *testing.T) {
	for name, c := range map[string]struct {
		p    cutting.Problem
		want string
	}{
		"no length":  {cutting.Problem{Pieces: []int64{5, 0}, Stocks: one(10)}, "piece 1: length 0 mm is not positive"},
		"too long":   {cutting.Problem{Pieces: []int64{11}, Stocks: one(10)}, "piece 0: 11 mm is longer than the longest stick, 10 mm"},
		"no sticks":  {cutting.Problem{Pieces: []int64{1}}, "piece 0: 1 mm is longer than the longest stick, 0 mm"},
		"kerf":       {cutting.Problem{Kerf: -1}, "kerf -1 mm"},
		"stock":      {cutting.Problem{Stocks: one(0)}, "stock 0: length 0 mm"},
		"cost":       {cutting.Problem{Stocks: []cutting.Stock{{Length: 1, Cost: -1}}}, "stock 0: cost -1"},
		"too many":   {cutting.Problem{Pieces: slices.Repeat([]int64{1 << 29}, 1<<11), Stocks: one(1 << 29)}, "2^40 mm or more"},
		"vast stock": {cutting.Problem{Stocks: one(1 << 30)}, "stock 0: length"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := cutting.Solve(c.p, cutting.Settings{})
			assert.ErrorContains(t, err, c.want)
		})
	}
}

// TestBruteForce compares with every way of dealing up to 8 pieces out to sticks.
func TestBruteForce(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for i := range 400 {
		p := cutting.Problem{Kerf: rng.Int64N(3), Stocks: one(20)}
		if i%2 == 1 {
			p.Stocks = []cutting.Stock{{Length: 20, Cost: 15 + rng.Int64N(10)}, {Length: 11}, {Length: 7, Cost: 4 + rng.Int64N(6)}}
		}
		for range 1 + rng.IntN(8) {
			p.Pieces = append(p.Pieces, 1+rng.Int64N(15))
		}
		r, err := cutting.Solve(p, cutting.Settings{})
		require.NoError(t, err)
		check(t, p, r)
		require.Equal(t, cutting.Optimal, r.Status, "%+v", p)
		require.Equal(t, cheapest(p, nil, 0), r.Cost, "%+v", p)
	}
}

// cheapest deals pieces from the i-th on to the groups there are or a new one,
// and prices each group by the cheapest stick that holds it.
func cheapest(p cutting.Problem, groups []int64, i int) int64 {
	const never = int64(1) << 40
	if i == len(p.Pieces) {
		sum := int64(0)
		for _, g := range groups {
			best := never
			for _, s := range p.Stocks {
				if g <= s.Length {
					cost := s.Cost
					if cost == 0 {
						cost = s.Length
					}
					best = min(best, cost)
				}
			}
			sum += best
		}
		return sum
	}
	best := cheapest(p, append(slices.Clone(groups), p.Pieces[i]), i+1)
	for g := range groups {
		more := slices.Clone(groups)
		more[g] += p.Kerf + p.Pieces[i]
		best = min(best, cheapest(p, more, i+1))
	}
	return best
}

// triplets returns an instance whose optimum is known by construction: sticks
// cut into three without waste, in the manner of Falkenauer (Journal of
// Heuristics 2, 1996).
func triplets(seed uint64, n int) cutting.Problem {
	rng := rand.New(rand.NewPCG(seed, uint64(n)))
	p := cutting.Problem{Stocks: one(1000)}
	for range n {
		a := 380 + rng.Int64N(111)
		b := 250 + rng.Int64N((1000-a)/2-250+1)
		p.Pieces = append(p.Pieces, a, b, 1000-a-b)
	}
	rng.Shuffle(len(p.Pieces), func(i, j int) { p.Pieces[i], p.Pieces[j] = p.Pieces[j], p.Pieces[i] })
	return p
}

func TestTriplets(t *testing.T) {
	for _, n := range []int{5, 10, 15, 20} {
		for seed := range uint64(10) {
			t.Run(fmt.Sprintf("%d sticks, seed %d", n, seed), func(t *testing.T) {
				p := triplets(seed, n)
				r, err := cutting.Solve(p, cutting.Settings{Nodes: 500_000})
				require.NoError(t, err)
				check(t, p, r)
				assert.Equal(t, cutting.Optimal, r.Status)
				assert.Len(t, r.Sticks, n)
			})
		}
	}
}

// TestRandomValidity judges cuttings by separate code and compares them with the
// bound: of as many pieces as a lot has, and of more.
func TestRandomValidity(t *testing.T) {
	for _, c := range []struct{ pieces, rounds, optimal, above int }{
		{60, 60, 56, 1}, {300, 15, 0, 2},
	} {
		rng := rand.New(rand.NewPCG(2, uint64(c.pieces)))
		optimal, most := 0, int64(0)
		for i := range c.rounds {
			p := cutting.Problem{Kerf: rng.Int64N(4), Stocks: one(6096)}
			if i%3 == 2 {
				p.Stocks = append(p.Stocks, cutting.Stock{Length: 3048})
			}
			for range 1 + rng.IntN(c.pieces) {
				p.Pieces = append(p.Pieces, 200+rng.Int64N(5800))
			}
			r, err := cutting.Solve(p, cutting.Settings{})
			require.NoError(t, err)
			check(t, p, r)
			again, err := cutting.Solve(p, cutting.Settings{})
			require.NoError(t, err)
			require.Equal(t, r, again)
			if r.Status == cutting.Optimal {
				optimal++
			}
			most = max(most, (r.Cost-r.Bound)/6096)
		}
		t.Logf("up to %d pieces: %d of %d proven, the others at most %d sticks above the bound", c.pieces, optimal, c.rounds, most)
		assert.GreaterOrEqual(t, optimal, c.optimal)
		assert.LessOrEqual(t, most, int64(c.above))
	}
}

func TestWithoutEffort(t *testing.T) {
	p := triplets(1, 20)
	r, err := cutting.Solve(p, cutting.Settings{Nodes: -1})
	require.NoError(t, err)
	check(t, p, r)
	assert.Zero(t, r.Nodes)
	assert.Equal(t, int64(20_000), r.Bound)
}

// TestMany cuts as many pieces as ten thousand lots need.
func TestMany(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	p := cutting.Problem{Stocks: one(6096)}
	for range 100_000 {
		p.Pieces = append(p.Pieces, 300+rng.Int64N(5797))
	}
	r, err := cutting.Solve(p, cutting.Settings{})
	require.NoError(t, err)
	check(t, p, r)
	gap := float64(r.Cost-r.Bound) / float64(r.Bound)
	t.Logf("%d sticks, %.4f %% above the bound", len(r.Sticks), 100*gap)
	assert.Less(t, gap, 0.002)
}

// check judges a cutting by the problem alone.
func check(t *testing.T, p cutting.Problem, r cutting.Result) {
	t.Helper()
	seen := make([]int, len(p.Pieces))
	cost := int64(0)
	for _, s := range r.Sticks {
		stock := p.Stocks[s.Stock]
		require.NotEmpty(t, s.Pieces)
		used := int64(0)
		for k, i := range s.Pieces {
			seen[i]++
			used += p.Pieces[i]
			if k > 0 {
				used += p.Kerf
				require.GreaterOrEqual(t, p.Pieces[s.Pieces[k-1]], p.Pieces[i], "longest first")
			}
		}
		require.LessOrEqual(t, used, stock.Length)
		if cost += stock.Cost; stock.Cost == 0 {
			cost += stock.Length
		}
	}
	for i, n := range seen {
		require.Equal(t, 1, n, "piece %d", i)
	}
	require.Equal(t, cost, r.Cost)
	require.LessOrEqual(t, r.Bound, r.Cost)
	require.Equal(t, r.Bound == r.Cost, r.Status == cutting.Optimal)
}
