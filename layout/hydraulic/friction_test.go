package hydraulic_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/hydraulic"
)

// psiPer100ft is the friction loss of a bore in inches.
func psiPer100ft(inches, gpm float64, f hydraulic.Formula) float64 {
	s := hydraulic.PipeSize{Inside: layout.Length(inches * layout.MetresPerInch)}
	return s.Loss(f, layout.Feet(100), layout.GPM(gpm)).PSI()
}

// TestPublishedFrictionTables: F1–F13, Illinois Administrative Code, title 77,
// part 906, appendix A, exhibit I (plastic pipe, Schedule 40, C = 150), printed in
// feet of head per 100 ft; F20–F28, a university course's table "Friction loss
// for PVC class 160 pipe", printed in psi with its bores. The tolerances are
// those of the tables' own rounding.
func TestPublishedFrictionTables(t *testing.T) {
	for _, c := range []struct {
		nominal                   string
		gpm, feet, psi, tolerance float64
	}{
		{"1 in", 5, 1.52, 0.659, 0.01}, {"1 in", 8, 3.63, 1.573, 0.01}, {"1 in", 10, 5.50, 2.383, 0.01},
		{"1-1/4 in", 10, 1.46, 0.633, 0.015}, {"1-1/4 in", 15, 3.06, 1.326, 0.01}, {"1-1/4 in", 20, 5.23, 2.266, 0.01},
		{"1-1/2 in", 20, 2.46, 1.066, 0.01}, {"1-1/2 in", 25, 3.75, 1.625, 0.01}, {"1-1/2 in", 30, 5.22, 2.262, 0.01},
		{"2 in", 30, 1.54, 0.667, 0.01}, {"2 in", 40, 2.62, 1.135, 0.01}, {"2 in", 50, 3.98, 1.725, 0.01},
		{"1 in", 3, 0.60, 0.260, 0.02},
	} {
		lost := sch40(c.nominal).Loss(hydraulic.HazenWilliams, layout.Feet(100), layout.GPM(c.gpm))
		assert.InEpsilon(t, c.feet, lost.KPa()/layout.KPaPerMetreHead/layout.MetresPerFoot, c.tolerance, "%s %v gpm, feet", c.nominal, c.gpm)
		assert.InEpsilon(t, c.psi, lost.PSI(), c.tolerance, "%s %v gpm, psi", c.nominal, c.gpm)
	}
	for _, c := range []struct{ inches, gpm, psi, fps, tolerance float64 }{
		{0.720, 2, 0.75, 1.6, 0.015}, {0.720, 6, 5.76, 4.8, 0.01}, {1.195, 8, 0.84, 2.28, 0.015}, {1.195, 10, 1.27, 2.85, 0.015},
		{1.195, 16, 3.04, 4.57, 0.015}, {1.195, 20, 4.59, 5.71, 0.015}, {2.193, 40, 0.86, 3.39, 0.015}, {2.193, 55, 1.56, 4.66, 0.015},
		{2.193, 100, 4.72, 8.48, 0.015},
	} {
		assert.InEpsilon(t, c.psi, psiPer100ft(c.inches, c.gpm, hydraulic.HazenWilliams), c.tolerance, "%v in %v gpm", c.inches, c.gpm)
		s := hydraulic.PipeSize{Inside: layout.Length(c.inches * layout.MetresPerInch)}
		assert.InEpsilon(t, c.fps, s.Velocity(layout.GPM(c.gpm)).FeetPerSecond(), 0.02, "velocity, printed to two or three figures")
	}
}

// TestRegressionGrid: computed once from 4.52·L·Q^1.852/(C^1.852·d^4.87), the
// formula as printed in psi and inches; no source but the formula.
func TestRegressionGrid(t *testing.T) {
	for material, rows := range map[string][]struct {
		nominal  string
		gpm, psi float64
	}{
		hydraulic.PVCSch40: {{"1/2 in", 2, 1.538}, {"1/2 in", 4, 5.551}, {"3/4 in", 4, 1.411}, {"3/4 in", 8, 5.093}, {"1 in", 6, 0.923},
			{"1 in", 12, 3.330}, {"1-1/4 in", 12, 0.876}, {"1-1/4 in", 20, 2.256}, {"1-1/2 in", 20, 1.065}, {"2 in", 30, 0.668}},
		hydraulic.PVCClass200: {{"3/4 in", 5, 1.18}, {"3/4 in", 8, 2.83}, {"3/4 in", 10, 4.27}, {"1 in", 10, 1.29}, {"1 in", 15, 2.74},
			{"1-1/4 in", 20, 1.49}, {"1-1/2 in", 30, 1.64}, {"2 in", 40, 0.94}},
	} {
		for _, c := range rows {
			s, ok := hydraulic.SizeOf(material, c.nominal)
			require.True(t, ok)
			assert.InEpsilon(t, c.psi, s.Loss(hydraulic.HazenWilliams, layout.Feet(100), layout.GPM(c.gpm)).PSI(), 0.0075, "%s %s, to the figures given", material, c.nominal)
		}
	}
}

// TestVelocity: V[ft/s] = 0.4085·Q/d², as published beside the friction tables;
// the flows at 5 ft/s follow from the bores by geometry.
func TestVelocity(t *testing.T) {
	s := hydraulic.PipeSize{Inside: layout.Length(1.195 * layout.MetresPerInch)}
	assert.InEpsilon(t, 0.4085*10/(1.195*1.195), s.Velocity(layout.GPM(10)).FeetPerSecond(), 0.001)
	assert.InEpsilon(t, 2.85, s.Velocity(layout.GPM(10)).FeetPerSecond(), 0.01)
	assert.InDelta(t, 1.524, float64(hydraulic.DefaultVelocityLimit), 1e-12, "1524 mm/s")
	for material, gpm := range map[string][]float64{
		hydraulic.PVCSch40:    {4.74, 8.31, 13.47, 23.3, 31.7, 52.3},
		hydraulic.PVCClass200: {10.6, 17.3, 27.6, 36.2, 56.5},
	} {
		for i, s := range hydraulic.SizesOf(material) {
			assert.InEpsilon(t, gpm[i], s.FlowAt(hydraulic.DefaultVelocityLimit).GPM(), 0.005, "%s %s", material, s.Nominal)
		}
	}
	assert.Equal(t, "5.00 ft/s (1.52 m/s)", hydraulic.FeetPerSecond(5).String())
}

// TestFrictionFactor: f(1e5, 1e-4) by Colebrook and White as documented by the
// open library "fluids" (0.018513866077471), and 64/Re.
func TestFrictionFactor(t *testing.T) {
	assert.InEpsilon(t, 0.018513866077471, hydraulic.FrictionFactor(1e5, 1e-4), 1e-12)
	assert.InEpsilon(t, 0.5, hydraulic.FrictionFactor(128, 0), 1e-12)
	r := rand.New(rand.NewPCG(1, 2))
	for range 1000 {
		re, rough := math.Exp(between(r, math.Log(4000), math.Log(1e8))), math.Exp(between(r, math.Log(1e-7), math.Log(0.02)))
		f := hydraulic.FrictionFactor(re, rough)
		assert.InDelta(t, 0, 1/math.Sqrt(f)+2*math.Log10(rough/3.7+2.51/(re*math.Sqrt(f))), 1e-12, "Colebrook and White's equation")
		swameeJain := 0.25 / math.Pow(math.Log10(rough/3.7+5.74/math.Pow(re, 0.9)), 2)
		assert.InEpsilon(t, f, swameeJain, 0.035, "published as within 3 %% up to Re 1e8 and a roughness of 0.02")
	}
}

// TestLossRises: losses grow with the flow, without a jump where laminar flow
// ends or turbulent flow begins.
func TestLossRises(t *testing.T) {
	for _, f := range []hydraulic.Formula{hydraulic.HazenWilliams, hydraulic.DarcyWeisbach} {
		before := 0.0
		for q := 0.005; q < 30; q *= 1.01 {
			now := psiPer100ft(1.049, q, f)
			require.Greater(t, now, before)
			if q > 0.01 {
				require.Less(t, now/before, 1.05, "%v gpm", q)
			}
			before = now
		}
	}
}

// TestFormulasAgree: for smooth pipe at the velocity limit the two formulas lie
// within a tenth of each other; in slow water and narrow pipe Darcy and Weisbach
// count up to a quarter more, since C = 150 does not fall with the velocity.
func TestFormulasAgree(t *testing.T) {
	for _, inches := range []float64{0.622, 0.824, 1.049, 1.380, 1.610, 2.067} {
		ratio := func(fps float64) float64 {
			gpm := fps * inches * inches / 0.4085
			return psiPer100ft(inches, gpm, hydraulic.DarcyWeisbach) / psiPer100ft(inches, gpm, hydraulic.HazenWilliams)
		}
		assert.InDelta(t, 1, ratio(5), 0.1, "%v in at 5 ft/s", inches)
		for fps := 1.5; fps < 5; fps += 0.5 {
			assert.GreaterOrEqual(t, ratio(fps), ratio(5), "%v in at %v ft/s", inches, fps)
			assert.Less(t, ratio(fps), 1.25)
		}
	}
}

// TestConversions: the constants every other figure rests on. 1 gpm is
// 0.06309 L/s = 0.2271 m³/h, 1 acre-inch 27,154 gal, 1 acre-foot 325,851 gal and
// 1 ft³ 7.48 gal (an irrigation-measurement bulletin's list of equivalents); 1 in
// on 1 ft² is 0.6234 gal (computed; codes print 0.62); the rate constant is
// 96.25 (derived in words on a public utility's sprinkler page).
func TestConversions(t *testing.T) {
	assert.InEpsilon(t, 0.06309, layout.GPM(1).LPM()/60, 0.0005)
	assert.InEpsilon(t, 0.2271, layout.GPM(1).LPM()*60/1000, 0.0005)
	gallons := func(cubicFeet float64) float64 {
		return layout.Volume(cubicFeet * math.Pow(layout.MetresPerFoot, 3) * 1000).Gallons()
	}
	assert.InEpsilon(t, 27154, gallons(43560.0/12), 0.0005)
	assert.InEpsilon(t, 325851, gallons(43560), 0.0005)
	assert.InEpsilon(t, 7.48, gallons(1), 0.0005)
	assert.InEpsilon(t, 0.6234, gallons(1.0/12), 0.001)
	assert.InEpsilon(t, 96.25, 60*12/gallons(1), 0.0005)
}

// TestPipeHolds: gallons a foot = 0.0408·d² (geometry).
func TestPipeHolds(t *testing.T) {
	for i, want := range []float64{0.0158, 0.0277, 0.0449, 0.0777, 0.1058, 0.1743} {
		s := hydraulic.SizesOf(hydraulic.PVCSch40)[i]
		assert.InEpsilon(t, want, s.Holds(layout.Feet(1)).Gallons(), 0.005, s.Nominal)
	}
}

// TestPipeTables: bores in inches as published: International Residential Code,
// table A.2.2; two published PVC tables (average bore); outside diameters less two
// walls for the rest (ASTM D1785 and D2241).
func TestPipeTables(t *testing.T) {
	for material, want := range map[string][]float64{
		hydraulic.PVCSch40:        {0.622, 0.824, 1.049, 1.380, 1.610, 2.067},
		hydraulic.PVCSch40Average: {0.608, 0.810, 1.033, 1.364, 1.592, 2.049},
		hydraulic.PVCClass200:     {0.930, 1.189, 1.502, 1.720, 2.149},
		hydraulic.PEControlled:    {0.622, 0.824, 1.049, 1.380, 1.610, 2.067},
	} {
		sizes := hydraulic.SizesOf(material)
		require.Len(t, sizes, len(want))
		for i, s := range sizes {
			assert.InDelta(t, want[i], float64(s.Inside)/layout.MetresPerInch, 1e-12)
			assert.Equal(t, material, s.Material)
		}
	}
	outside := []float64{0.840, 1.050, 1.315, 1.660, 1.900, 2.375}
	wall := []float64{0.109, 0.113, 0.133, 0.140, 0.145, 0.154}
	for i, s := range hydraulic.SizesOf(hydraulic.PVCSch40) {
		assert.InDelta(t, outside[i]-2*wall[i], float64(s.Inside)/layout.MetresPerInch, 0.0005)
	}
	for i, s := range hydraulic.SizesOf(hydraulic.PVCClass200) {
		assert.InDelta(t, outside[i+1]-2*math.Max(outside[i+1]/21, 0.060), float64(s.Inside)/layout.MetresPerInch, 0.0011)
	}
	assert.Empty(t, hydraulic.SizesOf("lead"))
	_, ok := hydraulic.SizeOf(hydraulic.PVCClass200, "1/2 in")
	assert.False(t, ok, "not made")
	loss := func(material string) float64 {
		s, _ := hydraulic.SizeOf(material, "1 in")
		return s.Loss(hydraulic.HazenWilliams, 1, layout.GPM(5)).KPa()
	}
	assert.InEpsilon(t, 1.078, loss(hydraulic.PVCSch40Average)/loss(hydraulic.PVCSch40), 0.001, "the choice of bore matters")
}

// TestUsablePressure: 72 % of a 200 psi rating is 144 psi (ASAE S376.1, as quoted
// in the NRCS Missouri Livestock Watering Systems Handbook, chapter 5).
func TestUsablePressure(t *testing.T) {
	s, _ := hydraulic.SizeOf(hydraulic.PVCClass200, "1 in")
	assert.InDelta(t, 144, s.UsablePressure().PSI(), 1e-9)
	pe, _ := hydraulic.SizeOf(hydraulic.PEControlled, "1 in")
	assert.Zero(t, pe.UsablePressure(), "sold in several ratings")
}

// TestFittings: International Residential Code, table A.2.2 (screwed, 30 and 14
// diameters of the bore), a consulting engineer's table for PVC tees, and the
// rule L = (L/d)·d/12 with 60 diameters for the branch of a tee, for scale.
func TestFittings(t *testing.T) {
	table := hydraulic.DefaultFittings()
	feet := func(f hydraulic.Fitting, nominal string) float64 {
		l, err := table.Length(nominal, []hydraulic.FittingCount{{Fitting: f, Count: 1}})
		require.NoError(t, err)
		return l.Feet()
	}
	for i, nominal := range []string{"1/2 in", "3/4 in", "1 in", "1-1/4 in", "1-1/2 in", "2 in"} {
		assert.InDelta(t, []float64{1.55, 2.06, 2.62, 3.45, 4.02, 5.17}[i], feet(hydraulic.Ell90, nominal), 1e-9)
		assert.InDelta(t, []float64{0.73, 0.96, 1.22, 1.61, 1.88, 2.41}[i], feet(hydraulic.Ell45, nominal), 1e-9)
		assert.InDelta(t, []float64{1, 1.4, 1.7, 2.3, 2.7, 4.3}[i], feet(hydraulic.TeeRun, nominal), 1e-9)
		assert.InDelta(t, []float64{4, 5, 6, 7, 8, 12}[i], feet(hydraulic.TeeBranch, nominal), 1e-9)
		bore := float64(sch40(nominal).Inside) / layout.MetresPerFoot
		assert.InEpsilon(t, 30*bore, feet(hydraulic.Ell90, nominal), 0.005)
		assert.InEpsilon(t, 14*bore, feet(hydraulic.Ell45, nominal), 0.01)
	}
	l, err := table.Length("1 in", []hydraulic.FittingCount{{Fitting: hydraulic.Ell90, Count: 2}, {Fitting: hydraulic.TeeRun, Count: 1}})
	require.NoError(t, err)
	assert.InDelta(t, 2*2.62+1.7, l.Feet(), 1e-9)
	_, err = table.Length("4 in", []hydraulic.FittingCount{{Fitting: hydraulic.Ell90, Count: 1}})
	assert.ErrorContains(t, err, "90° ell of 4 in")
}

// TestChristiansen: the factor for m = 1.852 and 2, by the published formula
// (Christiansen 1942), and against the exact sum Σk^m/N^(m+1) that it stands for.
func TestChristiansen(t *testing.T) {
	counts := []int{2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 30, 100}
	for m, want := range map[float64][]float64{
		1.852: {.639, .534, .485, .457, .438, .416, .402, .393, .385, .376, .367, .356},
		2:     {.625, .519, .469, .440, .421, .398, .385, .376, .367, .359, .350, .338},
	} {
		for i, n := range counts {
			assert.InDelta(t, want[i], hydraulic.Christiansen(n, m), 0.001, "m %v, %d outlets", m, n)
			sum := 0.0
			for k := 1; k <= n; k++ {
				sum += math.Pow(float64(k), m)
			}
			assert.InDelta(t, sum/math.Pow(float64(n), m+1), hydraulic.Christiansen(n, m), 0.001)
		}
	}
	for n, want := range map[int]float64{2: .519, 3: .441, 4: .412, 5: .396, 6: .387, 8: .377, 10: .371, 20: .360} {
		assert.InDelta(t, want, hydraulic.ChristiansenHalf(n, 1.852), 0.001, "%d outlets", n)
	}
	assert.Equal(t, 1.0, hydraulic.Christiansen(1, 1.852))
	assert.Equal(t, 1.0, hydraulic.ChristiansenHalf(1, 1.852))
}

// TestLateral: six heads of 2 gpm, 15 ft apart, on 90 ft of 1 in Schedule 40. The
// full flow loses 3.330 psi per 100 ft, and 0.90·3.330·0.438 is 1.313 psi; the
// exact network says the same.
func TestLateral(t *testing.T) {
	var links []hydraulic.Link
	for range 6 {
		links = append(links, pipe("1 in", 15))
	}
	n := chain(hydraulic.Held(layout.PSI(50)), links...)
	for i := range n.Nodes[1:] {
		n.Nodes[i+1].Demand = layout.GPM(2)
	}
	full := sch40("1 in").Loss(hydraulic.HazenWilliams, layout.Feet(90), layout.GPM(12)).PSI()
	assert.InEpsilon(t, 1.313, full*hydraulic.Christiansen(6, 1.852), 0.005)
	assert.InEpsilon(t, 1.313, 50-solve(t, n).Nodes[6].Pressure.PSI(), 0.005)
}
