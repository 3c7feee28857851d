package trench_test

import (
	"context"
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/trench"
)

// m is a point given in metres.
func m(x, y float64) geom.Point { return geom.Vec{X: x * 1000, Y: y * 1000}.Round() }

// rect is an upright rectangle given in metres.
func rect(x0, y0, x1, y1 float64) geom.Region {
	return geom.Region{{{m(x0, y0), m(x1, y0), m(x1, y1), m(x0, y1)}}}
}

// yard is an empty lot of 20 m by 30 m with a tap.
func yard(tap geom.Point) *layout.Lot {
	return &layout.Lot{ID: "yard", Parcel: rect(0, 0, 20, 30), Source: &tap}
}

// headsAt places heads H1, H2… that take 17 L/min, 18 L/min…
func headsAt(at ...geom.Point) []layout.Head {
	var heads []layout.Head
	for i, p := range at {
		heads = append(heads, layout.Head{Label: fmt.Sprintf("H%d", i+1), At: p, Flow: layout.Flow(17 + i)})
	}
	return heads
}

// atWall is for answers that are easier by hand without a clearance.
var atWall = trench.Settings{Clearance: -1}

func route(t *testing.T, lot *layout.Lot, heads []layout.Head, s trench.Settings) layout.Network {
	t.Helper()
	net, err := trench.Route(context.Background(), lot, heads, s)
	require.NoError(t, err)
	checkNetwork(t, lot, heads, net)
	return net
}

// micrometre is the unit lengths are rounded to.
const micrometre = 1e-6

func assertLength(t *testing.T, want float64, got layout.Length) {
	t.Helper()
	assert.InDelta(t, want, got.Metres(), 3*micrometre)
}

func TestStraightShot(t *testing.T) {
	net := route(t, yard(m(1, 1)), headsAt(m(9, 7)), trench.Settings{})
	assert.Equal(t, []layout.TrenchRun{{
		From: "POC", To: "H1", Surface: layout.SurfaceSoil, Path: geom.Line{m(1, 1), m(9, 7)},
		Length: 10, Depth: 10 * layout.MetresPerInch,
	}}, net.Runs)
	assert.Equal(t, m(1, 1), net.POC)
	assert.False(t, net.POCAssumed)
	assert.Equal(t, layout.Length(10), net.TrenchLength)
	assert.Equal(t, layout.Length(10), net.SpanningTreeLength)
	assert.Zero(t, net.PavingCrossings)
	assert.Empty(t, net.Unreached)
}

func TestChainOfHeads(t *testing.T) {
	// Each head is nearest to the one before it, and the chain bends so little
	// that no tee could shorten it.
	net := route(t, yard(m(1, 1)), headsAt(m(17, 3), m(6, 2), m(11, 1.5)), trench.Settings{Depth: 0.3})
	assert.Equal(t, [][2]string{{"POC", "H2"}, {"H2", "H3"}, {"H3", "H1"}}, inOrder(net))
	assertLength(t, math.Hypot(5, 1)+math.Hypot(5, 0.5)+math.Hypot(6, 1.5), net.TrenchLength)
	assert.Equal(t, net.SpanningTreeLength, net.TrenchLength)
	assert.Equal(t, layout.Length(0.3), net.Runs[0].Depth)
}

// inOrder lists the stretches of a network from the point of connection out.
func inOrder(net layout.Network) [][2]string {
	var out [][2]string
	at := []string{"POC"}
	for len(at) > 0 {
		for _, r := range net.Runs {
			if r.From == at[0] && !slices.Contains(out, [2]string{r.From, r.To}) {
				out, at = append(out, [2]string{r.From, r.To}), append(at, r.To)
			}
		}
		at = at[1:]
	}
	return out
}

func TestRoundAHouseCorner(t *testing.T) {
	lot := yard(m(3, 8))
	lot.Building = rect(5, 5, 10, 10)
	heads := headsAt(m(8, 3))

	net := route(t, lot, heads, atWall)
	assertLength(t, 2*math.Sqrt(13), net.TrenchLength) // √(2²+3²) to the corner and from it
	assert.Equal(t, geom.Line{m(3, 8), m(5, 5), m(8, 3)}, net.Runs[0].Path)

	// With the clearance the shortest line is two tangents to a circle of 0.3 m
	// about the corner and the arc between. Seen from the corner, √13 m away,
	// tap and head are acos(−12/13) apart on the side of the house.
	net = route(t, lot, heads, trench.Settings{})
	arc := 2*math.Pi - math.Acos(-12.0/13) - 2*math.Acos(0.3/math.Sqrt(13))
	best := 2*math.Sqrt(13-0.3*0.3) + 0.3*arc
	assert.GreaterOrEqual(t, net.TrenchLength.Metres(), best-1e-3)
	assert.LessOrEqual(t, net.TrenchLength.Metres(), best+0.011)
}

func TestLShapedLot(t *testing.T) {
	tap := m(2, 18)
	lot := &layout.Lot{ID: "L", Source: &tap, Parcel: geom.Region{{{
		m(0, 0), m(20, 0), m(20, 8), m(8, 8), m(8, 20), m(0, 20)}}}}
	net := route(t, lot, headsAt(m(18, 2)), trench.Settings{})
	assert.Equal(t, geom.Line{m(2, 18), m(8, 8), m(18, 2)}, net.Runs[0].Path)
	assertLength(t, 2*math.Sqrt(136), net.TrenchLength) // √(6²+10²) twice
}

// drive is a lot with a drive from the lot line, 3 m wide and as deep as said,
// a tap 1 m to the left of it and a head 1 m to the right, both 1 m from the
// lot line.
func drive(depth float64) (*layout.Lot, []layout.Head) {
	lot := yard(m(4, 1))
	lot.Hardscape = rect(5, 0, 8, depth)
	return lot, headsAt(m(9, 1))
}

func TestAcrossTheDriveOrRoundIt(t *testing.T) {
	// Across: 1 + 3·8 + 1 m and 4 m for the crossing: 30 m. Round the end of
	// the drive: 2·√(1 + (d−1)²) + 3 m. Equal at (d−1)² = 13.5² − 1,
	// d = 14.4629 m. At the lot line nothing gets past the drive.
	lot, heads := drive(14.462)
	net := route(t, lot, heads, trench.Settings{})
	assert.Zero(t, net.PavingCrossings)
	assertLength(t, 2*math.Sqrt(1+13.462*13.462)+3, net.TrenchLength)

	lot, heads = drive(14.464)
	net = route(t, lot, heads, trench.Settings{})
	assert.Equal(t, 1, net.PavingCrossings)
	assertLength(t, 3, net.PavingCrossingLength)
	assertLength(t, 5, net.TrenchLength)
	assert.Equal(t, []layout.Surface{layout.SurfaceSoil, layout.SurfacePaving, layout.SurfaceSoil}, surfaces(net))
	assert.Equal(t, geom.Line{m(5, 1), m(8, 1)}, net.Runs[1].Path)
	assertLength(t, 1, net.Runs[0].Length)
}

func surfaces(net layout.Network) []layout.Surface {
	var out []layout.Surface
	for _, r := range net.Runs {
		out = append(out, r.Surface)
	}
	return out
}

func TestThePriceOfPavingIsSettable(t *testing.T) {
	// Round: 2·√(1 + 3²) + 3 = 9.325 m. Across at a factor of 2 with no fixed
	// charge: 8 m; with a charge of 1.3 m: 9.3 m, with 1.35 m: 9.35 m.
	lot, heads := drive(4)
	cases := []struct {
		crossing layout.Length
		want     int
	}{{-1, 1}, {1.3, 1}, {1.35, 0}}
	for _, c := range cases {
		net := route(t, lot, heads, trench.Settings{PavingFactor: 2, PavingCrossing: c.crossing})
		assert.Equal(t, c.want, net.PavingCrossings, "charge %v", c.crossing)
	}
}

func TestRefractionAtPaving(t *testing.T) {
	// Tap and head 3 m beyond either edge of a walk 1 m wide that spans the lot,
	// 8 m apart along it. With s the shift under paving, the cost
	// 2·√(9 + ((8−s)/2)²) + 8·√(1 + s²) is least where the sines on either
	// side of the edge are as 8 to 1.
	lot := yard(m(4, 7))
	lot.Hardscape = rect(0, 10, 20, 11)
	net := route(t, lot, headsAt(m(12, 14)), trench.Settings{})
	require.Len(t, net.Runs, 3)
	a, b := net.Runs[1].Path[0], net.Runs[1].Path[1]
	soil := math.Abs(float64(a.X-4000)) / a.DistanceMM(m(4, 7))
	paved := math.Abs(float64(b.X-a.X)) / a.DistanceMM(b)
	assert.InDelta(t, 8, soil/paved, 0.1) // the shift is 0.1 m: 1 mm is 1 %
}

func TestSleeve(t *testing.T) {
	lot, heads := drive(20)
	lot.Sleeves = []geom.Line{{m(8.1, 3), m(4.9, 3)}}
	net := route(t, lot, heads, trench.Settings{})
	assert.Equal(t, []layout.Surface{layout.SurfaceSoil, layout.SurfaceSleeve, layout.SurfaceSoil}, surfaces(net))
	assert.Zero(t, net.PavingCrossings)
	assert.Equal(t, geom.Line{m(4.9, 3), m(8.1, 3)}, net.Runs[1].Path)
	assertLength(t, 2*math.Sqrt(0.9*0.9+4)+3.2, net.TrenchLength)
}

func TestSleeveTooFarToPay(t *testing.T) {
	// By a sleeve at y: 2·√(0.9² + (y−1)²) + 3.2 m, against 30 m across:
	// equal at y = 14.37 m.
	for y, want := range map[float64]int{14.3: 0, 14.4: 1} {
		lot, heads := drive(20)
		lot.Sleeves = []geom.Line{{m(4.9, y), m(8.1, y)}}
		assert.Equal(t, want, route(t, lot, heads, trench.Settings{}).PavingCrossings, "sleeve at %v", y)
	}
}

func TestSleeveEndsJustInsidePaving(t *testing.T) {
	// 0.14 m short of both edges it is still reached from the soil.
	lot, heads := drive(20)
	lot.Sleeves = []geom.Line{{m(5.14, 3), m(7.86, 3)}}
	net := route(t, lot, heads, trench.Settings{})
	assert.Zero(t, net.PavingCrossings)
	assertLength(t, 2*math.Sqrt(5)+3, net.TrenchLength)

	// 0.16 m short, the paving must be opened at either end, which costs
	// 2·(4 + 8·0.16) m; a sleeve 2 m away is still worth that, and no longer
	// with paving at three times soil and the crossing at 4 m.
	lot.Sleeves = []geom.Line{{m(5.16, 3), m(7.84, 3)}}
	net = route(t, lot, heads, trench.Settings{})
	assert.Equal(t, 2, net.PavingCrossings)
	net = route(t, lot, heads, trench.Settings{PavingFactor: 3})
	assert.Equal(t, 1, net.PavingCrossings)
	assert.NotContains(t, surfaces(net), layout.SurfaceSleeve)
}

func TestSleeveWithABend(t *testing.T) {
	lot, heads := drive(20)
	lot.Sleeves = []geom.Line{{m(4.9, 2), m(6.5, 3.2), m(8.1, 2)}}
	net := route(t, lot, heads, trench.Settings{})
	assert.Equal(t, lot.Sleeves[0], net.Runs[1].Path)
	assertLength(t, 4, net.Runs[1].Length)
}

func TestNoDig(t *testing.T) {
	lot := yard(m(2, 10))
	lot.NoDig = rect(4, 4, 6, 30) // as far as the back lot line
	net := route(t, lot, headsAt(m(8, 10)), trench.Settings{})
	assert.Equal(t, geom.Line{m(2, 10), m(4, 4), m(6, 4), m(8, 10)}, net.Runs[0].Path)
	assertLength(t, 2*math.Sqrt(40)+2, net.TrenchLength)
}

func TestWallAndWater(t *testing.T) {
	for name, block := range map[string]func(*layout.Lot, geom.Region){
		"wall":  func(l *layout.Lot, g geom.Region) { l.Wall = g },
		"water": func(l *layout.Lot, g geom.Region) { l.Water = g },
	} {
		lot := yard(m(2, 10))
		block(lot, rect(5, 7, 5.1, 30))
		net := route(t, lot, headsAt(m(8, 10)), trench.Settings{})
		assert.Equal(t, geom.Line{m(2, 10), m(5, 7), m(5.1, 7), m(8, 10)}, net.Runs[0].Path, name)
	}
}

func TestTapOnTheWall(t *testing.T) {
	// The tap is in the middle of the front; the trench leaves square to the
	// wall and turns where the clearance ends.
	lot := yard(m(10, 10))
	lot.Building = rect(5, 10, 15, 20)
	net := route(t, lot, headsAt(m(4, 5.7)), trench.Settings{})
	assert.Equal(t, geom.Line{m(10, 10), m(10, 9.7), m(4, 5.7)}, net.Runs[0].Path)
	assertLength(t, 0.3+math.Sqrt(36+16), net.TrenchLength)
}

func TestTapDrawnInsideTheHouse(t *testing.T) {
	lot := yard(m(10, 10.4))
	lot.Building = rect(5, 10, 15, 20)
	net := route(t, lot, headsAt(m(10, 5)), trench.Settings{})
	assert.Equal(t, geom.Line{m(10, 10.4), m(10, 5)}, net.Runs[0].Path)
	assert.Empty(t, net.Unreached)
}

func TestTapInTheStreet(t *testing.T) {
	net := route(t, yard(m(10, -1.5)), headsAt(m(10, 5)), trench.Settings{})
	assertLength(t, 6.5, net.TrenchLength)
}

func TestHeadsInAStripTooNarrowForTheClearance(t *testing.T) {
	// Half a metre between house and lot line: the heads stand on the middle
	// line, see each other, and the nearer one sees out at the end.
	lot := yard(m(0.25, 5))
	lot.Building = rect(0.5, 10, 15, 20)
	net := route(t, lot, headsAt(m(0.25, 12), m(0.25, 17)), trench.Settings{})
	assert.Empty(t, net.Unreached)
	assert.Equal(t, [][2]string{{"POC", "H1"}, {"H1", "H2"}}, inOrder(net))
	assert.InDelta(t, 12, net.TrenchLength.Metres(), 0.1) // but for a bend at the end of the strip
}

// ring is a square frame of the given inner and outer half widths about (10, 15).
func ring(inner, outer float64) geom.Region {
	return geom.Difference(rect(10-outer, 15-outer, 10+outer, 15+outer), rect(10-inner, 15-inner, 10+inner, 15+inner))
}

func TestIslandInPavingIsReached(t *testing.T) {
	lot := yard(m(10, 2))
	lot.Hardscape = ring(2, 3)
	net := route(t, lot, headsAt(m(10, 15)), trench.Settings{})
	assert.Empty(t, net.Unreached)
	assert.Equal(t, 1, net.PavingCrossings)
	assertLength(t, 1, net.PavingCrossingLength)
	assertLength(t, 13, net.TrenchLength)
}

func TestIslandInABuildingOrWaterIsUnreached(t *testing.T) {
	for name, block := range map[string]func(*layout.Lot, geom.Region){
		"building": func(l *layout.Lot, g geom.Region) { l.Building = g },
		"water":    func(l *layout.Lot, g geom.Region) { l.Water = g },
		"wall":     func(l *layout.Lot, g geom.Region) { l.Wall = g },
		"no_dig":   func(l *layout.Lot, g geom.Region) { l.NoDig = g },
	} {
		t.Run(name, func(t *testing.T) {
			lot := yard(m(10, 2))
			block(lot, ring(2, 3))
			net := route(t, lot, headsAt(m(10, 15), m(4, 5), m(11, 15)), trench.Settings{})
			require.Len(t, net.Unreached, 2)
			assert.Equal(t, "trench.unreached", net.Unreached[0].Rule)
			assert.Contains(t, net.Unreached[0].Text, "head H1 cannot be reached")
			assert.Equal(t, m(10, 15), *net.Unreached[0].At)
			assert.Contains(t, net.Unreached[1].Text, "head H3")
			assert.Equal(t, net.TrenchLength, net.SpanningTreeLength, "what is not dug is not counted")
			assert.Equal(t, [][2]string{{"POC", "H2"}}, inOrder(net))
		})
	}
}

func TestHeadInForbiddenGround(t *testing.T) {
	lot := yard(m(10, 2))
	lot.NoDig = rect(2, 2, 5, 5)
	net := route(t, lot, headsAt(m(3, 3)), trench.Settings{})
	require.Len(t, net.Unreached, 1)
	assert.Contains(t, net.Unreached[0].Text, "stands in ground that must not be opened")
	assert.Empty(t, net.Runs)

	// A millimetre inside is rounding.
	net = route(t, lot, headsAt(geom.Pt(3000, 2001)), trench.Settings{})
	assert.Empty(t, net.Unreached)
}

// roundAWall is a lot with a wall that comes down to a point at (5, 10), a tap
// to the left of it and two heads to the right, from which the point is seen at
// so wide an angle that a tee belongs there and nowhere else.
func roundAWall() (*layout.Lot, []layout.Head) {
	lot := yard(m(4, 12))
	lot.Wall = geom.Region{{{m(5, 10), m(5.1, 30), m(4.9, 30)}}}
	return lot, headsAt(m(6.8, 14), m(8, 5))
}

func TestSharedMetresAreDugOnce(t *testing.T) {
	lot, heads := roundAWall()
	net := route(t, lot, heads, trench.Settings{})
	assert.Equal(t, [][2]string{{"POC", "T1"}, {"T1", "H1"}, {"T1", "H2"}}, inOrder(net))
	tap, h1, h2 := math.Hypot(1, 2), math.Hypot(1.8, 4), math.Hypot(3, 5)
	assertLength(t, tap+h1+tap+h2, net.SpanningTreeLength) // 9.08 m between the heads is more
	assertLength(t, tap+h1+h2, net.TrenchLength)
}

func TestTees(t *testing.T) {
	r3 := math.Sqrt(3)
	cases := map[string]struct {
		tap        geom.Point
		heads      []geom.Point
		tree, best float64
		tees       int
	}{
		// Fermat's point: lines meet at 120°.
		"equilateral triangle": {m(5, 5), []geom.Point{m(11, 5), m(8, 5+3*r3)}, 12, 6 * r3, 1},
		"right angle":          {m(5, 10), []geom.Point{m(5, 5), m(10, 5)}, 10, 5 * (r3 + 1) / math.Sqrt2, 1},
		// The two tees of the square and of the double square are the textbook
		// cases: side·(1 + √3), and for 1 by 2 the same with 2 + √3.
		"square":       {m(5, 5), []geom.Point{m(11, 5), m(5, 11), m(11, 11)}, 18, 6 * (1 + r3), 2},
		"one by two":   {m(5, 5), []geom.Point{m(9, 5), m(5, 13), m(9, 13)}, 16, 4 * (2 + r3), 2},
		"wide angle":   {m(2, 5), []geom.Point{m(7, 7), m(12, 5)}, 2 * math.Hypot(5, 2), 2 * math.Hypot(5, 2), 0},
		"not for 5 cm": {m(5, 5.27), []geom.Point{m(5, 5), m(5.27, 5)}, 0.54, 0.54, 0}, // 0.27·(2 − 1.932) is 18 mm
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			net := route(t, yard(c.tap), headsAt(c.heads...), trench.Settings{})
			assert.InDelta(t, c.tree, net.SpanningTreeLength.Metres(), 2e-3)
			assert.InDelta(t, c.best, net.TrenchLength.Metres(), 2e-3)
			tees := map[string]bool{}
			for _, r := range net.Runs {
				if r.From[0] == 'T' {
					tees[r.From] = true
				}
			}
			assert.Len(t, tees, c.tees)
		})
	}
}

func TestTeesAreNumberedOutward(t *testing.T) {
	net := route(t, yard(m(13, 9)), headsAt(m(5, 5), m(13, 5), m(5, 9)), trench.Settings{})
	assert.Contains(t, inOrder(net), [2]string{"POC", "T1"})
	assert.Contains(t, inOrder(net), [2]string{"T1", "T2"})
}

func TestBranchingUnderPavingIsOneCrossing(t *testing.T) {
	// The tap is in the middle of a court and three heads stand 9 m round it, at
	// 120° from one another, where no tee helps.
	lot := yard(m(10, 15))
	lot.Hardscape = rect(8, 13, 12, 17)
	out := 9 * math.Sqrt(3) / 2
	heads := headsAt(m(10, 24), m(10+out, 10.5), m(10-out, 10.5))
	net := route(t, lot, heads, trench.Settings{PavingFactor: 1, PavingCrossing: -1})
	assert.Equal(t, 1, net.PavingCrossings)
	assert.InDelta(t, 2+2*4/math.Sqrt(3), net.PavingCrossingLength.Metres(), 1e-3)
}

func TestNothingSlipsByTheLotLine(t *testing.T) {
	// The wall stops 40 mm short of the left lot line, so the trench goes round
	// its other end; 60 mm is taken for a gap.
	for gap, want := range map[float64]float64{0.04: 2 * math.Hypot(8, 5), 0.06: 2 * math.Hypot(1.94, 5)} {
		lot := yard(m(2, 10))
		lot.Wall = geom.Region{{{m(gap, 15), m(10, 15), m(10, 15.001), m(gap, 15.001)}}}
		net := route(t, lot, headsAt(m(2, 20)), trench.Settings{})
		assert.InDelta(t, want, net.TrenchLength.Metres(), 0.002, "gap %v", gap)
	}
}

func TestHeadAtAWallsEnd(t *testing.T) {
	// A line to the end of the wall is no bend round it.
	lot, _ := roundAWall()
	net := route(t, lot, headsAt(m(5, 10)), trench.Settings{})
	assertLength(t, math.Hypot(1, 2), net.TrenchLength)
	tap := m(5, 4)
	lot.Source = &tap
	net = route(t, lot, headsAt(m(5, 10)), trench.Settings{})
	assertLength(t, 6, net.TrenchLength)
}

func TestNoTeeInForbiddenGround(t *testing.T) {
	// The triangle of the first case above, its middle a pond.
	lot := yard(m(5, 5))
	lot.Water = rect(7, 5.5, 9, 8)
	net := route(t, lot, headsAt(m(11, 5), m(8, 5+3*math.Sqrt(3))), trench.Settings{})
	assert.LessOrEqual(t, net.TrenchLength, net.SpanningTreeLength)
	assert.Greater(t, net.TrenchLength.Metres(), 6*math.Sqrt(3))
}

func TestRootsArePassedOrWalkedRound(t *testing.T) {
	// Through a zone 2 m wide: 10 + 2·2 = 14 m. Round its corner at height h:
	// 2·√(16 + h²) + 2, equal at h = √20 = 4.472 m.
	for h, want := range map[float64]float64{4.4: 2*math.Sqrt(16+4.4*4.4) + 2, 4.5: 10} {
		lot := yard(m(2, 15))
		lot.RootZone = rect(6, 15-h, 8, 30)
		net := route(t, lot, headsAt(m(12, 15)), trench.Settings{})
		assertLength(t, want, net.TrenchLength)
		assert.Equal(t, []layout.Surface{layout.SurfaceSoil}, surfaces(net))
	}
}

func TestRootsUnderPavingCostWhatPavingCosts(t *testing.T) {
	// The drive's price holds where both are, so the choice is as without roots.
	lot, heads := drive(14.464)
	lot.RootZone = rect(5.5, 0, 7.5, 14)
	assert.Equal(t, 1, route(t, lot, heads, trench.Settings{}).PavingCrossings)
}

func TestOverlappingFeaturesCountOnce(t *testing.T) {
	lot, heads := drive(14.464)
	lot.Hardscape = append(lot.Hardscape, rect(6, 0, 8, 10)...)
	lot.Building = rect(5, 12, 8, 14.464) // a carport's roof over the drive's end
	net := route(t, lot, heads, trench.Settings{})
	assert.Equal(t, 1, net.PavingCrossings)
	assertLength(t, 5, net.TrenchLength)
}

func TestHeadsAtTheSamePlace(t *testing.T) {
	lot := yard(m(1, 1))
	heads := headsAt(m(1, 1), m(5, 1), m(5, 1), m(9, 1))
	net := route(t, lot, heads, trench.Settings{})
	assert.Equal(t, [][2]string{{"POC", "H2"}, {"H2", "H4"}}, inOrder(net))
	pipes, ends := trench.Pipes(net, heads)
	assert.Len(t, pipes, 2)
	assert.Equal(t, []string{"", "P1", "P1", "P2"}, ends)
}

func TestNoHeads(t *testing.T) {
	net := route(t, yard(m(1, 1)), nil, trench.Settings{})
	assert.Equal(t, layout.Network{POC: m(1, 1)}, net)
}

func TestHeadsWithoutLabelsGoByTheirPlace(t *testing.T) {
	heads := headsAt(m(5, 1), m(9, 1))
	heads[0].Label, heads[1].Label = "", ""
	net := route(t, yard(m(1, 1)), heads, trench.Settings{})
	assert.Equal(t, [][2]string{{"POC", "H1"}, {"H1", "H2"}}, inOrder(net))
}

func TestRunsAreInTheOrderOfTheirNames(t *testing.T) {
	var at []geom.Point
	for i := range 11 {
		at = append(at, m(float64(2+i), 1))
	}
	net := route(t, yard(m(1, 1)), headsAt(at...), trench.Settings{})
	assert.Equal(t, "POC", net.Runs[0].From)
	assert.Equal(t, "H2", net.Runs[2].From)
	assert.Equal(t, "H10", net.Runs[10].From)
}

func TestRefusedSettings(t *testing.T) {
	nan := math.NaN()
	for name, s := range map[string]trench.Settings{
		"PavingFactor":   {PavingFactor: 0.5},
		"RootZoneFactor": {RootZoneFactor: -1},
		"PavingCrossing": {PavingCrossing: layout.Length(math.Inf(1))},
		"Clearance":      {Clearance: layout.Length(nan)},
		"Depth":          {Depth: -0.1},
	} {
		_, err := trench.Route(context.Background(), yard(m(1, 1)), nil, s)
		assert.ErrorContains(t, err, name)
		assert.ErrorContains(t, err, "lot yard")
	}
}

func TestRefusedLot(t *testing.T) {
	_, err := trench.Route(context.Background(), &layout.Lot{ID: "bare"}, nil, trench.Settings{})
	assert.EqualError(t, err, "lot bare: trench: the parcel is empty")
	line := geom.Region{{{m(0, 0), m(5, 0), m(9, 0)}}}
	_, err = trench.Route(context.Background(), &layout.Lot{ID: "flat", Parcel: line}, nil, trench.Settings{})
	assert.EqualError(t, err, "lot flat: trench: the parcel is empty")
}

func TestStopped(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := trench.Route(ctx, yard(m(1, 1)), headsAt(m(5, 5)), trench.Settings{})
	assert.ErrorIs(t, err, context.Canceled)
}

func TestNothingOfTheLotIsFree(t *testing.T) {
	lot := yard(m(1, 1))
	lot.Building = rect(0, 0, 20, 30)
	net := route(t, lot, headsAt(m(5, 5)), trench.Settings{})
	assert.Len(t, net.Unreached, 1)
	lot.Source = nil
	net = route(t, lot, headsAt(m(5, 5)), trench.Settings{})
	assert.Len(t, net.Unreached, 1)
}

func TestPipes(t *testing.T) {
	// Two heads in line beyond H1; flows are the largest single head beyond.
	lot, heads := roundAWall()
	heads = append(heads, headsAt(m(0, 0), m(0, 0), m(8.6, 18), m(10.4, 22))[2:]...)
	heads[2].Flow = 30
	net := route(t, lot, heads, trench.Settings{})
	require.Equal(t, [][2]string{{"POC", "T1"}, {"T1", "H1"}, {"T1", "H2"}, {"H1", "H3"}, {"H3", "H4"}}, inOrder(net))
	pipes, ends := trench.Pipes(net, heads)
	require.Len(t, pipes, 5)
	flows := map[string]layout.Flow{}
	for i, p := range pipes {
		assert.Equal(t, fmt.Sprintf("P%d", i+1), p.Label)
		assert.Equal(t, "PVC Sch 40", p.Material)
		assert.Equal(t, "1 in", p.Size)
		flows[p.From+"-"+p.To] = p.Flow
	}
	assert.Equal(t, map[string]layout.Flow{"POC-T1": 30, "T1-H1": 30, "T1-H2": 18, "H1-H3": 30, "H3-H4": 20}, flows)
	for k, h := range heads {
		i := slices.IndexFunc(pipes, func(p layout.PipeRun) bool { return p.Label == ends[k] })
		assert.Equal(t, h.Label, pipes[i].To)
	}
}

func TestPipeRunsThroughAllSurfaces(t *testing.T) {
	lot, heads := drive(20)
	net := route(t, lot, heads, trench.Settings{})
	pipes, ends := trench.Pipes(net, heads)
	require.Len(t, pipes, 1)
	assert.Equal(t, geom.Line{m(4, 1), m(5, 1), m(8, 1), m(9, 1)}, pipes[0].Path)
	assertLength(t, 5, pipes[0].Length)
	assert.Equal(t, []string{"P1"}, ends)
}

func TestPipesOfAnUnreachedHead(t *testing.T) {
	lot := yard(m(10, 2))
	lot.Water = ring(2, 3)
	heads := headsAt(m(10, 15), m(4, 5))
	_, ends := trench.Pipes(route(t, lot, heads, trench.Settings{}), heads)
	assert.Equal(t, []string{"", "P1"}, ends)
}

// TestDepths: under paving a trench goes as deep as asked for there, elsewhere not.
func TestDepths(t *testing.T) {
	lot := &layout.Lot{ID: "drive", Parcel: rect(0, 0, 30, 10), Hardscape: rect(12, 0, 15, 10)}
	source := m(2, 5)
	lot.Source = &source
	heads := []layout.Head{{Label: "H1", At: m(25, 5)}}
	net, err := trench.Route(t.Context(), lot, heads, trench.Settings{PavingDepth: 0.5, Depth: 0.3})
	require.NoError(t, err)
	depths := map[layout.Surface]layout.Length{}
	for _, r := range net.Runs {
		depths[r.Surface] = r.Depth
	}
	assert.Equal(t, map[layout.Surface]layout.Length{layout.SurfaceSoil: 0.3, layout.SurfacePaving: 0.5}, depths)
}
