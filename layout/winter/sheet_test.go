package winter_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/hydraulic"
	"lotwright/layout/winter"
)

func bore(material, size string) (layout.Length, bool) {
	p, ok := hydraulic.SizeOf(material, size)
	return p.Inside, ok
}

func pipe(label, from, to, size string, feet float64, path ...geom.Point) layout.PipeRun {
	return layout.PipeRun{Label: label, From: from, To: to, Material: hydraulic.PVCSch40, Size: size, Length: layout.Feet(feet), Path: path}
}

func head(label, pipe string, zone int, gpm float64, at geom.Point) layout.Head {
	return layout.Head{Label: label, Pipe: pipe, Zone: zone, Flow: layout.GPM(gpm), At: at, Pressure: layout.PSI(50), Throw: layout.Feet(28), ArcSweep: 360}
}

// fork is a trunk of 100 ft of 1 in, a near branch of 20 ft and a far one of
// 40 ft of 3/4 in.
func fork() *layout.Design {
	return &layout.Design{LotID: "fork",
		Heads: []layout.Head{head("H1", "P2", 1, 15, geom.Pt(30000, 6000)), head("H2", "P3", 2, 4, geom.Pt(42000, 0))},
		Network: layout.Network{Pipes: []layout.PipeRun{
			pipe("P1", "POC", "T1", "1 in", 100, geom.Pt(0, 0), geom.Pt(30000, 0)),
			pipe("P2", "T1", "H1", "3/4 in", 20, geom.Pt(30000, 0), geom.Pt(30000, 6000)),
			pipe("P3", "T1", "H2", "3/4 in", 40, geom.Pt(30000, 0), geom.Pt(42000, 0)),
		}}}
}

// TestWaterInPipe holds 0.0408·d² gallons a foot, and what Schedule 40 of its
// nominal bores holds by it.
func TestWaterInPipe(t *testing.T) {
	for size, gallons := range map[string]float64{
		"1/2 in": 0.0158, "3/4 in": 0.0277, "1 in": 0.0449, "1-1/4 in": 0.0777, "1-1/2 in": 0.1058, "2 in": 0.1743,
	} {
		d := &layout.Design{Network: layout.Network{Pipes: []layout.PipeRun{pipe("P1", "POC", "H1", size, 1)}}}
		sheet := winter.Plan(d, winter.Settings{Inside: bore})
		assert.InEpsilon(t, gallons, sheet.Volume.Gallons(), 0.005, size)
		inside, _ := bore(hydraulic.PVCSch40, size)
		inches := inside.Metres() / layout.MetresPerInch
		assert.InEpsilon(t, 0.0408*inches*inches, sheet.Volume.Gallons(), 0.0005, size)
	}
	// 100 ft of 1 in: 4.49 gal.
	sheet := winter.Plan(fork(), winter.Settings{Inside: bore})
	require.Len(t, sheet.Sizes, 2)
	assert.Equal(t, "1 in", sheet.Sizes[1].Size, "narrow to wide")
	assert.InEpsilon(t, 4.49, sheet.Sizes[1].Volume.Gallons(), 0.001)
	assert.InEpsilon(t, 60*0.0277, sheet.Sizes[0].Volume.Gallons(), 0.002)
	assert.InEpsilon(t, sheet.Sizes[0].Volume.Gallons()+sheet.Sizes[1].Volume.Gallons(), sheet.Volume.Gallons(), 1e-12)
}

// TestOrderByWay blows the farthest zone first; it empties the trunk, and the
// near one is left with its own branch.
func TestOrderByWay(t *testing.T) {
	sheet := winter.Plan(fork(), winter.Settings{Inside: bore})
	require.Len(t, sheet.Zones, 2)
	far, near := sheet.Zones[0], sheet.Zones[1]
	assert.Equal(t, []string{"H2"}, far.Heads)
	assert.InDelta(t, 140, far.Way.Feet(), 1e-9)
	assert.InDelta(t, far.OnWay.Litres(), far.Left.Litres(), 1e-12)
	assert.InEpsilon(t, 20*0.0277, near.Left.Gallons(), 0.002)
	assert.InEpsilon(t, 4.49+20*0.0277, near.OnWay.Gallons(), 0.002)
	assert.InDelta(t, sheet.Volume.Litres(), far.Left.Litres()+near.Left.Litres(), 1e-9, "all that is in the pipe is blown out once")
	assert.InEpsilon(t, (4.49+40*0.0277)/4, far.Minutes, 0.002)
	assert.False(t, sheet.HeightKnown)
	assert.Contains(t, sheet.OrderReason, "Heights were not surveyed")
}

// TestOrderByHeight lets the near head stand 2 m higher.
func TestOrderByHeight(t *testing.T) {
	height := func(p geom.Point) layout.Length {
		if p.Y > 0 {
			return 12
		}
		return 10
	}
	sheet := winter.Plan(fork(), winter.Settings{Inside: bore, Height: height})
	assert.Equal(t, []string{"H1"}, sheet.Zones[0].Heads)
	assert.InDelta(t, 2, sheet.Zones[0].Height.Metres(), 1e-12)
	assert.NotContains(t, sheet.OrderReason, "not surveyed")
}

// TestZonesWithPipeOfTheirOwn has two valves at the tap whose laterals pass a tee
// of the same name in one trench.
func TestZonesWithPipeOfTheirOwn(t *testing.T) {
	d := fork()
	d.Network.Pipes = nil
	for zone := 1; zone <= 2; zone++ {
		trunk, branch := pipe("P1", "POC", "T1", "1 in", 100), pipe("P2", "T1", d.Heads[zone-1].Label, "3/4 in", 20)
		if zone == 2 {
			trunk.Label, branch.Label = "P3", "P4"
		}
		trunk.Zone, branch.Zone, d.Heads[zone-1].Pipe = zone, zone, branch.Label
		d.Network.Pipes = append(d.Network.Pipes, trunk, branch)
	}
	d.Water = &layout.Water{Zones: []layout.Zone{{Number: 1, Valve: "POC"}, {Number: 2, Valve: "T1"}}}
	sheet := winter.Plan(d, winter.Settings{Inside: bore})
	assert.Equal(t, []int{1, 2}, []int{sheet.Zones[0].Number, sheet.Zones[1].Number}, "of ways as long, by number")
	for i, z := range sheet.Zones {
		assert.InDelta(t, 120, z.Way.Feet(), 1e-9)
		assert.InDelta(t, sheet.Volume.Litres()/2, z.Left.Litres(), 1e-9, "no pipe is shared")
		assert.Equal(t, []string{"POC", "T1"}[i], z.Valve)
	}
}

// TestAir holds the published limits, and a compressor of 2.0 cfm for 15 gpm.
func TestAir(t *testing.T) {
	sheet := winter.Plan(fork(), winter.Settings{Inside: bore})
	assert.InDelta(t, 80, sheet.AirLimit.PSI(), 1e-9)
	assert.InDelta(t, 2.0, winter.CubicFeetPerMinute(sheet.Displaced), 0.01)
	assert.InDelta(t, 2.0*(80+14.696)/14.696, winter.CubicFeetPerMinute(sheet.FreeAir), 0.05)

	d := fork()
	d.Network.Pipes[2].Material = hydraulic.PEControlled
	sheet = winter.Plan(d, winter.Settings{Inside: bore})
	assert.InDelta(t, 50, sheet.AirLimit.PSI(), 1e-9, "the weakest pipe holds for the lot")
	require.Len(t, sheet.Limits, 2)
	assert.Equal(t, winter.Limit{Material: hydraulic.PEControlled, Most: layout.PSI(50)}, sheet.Limits[0])
	assert.Contains(t, sheet.Autumn[3].Text, "50.0 psi")
	assert.Contains(t, sheet.Cautions[0].Text, "50.0 psi")

	d.Network.Pipes[2].Material = "copper"
	sheet = winter.Plan(d, winter.Settings{Inside: bore})
	assert.Equal(t, []string{"P3"}, sheet.Unknown)
	assert.True(t, sheet.Limits[1].Assumed)
	assert.InDelta(t, 50, sheet.AirLimit.PSI(), 1e-9, "what is not known gets the lowest")
}

// TestLowPoints lets a trunk dip by 0.3 m half way; the ends lie high.
func TestLowPoints(t *testing.T) {
	d := fork()
	d.Network.Pipes[0].Path = geom.Line{geom.Pt(0, 0), geom.Pt(15000, 0), geom.Pt(30000, 0)}
	height := func(p geom.Point) layout.Length {
		switch p {
		case geom.Pt(15000, 0):
			return 9.7
		case geom.Pt(42000, 0):
			return 9.96 // within the unevenness of a trench
		}
		return 10
	}
	sheet := winter.Plan(d, winter.Settings{Inside: bore, Height: height})
	require.Len(t, sheet.LowPoints, 1)
	low := sheet.LowPoints[0]
	assert.Equal(t, "P1", low.Name)
	assert.Equal(t, geom.Pt(15000, 0), low.At)
	assert.InDelta(t, -0.3, low.Height.Metres(), 1e-12)
	assert.Contains(t, sheet.Drain[len(sheet.Drain)-1].Text, "low point at P1, -0.30 m")
	without := winter.Plan(d, winter.Settings{Inside: bore})
	assert.Contains(t, without.Drain[len(without.Drain)-1].Text, "look for them on the ground")
}

func TestStartUp(t *testing.T) {
	d := fork()
	d.Heads[0].Zone, d.Heads[1].Zone = 2, 1
	sheet := winter.Plan(d, winter.Settings{Inside: bore})
	require.Len(t, sheet.StartUp, 2)
	assert.Equal(t, winter.HeadCheck{Zone: 1, Head: "H2", Pressure: layout.PSI(50), Throw: layout.Feet(28), ArcSweep: 360}, sheet.StartUp[0])
	assert.Nil(t, sheet.Static)
	d.Water = &layout.Water{Known: true, Static: layout.PSI(65)}
	assert.InDelta(t, 65, winter.Plan(d, winter.Settings{}).Static.PSI(), 1e-9)
}

// TestEveryStepSaysWhereItComesFrom keeps steps and cautions from losing their
// source, and the words from naming a backflow device.
func TestEveryStepSaysWhereItComesFrom(t *testing.T) {
	sheet := winter.Plan(fork(), winter.Settings{Inside: bore})
	for _, list := range [][]winter.Step{sheet.Drain, sheet.Autumn, sheet.Spring, sheet.Cautions} {
		require.NotEmpty(t, list)
		for _, s := range list {
			assert.NotEmpty(t, s.Text)
			assert.NotEmpty(t, s.Source, s.Text)
		}
	}
	last := sheet.Cautions[len(sheet.Cautions)-1].Text
	assert.Contains(t, last, "the local code and a licensed tester")
}

func TestText(t *testing.T) {
	d := fork()
	d.Network.Pipes[1].Material = "copper"
	var b strings.Builder
	sheet := winter.Plan(d, winter.Settings{Inside: bore})
	require.NoError(t, sheet.WriteText(&b))
	text := b.String()
	assert.Contains(t, text, "no more than 50.0 psi")
	assert.Contains(t, text, "copper: 50.0 psi (345 kPa), the lowest, since none is published for it")
	assert.Contains(t, text, "not counted, their bore is not known: P2")
	assert.Regexp(t, `(?m)^1 +2 +H2 +140\.0 ft \(42\.67 m\) +5\.6 gal`, text)
	for _, list := range [][]winter.Step{sheet.Drain, sheet.Autumn, sheet.Spring, sheet.Cautions} {
		for _, s := range list {
			assert.Contains(t, text, s.Text+" ["+s.Source+"]")
		}
	}
	assert.Regexp(t, `(?m)^2 +H2 +50\.0 psi \(345 kPa\) +28\.0 ft`, text)
}

func TestNoPipe(t *testing.T) {
	sheet := winter.Plan(&layout.Design{LotID: "bare"}, winter.Settings{})
	assert.Zero(t, sheet.Volume)
	assert.Empty(t, sheet.Zones)
	assert.InDelta(t, 80, sheet.AirLimit.PSI(), 1e-9)
}
