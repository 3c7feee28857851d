package hydraulic_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/hydraulic"
)

func settle(t testing.TB, n hydraulic.Network, l hydraulic.Limits) hydraulic.Settled {
	t.Helper()
	s, err := hydraulic.Settle(context.Background(), n, l)
	require.NoError(t, err)
	return s
}

func generic() hydraulic.TableEmitter {
	return hydraulic.TableEmitter{Model: layout.GenericVariableThrow()}
}

// row of heads on one line of 1 in pipe, 30 ft apart.
func row(source hydraulic.Curve, heads int) hydraulic.Network {
	var links []hydraulic.Link
	for range heads {
		links = append(links, pipe("1 in", 30))
	}
	n := chain(source, links...)
	for i := range heads {
		n.Nodes[i+1].Emitter = generic()
	}
	return n
}

func rules(shortfalls []hydraulic.Shortfall) (out []string) {
	for _, s := range shortfalls {
		out = append(out, s.Rule)
	}
	return out
}

// TestHeadsOneAtATime: each head on its own, by bisection along its way, code of
// its own; the last has the least pressure and so the least throw.
func TestHeadsOneAtATime(t *testing.T) {
	n := row(measured(75, 8, 60), 6)
	s := settle(t, n, hydraulic.Limits{})
	require.Len(t, s.Heads, 6)
	assert.Empty(t, s.Shortfalls)
	m := layout.GenericVariableThrow()
	for k, h := range s.Heads {
		way := layout.Feet(30 * float64(k+1))
		p := bisect(40, 70, func(psi float64) float64 {
			at, _, _ := m.At(layout.PSI(psi))
			return psi + sch40("1 in").Loss(0, way, at.Flow).PSI() - n.Source.At(at.Flow).PSI()
		})
		assert.InDelta(t, p, h.Pressure.PSI(), 1e-6, "head %d", k)
		want, _, _ := m.At(layout.PSI(p))
		assert.InDelta(t, want.Throw.Feet(), h.Row.Throw.Feet(), 1e-6)
		assert.True(t, h.InBand)
		assert.False(t, h.Regulated)
		assert.Equal(t, k+1, h.Zone)
	}
	backwards := settle(t, n, hydraulic.Limits{Zones: [][]int{{6}, {5}, {4}, {3}, {2}, {1}}})
	assert.Equal(t, 0, backwards.Worst)
	assert.Equal(t, s.Least, backwards.Least)
	assert.Equal(t, s.Links, backwards.Links)
	assert.Equal(t, 5, s.Worst)
	assert.Equal(t, s.Heads[5].Row, s.Least)
	assert.InDelta(t, s.Heads[0].Row.Flow.GPM(), s.Links[0].Flow.GPM(), 1e-9, "the near head takes the most")
	assert.Equal(t, s.Zones[5].Links[5], s.Links[5])
}

// TestRegulatedHeads: above the band a head does what its top row says.
func TestRegulatedHeads(t *testing.T) {
	s := settle(t, row(hydraulic.Held(layout.PSI(85)), 2), hydraulic.Limits{})
	for _, h := range s.Heads {
		assert.True(t, h.Regulated)
		assert.True(t, h.InBand)
		assert.InDelta(t, 35, h.Row.Throw.Feet(), 1e-9)
		assert.Greater(t, h.Pressure.PSI(), 70.0)
		assert.InDelta(t, 70, h.Row.Pressure.PSI(), 1e-9)
	}
}

// TestShortOfPressure: the shortfall says how much is missing, and with just that
// much more the worst head comes to the foot of its band.
func TestShortOfPressure(t *testing.T) {
	n := row(measured(41.5, 8, 36), 6)
	s := settle(t, n, hydraulic.Limits{})
	assert.False(t, s.Heads[5].InBand)
	assert.Zero(t, s.Heads[5].Row)
	require.NotEmpty(t, s.Shortfalls)
	last := s.Shortfalls[len(s.Shortfalls)-1]
	assert.Equal(t, "supply.pressure_low", last.Rule)

	low := layout.GenericVariableThrow().Rows[0]
	lost := sch40("1 in").Loss(0, layout.Feet(180), low.Flow)
	lack := low.Pressure + lost - n.Source.At(low.Flow)
	assert.Contains(t, last.Text, "It would take "+lack.String()+" more static pressure")
	n.Source.Static, n.Source.Test.Pressure = n.Source.Static+lack, n.Source.Test.Pressure+lack
	s = settle(t, n, hydraulic.Limits{})
	assert.Empty(t, s.Shortfalls)
	assert.InDelta(t, 40, s.Heads[5].Pressure.PSI(), 1e-6)
}

// TestShortOfHeight: what level ground would do, a rise undoes; 20 ft take 8.66 psi.
func TestShortOfHeight(t *testing.T) {
	n := row(hydraulic.Held(layout.PSI(48)), 1)
	n.Nodes[1].Elevation = layout.Feet(20)
	s := settle(t, n, hydraulic.Limits{})
	require.Equal(t, []string{"supply.elevation_high"}, rules(s.Shortfalls))
	assert.Contains(t, s.Shortfalls[0].Text, "the height takes 8.7 psi")
	assert.Contains(t, s.Shortfalls[0].Text, "lower")
}

// TestShortOfFlow: three quarters of the measured flow may be used.
func TestShortOfFlow(t *testing.T) {
	s := settle(t, row(measured(90, 6, 70), 1), hydraulic.Limits{})
	require.Equal(t, []string{"supply.flow_low"}, rules(s.Shortfalls))
	assert.Contains(t, s.Shortfalls[0].Text, "75 %")
	assert.Empty(t, settle(t, row(measured(90, 6, 70), 1), hydraulic.Limits{FlowShare: 1}).Shortfalls)
	assert.Empty(t, settle(t, row(hydraulic.Held(layout.PSI(90)), 1), hydraulic.Limits{}).Shortfalls, "nothing was measured")
}

// TestTooFastInPipe: 5 ft/s, and what flow would do (4.74 gpm in 1/2 in pipe).
func TestTooFastInPipe(t *testing.T) {
	n := chain(hydraulic.Held(layout.PSI(75)), pipe("1/2 in", 5))
	n.Nodes[1].Emitter = generic()
	s := settle(t, n, hydraulic.Limits{})
	require.Equal(t, []string{"pipe.velocity_high"}, rules(s.Shortfalls))
	assert.Contains(t, s.Shortfalls[0].Text, "4.74 gpm")
}

// TestDeviceBeyondItsCurve names the device and its last point.
func TestDeviceBeyondItsCurve(t *testing.T) {
	n := chain(hydraulic.Held(layout.PSI(75)), hydraulic.Link{Label: "backflow", Kind: hydraulic.KindBackflow,
		Element: hydraulic.LossCurve{Points: []hydraulic.LossPoint{{Flow: layout.GPM(3), Loss: layout.PSI(2)}}}})
	n.Nodes[1].Emitter = generic()
	s := settle(t, n, hydraulic.Limits{})
	require.Equal(t, []string{"device.flow_high"}, rules(s.Shortfalls))
	assert.Contains(t, s.Shortfalls[0].Text, "above 3.00 gpm")
}

// TestUnevenZone: within a zone flows may differ by a tenth from their mean, which
// is a fifth of pressure (extension guidance on laterals).
func TestUnevenZone(t *testing.T) {
	hasNote := func(s hydraulic.Settled, rule string) bool {
		for _, n := range s.Notes {
			if n.Rule == rule {
				return true
			}
		}
		return false
	}
	near := row(hydraulic.Held(layout.PSI(60)), 3)
	assert.False(t, hasNote(settle(t, near, hydraulic.Limits{Zones: [][]int{{1, 2, 3}}}), "zone.uneven"))
	far := row(hydraulic.Held(layout.PSI(69)), 1)
	far.Nodes = append(far.Nodes, hydraulic.Node{Label: "N2", Emitter: generic()})
	long := pipe("1/2 in", 480)
	long.From, long.To = 1, 2
	far.Links = append(far.Links, long)
	s := settle(t, far, hydraulic.Limits{Zones: [][]int{{1, 2}}})
	assert.True(t, hasNote(s, "zone.uneven"))
	q := []float64{s.Heads[0].Row.Flow.GPM(), s.Heads[1].Row.Flow.GPM()}
	assert.Greater(t, q[0]/(q[0]+q[1])*2, 1.1)
}

// TestRatingAndMainNotes: SDR-21 pipe of 200 psi stands under no more than 144
// psi; 20 psi are to be kept in the main (NFPA 291, 4.2.2).
func TestRatingAndMainNotes(t *testing.T) {
	class200, _ := hydraulic.SizeOf(hydraulic.PVCClass200, "1 in")
	notes := func(source hydraulic.Curve, links ...hydraulic.Link) (out []string) {
		n := chain(source, append(links, hydraulic.Link{Label: "P", Kind: hydraulic.KindPipe, Element: hydraulic.Pipe{Size: class200, Length: 1}})...)
		n.Nodes[len(n.Nodes)-1].Emitter = generic()
		for _, note := range settle(t, n, hydraulic.Limits{}).Notes {
			out = append(out, note.Rule)
		}
		return out
	}
	assert.Empty(t, notes(hydraulic.Held(layout.PSI(143))))
	assert.Equal(t, []string{"pipe.rating"}, notes(hydraulic.Held(layout.PSI(145))))
	assert.Empty(t, notes(hydraulic.Held(layout.PSI(145)), hydraulic.Link{Element: hydraulic.Regulator{Set: layout.PSI(60)}}), "a regulator keeps it down")
	assert.Equal(t, []string{"pipe.rating"}, notes(hydraulic.Held(layout.PSI(145)), hydraulic.Link{Element: hydraulic.LossCurve{
		Offset: layout.PSI(5), Points: []hydraulic.LossPoint{{Flow: 100, Loss: layout.PSI(6)}}}}), "springs lose nothing once shut")
	assert.Equal(t, []string{"supply.main_low"}, notes(measured(50, 3, 10)))
	backflow, _ := hydraulic.GenericBackflow(hydraulic.DoubleCheck)
	assert.Equal(t, []string{"device.judged"}, notes(hydraulic.Held(layout.PSI(60)), hydraulic.Link{Kind: hydraulic.KindBackflow, Element: backflow}))
}

func TestUnsoundSettling(t *testing.T) {
	n := row(hydraulic.Held(layout.PSI(60)), 2)
	for want, l := range map[string]hydraulic.Limits{
		"node 0 has no emitter": {Zones: [][]int{{1}, {0}}},
		"node 9 has no emitter": {Zones: [][]int{{9}}},
		"a flow share of 2":     {FlowShare: 2},
	} {
		_, err := hydraulic.Settle(context.Background(), n, l)
		assert.ErrorContains(t, err, want)
	}
	n.Nodes[1].Emitter = nozzle(1)
	_, err := hydraulic.Settle(context.Background(), n, hydraulic.Limits{})
	assert.ErrorContains(t, err, "a head without a table has no throw")
	empty := settle(t, chain(hydraulic.Held(1)), hydraulic.Limits{})
	assert.Equal(t, -1, empty.Worst)
	assert.Empty(t, empty.Heads)
}
