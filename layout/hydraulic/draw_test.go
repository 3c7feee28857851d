package hydraulic_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/hydraulic"
)

func run(label, from, to string, path ...geom.Point) layout.PipeRun {
	p := layout.PipeRun{Label: label, From: from, To: to, Material: hydraulic.PVCSch40, Size: "1 in", Path: path}
	for i := range path[1:] {
		p.Length += layout.Length(path[i].DistanceMM(path[i+1]) / 1000)
	}
	return p
}

// tee is a trench that runs 20 m east from the tap to a tee, from where one pipe
// goes straight on for 15 m to H1 and one turns left for 10 m, then 45° right to H2.
func tee() hydraulic.Plan {
	h1, h2, h3 := geom.Pt(35_000, 0), geom.Pt(25_000, 15_000), geom.Pt(90_000, 0)
	return hydraulic.Plan{
		Trench: layout.Network{Pipes: []layout.PipeRun{
			run("P2", "T1", "H1", geom.Pt(20_000, 0), h1),
			run("P3", "T1", "H2", geom.Pt(20_000, 0), geom.Pt(20_000, 10_000), h2),
			run("P1", "POC", "T1", geom.Pt(0, 0), geom.Pt(20_000, 0)),
		}},
		Heads:  []layout.Head{{Label: "H1", At: h1}, {Label: "H2", At: h2}, {Label: "H3", At: h3}},
		Model:  layout.GenericVariableThrow(),
		Source: measured(75, 8, 60),
	}
}

// TestDraw: the nodes, links, lengths and fittings of a drawn trench.
func TestDraw(t *testing.T) {
	n, heads, err := hydraulic.Draw(tee())
	require.NoError(t, err)
	assert.Equal(t, -1, heads[2], "no pipe ends at H3")
	assert.Equal(t, "H1", n.Nodes[heads[0]].Label)
	assert.Equal(t, generic(), n.Nodes[heads[1]].Emitter)
	assert.Len(t, n.Nodes, 4)
	for label, want := range map[string]struct {
		from, to string
		metres   float64
		fittings []hydraulic.FittingCount
	}{
		"P1": {"source", "T1", 20, nil},
		"P2": {"T1", "H1", 15, []hydraulic.FittingCount{{Fitting: hydraulic.TeeRun, Count: 1}}},
		"P3": {"T1", "H2", 10 + 5*1.4142135623731, []hydraulic.FittingCount{{Fitting: hydraulic.TeeBranch, Count: 1}, {Fitting: hydraulic.Ell45, Count: 1}}},
	} {
		for _, l := range n.Links {
			if l.Label != label {
				continue
			}
			assert.Equal(t, want.from, n.Nodes[l.From].Label, label)
			assert.Equal(t, want.to, n.Nodes[l.To].Label, label)
			p := l.Element.(hydraulic.Pipe)
			assert.InDelta(t, want.metres, p.Length.Metres(), 1e-9, label)
			assert.Equal(t, want.fittings, p.Fittings, label)
			assert.Equal(t, sch40("1 in"), p.Size)
		}
	}
	s := settle(t, n, hydraulic.Limits{})
	assert.Len(t, s.Heads, 2)
	assert.Empty(t, s.Shortfalls)
}

// TestDrawWithFeed: devices before the point of connection and at every head, and
// heights: 2.31 ft of rise are 1 psi.
func TestDrawWithFeed(t *testing.T) {
	p := tee()
	meter, _ := hydraulic.Meter("3/4 in")
	backflow, _ := hydraulic.GenericBackflow(hydraulic.PressureVacuumBreaker)
	p.Feed = []hydraulic.Device{{Label: "meter", Kind: hydraulic.KindMeter, Element: meter}, {Label: "backflow", Kind: hydraulic.KindBackflow, Element: backflow}}
	p.AtHead = []hydraulic.Device{{Label: "valve", Kind: hydraulic.KindValve, Element: hydraulic.GenericValve()}}
	p.Heights = []layout.SpotHeight{{At: geom.Pt(0, 0), Height: 100}, {At: geom.Pt(35_000, 0), Height: 100 + layout.Feet(2.31)}}
	p.Rise = layout.Feet(2.31)
	n, heads, err := hydraulic.Draw(p)
	require.NoError(t, err)
	var labels []string
	for _, v := range n.Nodes {
		labels = append(labels, v.Label)
	}
	assert.Equal(t, []string{"source", "POC behind meter", "POC", "H1 inlet", "H2 inlet", "T1", "H1", "H2"}, labels)
	assert.InDelta(t, layout.Feet(2.31).Metres(), (n.Nodes[heads[0]].Elevation - n.Nodes[2].Elevation).Metres(), 1e-9)
	r := solve(t, n.Running(heads[0]))
	var items []hydraulic.Item
	for _, row := range n.Budget(r, heads[0]) {
		items = append(items, row.Item)
		if row.Item == hydraulic.ItemElevation {
			assert.InDelta(t, 2, row.Loss.PSI(), 0.003, "to the point of connection and on to the head")
		}
	}
	assert.Equal(t, []hydraulic.Item{"static", "supply", "meter", "backflow", "pipe", "pipe", "fittings", "valve", "elevation"}, items)
}

// TestHeadAtTheTap: a head that stands at the point of connection has no pipe.
func TestHeadAtTheTap(t *testing.T) {
	p := tee()
	p.Trench, p.Heads = layout.Network{POC: geom.Pt(5, 5)}, []layout.Head{{Label: "H1", At: geom.Pt(5, 5)}}
	n, heads, err := hydraulic.Draw(p)
	require.NoError(t, err)
	assert.Equal(t, []int{0}, heads)
	s := settle(t, n, hydraulic.Limits{})
	assert.InDelta(t, n.Source.At(s.Heads[0].Row.Flow).PSI(), s.Heads[0].Pressure.PSI(), 1e-6)
}

// TestBends: half of 45° and more is an ell of 45°, from 67.5° one of 90°, and a
// way back is made of both.
func TestBends(t *testing.T) {
	for _, c := range []struct {
		x, y     int64
		fittings []hydraulic.FittingCount
	}{
		{10_000, 0, nil},
		{10_000, 4_000, nil},
		{10_000, 4_200, []hydraulic.FittingCount{{Fitting: hydraulic.Ell45, Count: 1}}},
		{10_000, -10_000, []hydraulic.FittingCount{{Fitting: hydraulic.Ell45, Count: 1}}},
		{0, 10_000, []hydraulic.FittingCount{{Fitting: hydraulic.Ell90, Count: 1}}},
		{-10_000, 10_000, []hydraulic.FittingCount{{Fitting: hydraulic.Ell90, Count: 1}, {Fitting: hydraulic.Ell45, Count: 1}}},
	} {
		p := tee()
		end := geom.Pt(10_000+c.x, c.y)
		p.Trench.Pipes = []layout.PipeRun{run("P1", "POC", "H1", geom.Pt(0, 0), geom.Pt(10_000, 0), end)}
		p.Heads = []layout.Head{{Label: "H1", At: end}}
		n, _, err := hydraulic.Draw(p)
		require.NoError(t, err)
		assert.Equal(t, c.fittings, n.Links[0].Element.(hydraulic.Pipe).Fittings, "to %v %v", c.x, c.y)
	}
}

// TestUndrawable: what cannot be drawn is refused with the pipe named.
func TestUndrawable(t *testing.T) {
	for want, spoil := range map[string]func(*hydraulic.Plan){
		"pipe P2 has no path":               func(p *hydraulic.Plan) { p.Trench.Pipes[0].Path = nil },
		"pipe P3 ends where another does":   func(p *hydraulic.Plan) { p.Trench.Pipes[1].Path = p.Trench.Pipes[0].Path },
		"pipe P2 begins where no pipe ends": func(p *hydraulic.Plan) { p.Trench.Pipes[0].Path = geom.Line{{X: 1, Y: 1}, {X: 2, Y: 2}} },
		"of 7 in":                           func(p *hydraulic.Plan) { p.Trench.Pipes[0].Size = "7 in" },
		"higher than the source":            func(p *hydraulic.Plan) { p.Rise = 1 },
	} {
		p := tee()
		spoil(&p)
		_, _, err := hydraulic.Draw(p)
		assert.ErrorContains(t, err, want)
	}
	p := tee()
	p.Sizes = []hydraulic.PipeSize{{Material: hydraulic.PVCSch40, Nominal: "1 in", Inside: 0.02}}
	n, _, err := hydraulic.Draw(p)
	require.NoError(t, err)
	assert.Equal(t, layout.Length(0.02), n.Links[0].Element.(hydraulic.Pipe).Size.Inside, "the user's sizes come first")
}

// TestHeightAt: at a spot height it is that; halfway between two their mean;
// never beyond the highest and lowest; without any, level.
func TestHeightAt(t *testing.T) {
	heights := []layout.SpotHeight{{At: geom.Pt(0, 0), Height: 10}, {At: geom.Pt(10_000, 0), Height: 12}}
	assert.InDelta(t, 10, float64(hydraulic.HeightAt(heights, geom.Pt(0, 0))), 1e-12)
	assert.InDelta(t, 11, float64(hydraulic.HeightAt(heights, geom.Pt(5_000, 3_000))), 1e-12)
	assert.InDelta(t, (10.0/1+12.0/81)/(1+1.0/81), float64(hydraulic.HeightAt(heights, geom.Pt(1_000, 0))), 1e-12, "weights of 1/1² and 1/9²")
	assert.InDelta(t, 11, float64(hydraulic.HeightAt(heights, geom.Pt(5_000, 4_000_000))), 1e-3)
	assert.Zero(t, hydraulic.HeightAt(nil, geom.Pt(1, 1)))
}
