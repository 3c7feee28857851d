package stakeout_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/stakeout"
)

func named(name string, x, y int64) stakeout.Named {
	return stakeout.Named{Name: name, At: geom.Pt(x, y)}
}

// rect is an upright rectangle, in millimetres.
func rect(x0, y0, x1, y1 int64) geom.Region {
	return geom.Region{{{geom.Pt(x0, y0), geom.Pt(x1, y0), geom.Pt(x1, y1), geom.Pt(x0, y1)}}}
}

func table(t *testing.T, targets, references []stakeout.Named, s stakeout.Settings) stakeout.Result {
	t.Helper()
	r, err := stakeout.Table(targets, references, s)
	require.NoError(t, err)
	return r
}

// A triangle of 3, 4 and 5 m: the tapes are 3 and 4 m, square to one another.
func TestThreeFourFive(t *testing.T) {
	references := []stakeout.Named{named("B2", 5000, 0), named("B1", 0, 0)}
	r := table(t, []stakeout.Named{named("H1", 1800, 2400), named("H2", 1800, -2400)}, references,
		stakeout.Settings{Graduation: stakeout.Centimetre})
	require.Len(t, r.Rows, 2)
	for i, side := range []stakeout.Side{stakeout.Left, stakeout.Right} {
		row := r.Rows[i]
		assert.Equal(t, stakeout.Tape{From: named("B1", 0, 0), Marks: 300, Distance: 3}, row.First)
		assert.Equal(t, stakeout.Tape{From: named("B2", 5000, 0), Marks: 400, Distance: 4}, row.Second)
		assert.Equal(t, side, row.Side)
		assert.InDelta(t, 90, row.CrossingDeg, 1e-9)
		assert.LessOrEqual(t, row.Error.Metres(), 0.0001)
	}
	assert.Equal(t, []stakeout.Named{named("B1", 0, 0), named("B2", 5000, 0)}, r.References)
}

// The same triangle in feet, read to the quarter inch: 3 ft is 914.4 mm, so the
// target on the grid of millimetres is off by less than that.
func TestQuarterInches(t *testing.T) {
	references := []stakeout.Named{named("B1", 0, 0), named("B2", 1524, 0)}
	r := table(t, []stakeout.Named{named("H1", 549, 732)}, references, stakeout.Settings{})
	require.Len(t, r.Rows, 1)
	assert.Equal(t, int64(144), r.Rows[0].First.Marks)
	assert.Equal(t, int64(192), r.Rows[0].Second.Marks)
	assert.InDelta(t, 0.9144, r.Rows[0].First.Distance.Metres(), 1e-12)
	// The place in feet is at (548.64, 731.52): 0.60 mm off, rounded up to the
	// tenth above for the last digits.
	assert.InDelta(t, 0.00065, r.Rows[0].Error.Metres(), 0.00006)
}

func TestText(t *testing.T) {
	for marks, want := range map[int64]string{
		0: "0 ft 0 in", 1: "0 ft 0 1/4 in", 46: "0 ft 11 1/2 in", 48: "1 ft 0 in", 589: "12 ft 3 1/4 in", 4799: "99 ft 11 3/4 in"} {
		assert.Equal(t, want, stakeout.QuarterInch.Text(marks))
	}
	for marks, want := range map[int64]string{5: "0.05 m", 374: "3.74 m", 3000: "30.00 m"} {
		assert.Equal(t, want, stakeout.Centimetre.Text(marks))
	}
}

// What cannot be staked is listed with the reason.
func TestMissed(t *testing.T) {
	hidden := named("hidden", 0, 2000)
	sees := func(a, b geom.Point) bool { return b != hidden.At }
	references := []stakeout.Named{named("B1", -3000, 0), named("B2", 3000, 0), named("B3", 3100, 2500)}
	targets := []stakeout.Named{named("far", 0, 40_000), hidden, named("flat", -6000, 100), named("good", 0, 3000)}
	r := table(t, targets, references, stakeout.Settings{Sees: sees, PermanentOnly: true})
	require.Len(t, r.Rows, 1)
	assert.Equal(t, "good", r.Rows[0].Target.Name)
	var got []string
	for _, m := range r.Missed {
		got = append(got, m.Target.Name+" "+m.Rule+": "+m.Reason)
	}
	assert.Equal(t, []string{
		"far stakeout.too_far: no point to tape from within 100.0 ft (30.48 m) of it; two are needed",
		"flat stakeout.slanted: of 3 points to tape from that it sees, no two lie at an angle between 30° and 150°; the nearest to square are at 17°",
		"hidden stakeout.hidden: of 3 points to tape from within reach, 0 can be seen from it; two are needed",
	}, got)
}

func TestTooNear(t *testing.T) {
	references := []stakeout.Named{named("B1", 0, 0), named("B2", 400, 0)}
	r := table(t, []stakeout.Named{named("H1", 200, 150)}, references, stakeout.Settings{})
	require.Len(t, r.Missed, 1)
	assert.Equal(t, "stakeout.too_near", r.Missed[0].Rule)
	assert.Equal(t, "of 2 points to tape from within reach, 0 is farther than 1.0 ft (0.30 m), the least that can be taped; two are needed", r.Missed[0].Reason)
}

// Corners that stick out are taken, clockwise; the inner corner of an L, a bend
// of 6° and a corner 0.2 m from another are not.
func TestReferences(t *testing.T) {
	house := geom.Region{{{geom.Pt(0, 0), geom.Pt(8000, 0), geom.Pt(8000, 4000), geom.Pt(4000, 4000), geom.Pt(4000, 8000), geom.Pt(0, 8000)}}}
	lot := geom.Region{{{geom.Pt(-5000, -5000), geom.Pt(2000, -5700), geom.Pt(12_000, -5600), geom.Pt(12_000, 12_000), geom.Pt(-4900, 12_000), geom.Pt(-5000, 11_880)}}}
	want := []stakeout.Named{named("B1", 0, 8000), named("B2", 4000, 8000), named("B3", 8000, 4000), named("B4", 8000, 0), named("B5", 0, 0),
		named("L1", -4900, 12_000), named("L2", 12_000, 12_000), named("L3", 12_000, -5600), named("L4", -5000, -5000)}
	assert.Equal(t, want, stakeout.References(house, lot))

	turned := slices.Clone(house[0][0])
	turned = append(turned[3:], turned[:3]...)
	assert.Equal(t, want, stakeout.References(geom.Region{{turned}}, lot), "wherever the outline starts")
	// A shed on the neighbour's land is no reference; a lot corner inside a house is none.
	assert.Len(t, stakeout.References(rect(20_000, 0, 22_000, 2000), lot), 4)
	assert.Equal(t, []stakeout.Named{named("B1", 3000, 3000), named("L1", 0, 10_000), named("L2", 10_000, 10_000), named("L3", 10_000, 0)},
		stakeout.References(rect(-4000, -4000, 3000, 3000), rect(0, 0, 10_000, 10_000)))
}

// Tapes pass along walls, and not through houses.
func TestPast(t *testing.T) {
	sees, err := stakeout.Past(rect(0, 0, 8000, 6000))
	require.NoError(t, err)
	assert.True(t, sees(geom.Pt(0, 0), geom.Pt(8000, 0)), "along the wall")
	assert.True(t, sees(geom.Pt(0, 0), geom.Pt(-3000, 9000)))
	assert.False(t, sees(geom.Pt(0, 0), geom.Pt(8000, 6000)), "across the house")
	assert.False(t, sees(geom.Pt(4000, -2000), geom.Pt(4000, 9000)), "through the house")
	assert.False(t, sees(geom.Pt(4000, 3000), geom.Pt(4000, 3100)), "inside")
	assert.True(t, sees(geom.Pt(4000, -2000), geom.Pt(12_000, 1000)), "past a corner")
}

// A row of heads along a house: the corners at hand serve them all, though for
// some another is a little better.
func TestReferencesAreReused(t *testing.T) {
	references := stakeout.References(rect(0, 0, 10_000, 8000), rect(-20_000, -20_000, 30_000, 30_000))
	var targets []stakeout.Named
	for i := range int64(9) {
		targets = append(targets, named(fmt.Sprintf("H%d", i+1), 1000+1000*i, -4000))
	}
	r := table(t, targets, references, stakeout.Settings{})
	assert.Len(t, r.Rows, 9)
	assert.Len(t, r.References, 2)
}

// A head that one corner sees is staked from that corner and a stake.
func TestFromAStake(t *testing.T) {
	hidden := named("H2", 0, 6000)
	sees := func(a, b geom.Point) bool { return b != hidden.At || a != geom.Pt(3000, 0) }
	references := []stakeout.Named{named("B1", -3000, 0), named("B2", 3000, 0)}
	targets := []stakeout.Named{named("H1", 3000, 4000), hidden, named("H3", 0, 70_000)}
	s := stakeout.Settings{Sees: sees, Graduation: stakeout.Centimetre}
	r := table(t, targets, references, s)
	checkTable(t, targets, references, s, r)
	require.Len(t, r.Rows, 2)
	assert.Equal(t, 2, r.Rows[1].Round)
	assert.Equal(t, stakeout.Tape{From: targets[0], Stake: true, Marks: 361, Distance: 3.61}, r.Rows[1].Second)
	assert.Len(t, r.References, 2)
	require.Len(t, r.Missed, 1)
	assert.Equal(t, "stakeout.too_far", r.Missed[0].Rule)
	s.PermanentOnly = true
	assert.Len(t, table(t, targets, references, s).Missed, 2)
}

func TestInputThatMakesNoSense(t *testing.T) {
	two := []stakeout.Named{named("a", 0, 0), named("a", 1, 0)}
	for _, c := range []struct {
		targets, references []stakeout.Named
		s                   stakeout.Settings
		want                string
	}{
		{two, nil, stakeout.Settings{}, `two places are called "a"`},
		{nil, two, stakeout.Settings{}, `two places are called "a"`},
		{two[:1], two[1:], stakeout.Settings{}, `two places are called "a"`},
		{nil, nil, stakeout.Settings{Tape: -1}, "tape"},
		{nil, nil, stakeout.Settings{Tape: layout.Length(math.NaN())}, "tape"},
		{nil, nil, stakeout.Settings{Graduation: 7}, "graduation"},
	} {
		_, err := stakeout.Table(c.targets, c.references, c.s)
		assert.ErrorContains(t, err, c.want)
	}
	assert.Equal(t, stakeout.Result{}, table(t, nil, nil, stakeout.Settings{}))
}

// taped finds the place again from two distances and the side, without the
// formula of the package: it turns the first tape about its reference until its
// end is as far from the second as it should be.
func taped(row stakeout.Row, a, b geom.Vec) geom.Vec {
	east := math.Atan2(b.Y-a.Y, b.X-a.X)
	turn := 1.0
	if row.Side == stakeout.Right {
		turn = -1
	}
	end := func(angle float64) geom.Vec {
		r := row.First.Distance.Metres() * 1000
		return geom.Vec{X: a.X + r*math.Cos(east+turn*angle), Y: a.Y + r*math.Sin(east+turn*angle)}
	}
	low, high := 0.0, math.Pi
	for range 80 {
		if mid := (low + high) / 2; end(mid).Sub(b).Norm() < row.Second.Distance.Metres()*1000 {
			low = mid
		} else {
			high = mid
		}
	}
	return end(low)
}

// angleAt is the angle at t between a and b, by the law of cosines.
func angleAt(t, a, b geom.Point) float64 {
	u, v, d := t.DistanceMM(a), t.DistanceMM(b), a.DistanceMM(b)
	return math.Acos(max(-1, min(1, (u*u+v*v-d*d)/(2*u*v)))) * 180 / math.Pi
}

// checkTable checks a table from its definition.
func checkTable(t *testing.T, targets, references []stakeout.Named, s stakeout.Settings, r stakeout.Result) {
	t.Helper()
	require.Len(t, targets, len(r.Rows)+len(r.Missed))
	worst := 0.0
	firstRound := usedFirst(r)
	stakes := make(map[string]geom.Vec)
	for k, row := range r.Rows {
		if k > 0 && r.Rows[k-1].Round == row.Round {
			require.Negative(t, layout.CompareLabels(r.Rows[k-1].Target.Name, row.Target.Name))
		}
		at := taped(row, standing(t, row.First, references, stakes), standing(t, row.Second, references, stakes))
		stakes[row.Target.Name] = at
		off := at.Sub(row.Target.At.Vec()).Norm() / 1000
		require.LessOrEqual(t, off, row.Error.Metres()+1e-9, row.Target.Name)
		require.GreaterOrEqual(t, off, row.Error.Metres()-0.0001-1e-9, row.Target.Name)
		worst = max(worst, row.Error.Metres())
		checkRow(t, row, s)
		best, bestTaken := costs(row.Target, references, firstRound, s)
		require.Equal(t, row.Round > 1, math.IsInf(best, 1), "%s: stakes serve only where no references do", row.Target.Name)
		if row.Round > 1 {
			require.True(t, row.First.Stake || row.Second.Stake)
			checkFewestStakes(t, row, references, r.Rows, s)
			continue
		}
		got := cost(row.Target.At, row.First.From.At, row.Second.From.At)
		require.LessOrEqual(t, got, 1.2*best*(1+1e-9), "%s: no pair is more than a fifth better", row.Target.Name)
		require.InEpsilon(t, bestTaken, got, 1e-9, "%s: none of those taken is better", row.Target.Name)
	}
	require.InDelta(t, worst, r.WorstError.Metres(), 1e-12)
	checkMissed(t, references, s, r)
}

// checkFewestStakes checks that two stakes serve only where one and a reference
// do not.
func checkFewestStakes(t *testing.T, row stakeout.Row, references []stakeout.Named, rows []stakeout.Row, s stakeout.Settings) {
	t.Helper()
	for _, earlier := range rows {
		if earlier.Round >= row.Round || !row.First.Stake || !row.Second.Stake {
			continue
		}
		for _, r := range references {
			best, _ := costs(row.Target, []stakeout.Named{r, earlier.Target}, nil, s)
			require.True(t, math.IsInf(best, 1), "%s: %s and %s serve", row.Target.Name, r.Name, earlier.Target.Name)
		}
	}
}

// usedFirst lists the references used in the first round.
func usedFirst(r stakeout.Result) (out []stakeout.Named) {
	for _, row := range r.Rows {
		if row.Round == 1 {
			out = append(out, row.First.From, row.Second.From)
		}
	}
	return out
}

// standing returns where a tape starts: at a permanent reference, or where a
// stake was put before.
func standing(t *testing.T, tp stakeout.Tape, references []stakeout.Named, stakes map[string]geom.Vec) geom.Vec {
	t.Helper()
	if !tp.Stake {
		require.Contains(t, references, tp.From)
		return tp.From.At.Vec()
	}
	require.Contains(t, stakes, tp.From.Name, "a stake serves only once it stands")
	return stakes[tp.From.Name]
}

// checkMissed checks that what is missed cannot be had, from anything that stands.
func checkMissed(t *testing.T, references []stakeout.Named, s stakeout.Settings, r stakeout.Result) {
	t.Helper()
	all := slices.Clone(references)
	for _, row := range r.Rows {
		all = append(all, row.Target)
	}
	for _, m := range r.Missed {
		best, _ := costs(m.Target, all, nil, s)
		require.True(t, math.IsInf(best, 1), "%s: a pair serves it", m.Target.Name)
	}
}

func checkRow(t *testing.T, row stakeout.Row, s stakeout.Settings) {
	t.Helper()
	unit, tape := 0.0254/4, 30.48
	if s.Graduation == stakeout.Centimetre {
		unit, tape = 0.01, 30
	}
	angle := angleAt(row.Target.At, row.First.From.At, row.Second.From.At)
	require.InDelta(t, angle, row.CrossingDeg, 1e-4)
	require.True(t, angle > 29.999 && angle < 150.001)
	for _, tp := range []stakeout.Tape{row.First, row.Second} {
		d := tp.From.At.DistanceMM(row.Target.At) / 1000
		require.InDelta(t, d, tp.Distance.Metres(), unit/2+1e-9)
		require.InDelta(t, float64(tp.Marks)*unit, tp.Distance.Metres(), 1e-9)
		require.True(t, d <= tape && d >= 0.3)
		require.True(t, s.Sees(tp.From.At, row.Target.At))
	}
	if row.Round > 1 {
		return
	}
	// Half a mark on both tapes moves the crossing, to first order, by half a
	// diagonal of the lozenge between the circles.
	half := angle / 2 * math.Pi / 180
	require.LessOrEqual(t, row.Error.Metres(), 1.05*unit/2/min(math.Sin(half), math.Cos(half))+0.0001)
}

// cost is the longer tape and 10 m, over the sine of the crossing.
func cost(t, a, b geom.Point) float64 {
	return (10_000 + max(t.DistanceMM(a), t.DistanceMM(b))) / math.Sin(angleAt(t, a, b)*math.Pi/180)
}

// costs returns the least cost of any pair, and of any pair of those taken.
func costs(t stakeout.Named, references, taken []stakeout.Named, s stakeout.Settings) (best, bestTaken float64) {
	limit := int64(30_480)
	if s.Graduation == stakeout.Centimetre {
		limit = 30_000
	}
	best, bestTaken = math.Inf(1), math.Inf(1)
	for i, a := range references {
		for _, b := range references[:i] {
			angle := angleAt(t.At, a.At, b.At)
			usable := func(p geom.Point) bool {
				d2 := p.Sub(t.At).Norm2()
				return d2 >= 300*300 && d2 <= limit*limit && s.Sees(p, t.At)
			}
			if !usable(a.At) || !usable(b.At) || angle < 30 || angle > 150 {
				continue
			}
			c := cost(t.At, a.At, b.At)
			best = min(best, c)
			if slices.Contains(taken, a) && slices.Contains(taken, b) {
				bestTaken = min(bestTaken, c)
			}
		}
	}
	return best, bestTaken
}

// scattered are places on a lot outside its buildings, to the millimetre.
func scattered(rng *rand.Rand, parcel, building geom.Region, n int) []stakeout.Named {
	box := parcel.Bounds()
	var out []stakeout.Named
	for len(out) < n {
		p := geom.Pt(box.Min.X+rng.Int64N(box.Max.X-box.Min.X+1), box.Min.Y+rng.Int64N(box.Max.Y-box.Min.Y+1))
		if parcel.Has(p) && building.Locate(p) == geom.Outside {
			out = append(out, stakeout.Named{Name: fmt.Sprintf("H%d", len(out)+1), At: p})
		}
	}
	return out
}
