package hydraulic_test

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/hydraulic"
)

func solve(t testing.TB, n hydraulic.Network) hydraulic.Result {
	t.Helper()
	r, err := hydraulic.Solve(context.Background(), n, hydraulic.Settings{})
	require.NoError(t, err)
	return r
}

// checkState judges a state by code of its own: water is neither made nor lost,
// every link loses what its law says, and every emitter takes what its pressure
// drives. One state only can pass, so that this is the whole of correctness.
func checkState(t testing.TB, n hydraulic.Network, r hydraulic.Result) {
	t.Helper()
	const metres = 1e-8
	left := make([]float64, len(n.Nodes)) // L/min
	for i, v := range r.Nodes {
		left[i] = -float64(v.Outflow)
	}
	drawn := 0.0
	for i, l := range n.Links {
		left[l.From] -= float64(r.Links[i].Flow)
		left[l.To] += float64(r.Links[i].Flow)
		above, below := float64(r.Nodes[l.From].Head), float64(r.Nodes[l.To].Head)
		assert.InDelta(t, float64(r.Links[i].Loss), (above-below)*9.80665, 1e-7, "%s", l.Label)
		if reg, ok := l.Element.(hydraulic.Regulator); ok {
			z := float64(n.Nodes[l.To].Elevation)
			assert.InDelta(t, math.Min(above, z+float64(reg.Set)/9.80665), below, metres, "%s", l.Label)
			continue
		}
		assert.InDelta(t, lossByHand(l.Element, float64(r.Links[i].Flow)/60000), above-below, metres, "%s", l.Label)
	}
	for i, v := range n.Nodes {
		if i > 0 {
			assert.InDelta(t, 0, left[i], 1e-9, "water at %s", v.Label)
		}
		drawn += float64(r.Nodes[i].Outflow)
		p := float64(r.Nodes[i].Pressure)
		assert.InDelta(t, (float64(r.Nodes[i].Head)-float64(v.Elevation))*9.80665, p, 1e-7)
		want := float64(v.Demand)
		if v.Emitter != nil && p > 0 {
			want += drawnByHand(v.Emitter, p)
			assert.InDelta(t, want, float64(r.Nodes[i].Outflow), 1e-6*(1+want), "%s", v.Label)
		} else if p < -1e-6 {
			assert.InDelta(t, want, float64(r.Nodes[i].Outflow), 1e-9, "%s is dry", v.Label)
		}
	}
	held := float64(n.Source.Static)
	if q := float64(n.Source.Test.Flow); q > 0 {
		held -= float64(n.Source.Static-n.Source.Test.Pressure) * math.Pow(drawn/q, 1/0.54)
	}
	assert.InDelta(t, held, float64(r.Nodes[0].Pressure), 1e-6, "source")
}

// drawnByHand is what an emitter takes, in L/min, at a pressure in kPa.
func drawnByHand(e hydraulic.Emitter, kPa float64) float64 {
	if p, ok := e.(hydraulic.PowerEmitter); ok {
		return float64(p.Flow) * math.Sqrt(kPa/float64(p.Pressure))
	}
	rows := e.(hydraulic.TableEmitter).Model.Rows
	for i, r := range rows {
		switch high, flow := float64(r.Pressure), float64(r.Flow); {
		case kPa >= high:
		case i == 0:
			return flow * math.Sqrt(kPa/high)
		default:
			low, least := float64(rows[i-1].Pressure), float64(rows[i-1].Flow)
			return least + (flow-least)*(kPa-low)/(high-low)
		}
	}
	return float64(rows[len(rows)-1].Flow)
}

// lossByHand is the head lost in m at q m³/s, q ≥ 0, by Hazen–Williams.
func lossByHand(e hydraulic.Element, q float64) float64 {
	switch e := e.(type) {
	case hydraulic.Pipe:
		length := float64(e.Length)
		for _, f := range e.Fittings {
			for _, row := range hydraulic.DefaultFittings() {
				if row.Fitting == f.Fitting && row.Nominal == e.Size.Nominal {
					length += float64(row.Length) * float64(f.Count)
				}
			}
		}
		return 10.6668 * length * math.Pow(q, 1.852) / (math.Pow(150, 1.852) * math.Pow(float64(e.Size.Inside), 4.871))
	case hydraulic.SquareLoss:
		if e.Loss == 0 {
			return 0
		}
		return float64(e.Loss) / 9.80665 * math.Pow(q*60000/float64(e.At), 2)
	case hydraulic.LossCurve:
		x0, y0 := 0.0, float64(e.Offset)
		for k, p := range e.Points {
			if x1, y1 := float64(p.Flow), float64(p.Loss); q*60000 <= x1 || k == len(e.Points)-1 {
				return (y0 + (y1-y0)*(q*60000-x0)/(x1-x0)) / 9.80665
			}
			x0, y0 = float64(p.Flow), float64(p.Loss)
		}
	}
	panic("unknown element")
}

func TestRandomNetworks(t *testing.T) {
	statuses, steps, worst := map[hydraulic.Status]int{}, 0, 0.0
	for seed := range uint64(3000) {
		n := randomNetwork(rand.New(rand.NewPCG(seed, 1)))
		r := solve(t, n)
		statuses[r.Status]++
		require.NotEqual(t, hydraulic.NotSettled, r.Status, "seed %d: %s", seed, r.Reason)
		checkState(t, n, r)
		if t.Failed() {
			t.Fatalf("seed %d", seed)
		}
		steps, worst = max(steps, r.Steps), max(worst, r.Imbalance)
	}
	t.Log(statuses, "most steps", steps, "worst imbalance", worst)
	assert.Greater(t, statuses[hydraulic.Solved], 1000)
	assert.Greater(t, statuses[hydraulic.Short], 100, "networks without pressure somewhere are tried too")
	assert.LessOrEqual(t, worst, 1e-9)
}

// TestOneNozzle: a nozzle right at a source that holds its pressure.
func TestOneNozzle(t *testing.T) {
	n := hydraulic.Network{Source: hydraulic.Held(layout.PSI(40)), Nodes: []hydraulic.Node{{Emitter: nozzle(4.45)}}}
	r := solve(t, n)
	assert.Equal(t, hydraulic.Solved, r.Status)
	assert.InDelta(t, 4.45, r.Nodes[0].Outflow.GPM(), 1e-9)
}

// TestNozzleFlows: a 5/32 in nozzle of 4.45 gpm at 40 psi and a 3/16 in one of
// 6.41, at other pressures (an irrigation-measurement bulletin, table 3); and the
// rule that a tenth of pressure either way is a twentieth of flow, in ratio 1.106.
func TestNozzleFlows(t *testing.T) {
	at := func(gpm40, psi float64) float64 {
		return solve(t, hydraulic.Network{Source: hydraulic.Held(layout.PSI(psi)), Nodes: []hydraulic.Node{{Emitter: nozzle(gpm40)}}}).Nodes[0].Outflow.GPM()
	}
	for i, psi := range []float64{35, 45, 50, 55} {
		assert.InEpsilon(t, []float64{4.16, 4.72, 4.98, 5.22}[i], at(4.45, psi), 0.003)
		assert.InEpsilon(t, []float64{5.97, 6.81, 7.18, 7.51}[i], at(6.41, psi), 0.006)
	}
	assert.InDelta(t, 1.106, at(4, 44)/at(4, 36), 0.001)
	assert.InDelta(t, 0.894, at(4, 32)/at(4, 40), 0.001)
}

// TestTwoNozzlesByHand: two nozzles on a tee, solved by bisection on the flow of
// the first, the rest following one by one.
func TestTwoNozzlesByHand(t *testing.T) {
	n := chain(measured(60, 12, 45), pipe("1 in", 100), pipe("3/4 in", 50))
	n.Nodes = append(n.Nodes, hydraulic.Node{Label: "N3", Elevation: 2, Emitter: nozzle(3)})
	n.Nodes[2].Emitter = nozzle(4)
	side := pipe("1/2 in", 40)
	side.Label, side.From, side.To = "L3", 1, 3
	n.Links = append(n.Links, side)
	got := solve(t, n)

	lost := func(l hydraulic.Link, lpm float64) float64 { return lossByHand(l.Element, lpm/60000) }
	drives := func(gpm40, lpm float64) float64 { // head in m
		return layout.PSI(40).KPa() / layout.KPaPerMetreHead * math.Pow(layout.Flow(lpm).GPM()/gpm40, 2)
	}
	tee := func(q2 float64) float64 { return drives(4, q2) + lost(n.Links[1], q2) } // head at the tee, from the far nozzle
	third := func(head float64) float64 {                                           // flow of the near nozzle at that head
		return bisect(0, 100, func(q float64) float64 { return drives(3, q) + lost(n.Links[2], q) + 2 - head })
	}
	q2 := bisect(0, 100, func(q2 float64) float64 {
		head := tee(q2)
		q := q2 + third(head)
		return head + lost(n.Links[0], q) - n.Source.At(layout.Flow(q)).KPa()/layout.KPaPerMetreHead
	})
	assert.InEpsilon(t, q2, got.Nodes[2].Outflow.LPM(), 1e-9)
	assert.InEpsilon(t, third(tee(q2)), got.Nodes[3].Outflow.LPM(), 1e-9)
}

// bisect returns the zero of a rising function.
func bisect(low, high float64, f func(float64) float64) float64 {
	for range 200 {
		if mid := (low + high) / 2; f(mid) < 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

// TestDryHead: a nozzle above what the water reaches gets none, draws nothing in,
// and leaves the others alone.
func TestDryHead(t *testing.T) {
	n := chain(hydraulic.Held(layout.PSI(10)), pipe("1 in", 10), pipe("1 in", 10))
	n.Nodes[1].Emitter, n.Nodes[2].Emitter = nozzle(4), nozzle(4)
	n.Nodes[2].Elevation = 30
	r := solve(t, n)
	assert.Equal(t, hydraulic.Short, r.Status)
	assert.Contains(t, r.Reason, "N2")
	assert.Zero(t, r.Nodes[2].Outflow)
	alone := chain(hydraulic.Held(layout.PSI(10)), pipe("1 in", 10))
	alone.Nodes[1].Emitter = nozzle(4)
	assert.InEpsilon(t, solve(t, alone).Nodes[1].Outflow.LPM(), r.Nodes[1].Outflow.LPM(), 1e-9)
}

// TestHeadComesBack: as long as the near head is thought to take ever more above
// its band, the far one, uphill, seems dry; it is not.
func TestHeadComesBack(t *testing.T) {
	n := chain(hydraulic.Held(layout.PSI(90)), pipe("1/2 in", 400), pipe("1/2 in", 10))
	n.Nodes[1].Emitter, n.Nodes[2].Emitter = lowHead(3), nozzle(1)
	n.Nodes[2].Elevation = 36
	r := solve(t, n)
	assert.Equal(t, hydraulic.Solved, r.Status)
	assert.Positive(t, r.Nodes[2].Outflow.LPM())
	checkState(t, n, r)
}

// TestRegulator: it holds what is behind it down, and stands open where there is
// less; two in a row both hold where both can.
func TestRegulator(t *testing.T) {
	regulator := func(psi float64) hydraulic.Link {
		return hydraulic.Link{Kind: hydraulic.KindRegulator, Element: hydraulic.Regulator{Set: layout.PSI(psi)}}
	}
	n := chain(hydraulic.Held(layout.PSI(80)), regulator(60), pipe("1 in", 100), regulator(45), pipe("1 in", 20))
	n.Nodes[4].Emitter = nozzle(6)
	r := solve(t, n)
	assert.True(t, r.Links[0].Regulating)
	assert.True(t, r.Links[2].Regulating)
	assert.InDelta(t, 60, r.Nodes[1].Pressure.PSI(), 1e-9)
	assert.InDelta(t, 45, r.Nodes[3].Pressure.PSI(), 1e-9)
	checkState(t, n, r)

	n.Source = hydraulic.Held(layout.PSI(50))
	r = solve(t, n)
	assert.False(t, r.Links[0].Regulating)
	assert.True(t, r.Links[2].Regulating)
	assert.InDelta(t, 50, r.Nodes[1].Pressure.PSI(), 1e-9)
	checkState(t, n, r)
}

// TestTableHead: within the band a head of the catalogue takes what its table
// says at its pressure; above, the flow of the top row.
func TestTableHead(t *testing.T) {
	m := layout.GenericVariableThrow()
	for psi, gpm := range map[float64]float64{40: 4, 47.5: 4.35, 55: 4.7, 70: 5.3, 90: 5.3} {
		n := hydraulic.Network{Source: hydraulic.Held(layout.PSI(psi)), Nodes: []hydraulic.Node{{Emitter: hydraulic.TableEmitter{Model: m}}}}
		r := solve(t, n)
		assert.InDelta(t, gpm, r.Nodes[0].Outflow.GPM(), 1e-9, "%v psi", psi)
		assert.Equal(t, hydraulic.Solved, r.Status)
	}
	n := chain(measured(75, 6, 60), pipe("1 in", 120))
	n.Nodes[1].Emitter = hydraulic.TableEmitter{Model: m}
	r := solve(t, n)
	row, _, ok := m.At(r.Nodes[1].Pressure)
	require.True(t, ok)
	assert.InDelta(t, row.Flow.LPM(), r.Nodes[1].Outflow.LPM(), 1e-9)
}

// TestTableHeadIsTheWorkingPoint: behind nothing but a pressure that is always
// lost, a head comes to the working point that bisection finds.
func TestTableHeadIsTheWorkingPoint(t *testing.T) {
	m := layout.GenericVariableThrow()
	supply := tested(75, 6, 60)
	curve, _ := hydraulic.NewCurve(supply)
	w := workingPoint(curve, m, layout.PSI(10))
	n := chain(curve, hydraulic.Link{Element: hydraulic.LossCurve{Offset: layout.PSI(10), Points: []hydraulic.LossPoint{{Flow: 100, Loss: layout.PSI(10)}}}})
	n.Nodes[1].Emitter = hydraulic.TableEmitter{Model: m}
	r := solve(t, n)
	assert.InDelta(t, w.Pressure.PSI(), r.Nodes[1].Pressure.PSI(), 1e-6)
	assert.InDelta(t, w.Flow.GPM(), r.Nodes[1].Outflow.GPM(), 1e-6)
}

// TestSafeguard: a loss curve with a sharp knee sends Newton's full step far off;
// bisection cuts it, and the answer is exact.
func TestSafeguard(t *testing.T) {
	knee := hydraulic.LossCurve{Points: []hydraulic.LossPoint{{Flow: layout.GPM(3), Loss: layout.PSI(0.001)}, {Flow: layout.GPM(3.001), Loss: layout.PSI(50)}, {Flow: layout.GPM(9), Loss: layout.PSI(51)}}}
	cuts := 0
	for psi := 1.0; psi < 90; psi += 0.5 {
		n := chain(hydraulic.Held(layout.PSI(psi)), hydraulic.Link{Element: knee}, pipe("1 in", 10), hydraulic.Link{Element: knee})
		n.Nodes[2].Emitter, n.Nodes[3].Emitter = nozzle(1.5), nozzle(2)
		r := solve(t, n)
		require.Equal(t, hydraulic.Solved, r.Status, "%v psi", psi)
		checkState(t, n, r)
		cuts += r.Cuts
	}
	assert.Positive(t, cuts, "the safeguard was needed")
}

// TestDarcyWeisbach: the state balances by the other formula too.
func TestDarcyWeisbach(t *testing.T) {
	for seed := range uint64(200) {
		n := randomNetwork(rand.New(rand.NewPCG(seed, 9)))
		n.Formula = hydraulic.DarcyWeisbach
		r := solve(t, n)
		require.NotEqual(t, hydraulic.NotSettled, r.Status)
		for i, l := range n.Links {
			if p, ok := l.Element.(hydraulic.Pipe); ok && len(p.Fittings) == 0 {
				assert.InDelta(t, p.Size.Loss(hydraulic.DarcyWeisbach, p.Length, r.Links[i].Flow).KPa(), r.Links[i].Loss.KPa(), 1e-6)
			}
		}
	}
}

// TestOrderDoesNotMatter: the same network with its links in another order has
// the same state, to the last bits that sums allow.
func TestOrderDoesNotMatter(t *testing.T) {
	for seed := range uint64(50) {
		r := rand.New(rand.NewPCG(seed, 4))
		n := randomNetwork(r)
		want := solve(t, n)
		assert.Equal(t, want, solve(t, n), "twice the same")
		m := n
		m.Links = append([]hydraulic.Link(nil), n.Links...)
		r.Shuffle(len(m.Links), func(i, j int) { m.Links[i], m.Links[j] = m.Links[j], m.Links[i] })
		got := solve(t, m)
		for i := range n.Nodes {
			assert.InDelta(t, want.Nodes[i].Pressure.KPa(), got.Nodes[i].Pressure.KPa(), 1e-6)
		}
	}
}

// TestTrimmed: without its idle branches a network is in the same state.
func TestTrimmed(t *testing.T) {
	dropped := 0
	for seed := range uint64(100) {
		r := rand.New(rand.NewPCG(seed, 13))
		n := randomNetwork(r)
		if heads := n.Emitters(); len(heads) > 0 {
			n = n.Running(heads[r.IntN(len(heads))])
		}
		trimmed, was, err := n.Trimmed()
		require.NoError(t, err)
		dropped += len(n.Nodes) - len(trimmed.Nodes)
		whole, part := solve(t, n), solve(t, trimmed)
		for k, i := range was {
			assert.Equal(t, n.Nodes[i], trimmed.Nodes[k])
			assert.InDelta(t, whole.Nodes[i].Pressure.KPa(), part.Nodes[k].Pressure.KPa(), 1e-6)
			assert.InDelta(t, whole.Nodes[i].Outflow.LPM(), part.Nodes[k].Outflow.LPM(), 1e-9)
		}
	}
	assert.Positive(t, dropped)
	_, _, err := hydraulic.Network{}.Trimmed()
	assert.Error(t, err)
}

// TestUnsoundNetworks: what cannot be a network is refused with the place named.
func TestUnsoundNetworks(t *testing.T) {
	sound := func() hydraulic.Network {
		return chain(hydraulic.Held(layout.PSI(50)), pipe("1 in", 10), pipe("1 in", 10))
	}
	for want, spoil := range map[string]func(*hydraulic.Network){
		"no nodes":                  func(n *hydraulic.Network) { *n = hydraulic.Network{} },
		`links "L1" and "L2" both`:  func(n *hydraulic.Network) { n.Links[1].To = 1 },
		"1 of 3 nodes are not":      func(n *hydraulic.Network) { n.Links = n.Links[:1] },
		"node 0 is the source":      func(n *hydraulic.Network) { n.Links[0].To = 0 },
		"2 of 3 nodes are not":      func(n *hydraulic.Network) { n.Links[0].From = 2 },
		`link "L2" has no element`:  func(n *hydraulic.Network) { n.Links[1].Element = nil },
		`link "L2": a length of`:    func(n *hydraulic.Network) { n.Links[1].Element = hydraulic.Pipe{Size: sch40("1 in"), Length: -1} },
		"an inside diameter":        func(n *hydraulic.Network) { n.Links[1].Element = hydraulic.Pipe{Length: 1} },
		"no row for a 90° ell of 9": func(n *hydraulic.Network) { n.Links[1] = oddFitting() },
		"a loss curve without":      func(n *hydraulic.Network) { n.Links[1].Element = hydraulic.LossCurve{} },
		"does not rise": func(n *hydraulic.Network) {
			n.Links[1].Element = hydraulic.LossCurve{Offset: 9, Points: []hydraulic.LossPoint{{Flow: 1, Loss: 8}}}
		},
		"a loss given at a flow":  func(n *hydraulic.Network) { n.Links[1].Element = hydraulic.SquareLoss{Loss: 1} },
		"a regulator set to":      func(n *hydraulic.Network) { n.Links[1].Element = hydraulic.Regulator{} },
		`node "N1": an elevation`: func(n *hydraulic.Network) { n.Nodes[1].Elevation = layout.Length(math.NaN()) },
		`node "N1": a demand`:     func(n *hydraulic.Network) { n.Nodes[1].Demand = -1 },
		"an emitter of":           func(n *hydraulic.Network) { n.Nodes[1].Emitter = hydraulic.PowerEmitter{} },
		"an emitter exponent of": func(n *hydraulic.Network) {
			n.Nodes[1].Emitter = hydraulic.PowerEmitter{Flow: 1, Pressure: 1, Exponent: 2}
		},
		"has no performance rows": func(n *hydraulic.Network) { n.Nodes[1].Emitter = hydraulic.TableEmitter{} },
		"flow must rise":          func(n *hydraulic.Network) { n.Nodes[1].Emitter = flatTable() },
		"a source of":             func(n *hydraulic.Network) { n.Source = measured(50, 5, 50) },
	} {
		n := sound()
		spoil(&n)
		_, err := hydraulic.Solve(context.Background(), n, hydraulic.Settings{})
		require.Error(t, err, want)
		assert.Contains(t, err.Error(), want)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := hydraulic.Solve(ctx, sound(), hydraulic.Settings{})
	assert.ErrorIs(t, err, context.Canceled)
}

func oddFitting() hydraulic.Link {
	l := pipe("1 in", 1, hydraulic.FittingCount{Fitting: hydraulic.Ell90, Count: 1})
	p := l.Element.(hydraulic.Pipe)
	p.Size.Nominal = "9 in"
	l.Element, l.Label, l.From, l.To = p, "L2", 1, 2
	return l
}

func flatTable() hydraulic.TableEmitter {
	m := layout.GenericVariableThrow()
	m.Rows[1].Flow = m.Rows[0].Flow
	return hydraulic.TableEmitter{Model: m}
}

// TestTooFewSteps: a limit met first is told, and the state is not to be used.
func TestTooFewSteps(t *testing.T) {
	n := randomNetwork(rand.New(rand.NewPCG(3, 1)))
	r, err := hydraulic.Solve(context.Background(), n, hydraulic.Settings{Steps: 1})
	require.NoError(t, err)
	assert.Equal(t, hydraulic.NotSettled, r.Status)
	_, err = hydraulic.INP("x", n, r)
	assert.Error(t, err)
}
