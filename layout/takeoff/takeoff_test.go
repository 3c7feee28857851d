package takeoff_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/hydraulic"
	"lotwright/layout/takeoff"
)

const sch40 = "PVC Sch 40"

// pipe lays a run through places in metres.
func pipe(label, from, to, size string, path ...geom.Point) layout.PipeRun {
	p := layout.PipeRun{Label: label, From: from, To: to, Material: sch40, Size: size, Path: path}
	for i := 1; i < len(path); i++ {
		p.Length += layout.Length(path[i-1].DistanceMM(path[i]) / 1000)
	}
	return p
}

func m(x, y float64) geom.Point { return geom.Vec{X: x * 1000, Y: y * 1000}.Round() }

// withTrench digs a trench in soil, 10 in deep, for every pipe.
func withTrench(d *layout.Design) *layout.Design {
	for _, p := range d.Network.Pipes {
		d.Network.Runs = append(d.Network.Runs, layout.TrenchRun{From: p.From, To: p.To, Surface: layout.SurfaceSoil,
			Path: p.Path, Length: p.Length, Depth: 10 * layout.MetresPerInch})
	}
	return d
}

func head(label string, at geom.Point) layout.Head {
	return layout.Head{Label: label, At: at, Kind: layout.VariableThrow, Model: "generic variable-throw", Zone: 1}
}

// garden is a design of three heads: one on the way, two at the ends of pipes
// that part at a square tee, one of them round a corner and narrower.
func garden() *layout.Design {
	return withTrench(&layout.Design{LotID: "garden", Status: layout.StatusDesigned, HeadKind: layout.VariableThrow,
		Heads: []layout.Head{head("H1", m(4, 0)), head("H2", m(20, 0)), head("H3", m(14, 7))},
		Network: layout.Network{POC: m(0, 0), Cable: []layout.CableHop{{From: "POC", To: "H1", Way: 4, Laid: 15.24},
			{From: "H1", To: "H2", Way: 16, Laid: 30.48, Joints: 1}, {From: "H2", To: "H3", Way: 21, Laid: 30.48, Joints: 1}}, Pipes: []layout.PipeRun{
			pipe("P1", "POC", "H1", "1 in", m(0, 0), m(4, 0)),
			pipe("P2", "H1", "T1", "1 in", m(4, 0), m(10, 0)),
			pipe("P3", "T1", "H2", "1 in", m(10, 0), m(20, 0)),
			pipe("P4", "T1", "H3", "3/4 in", m(10, 0), m(10, 7), m(14, 7)),
		}}})
}

func of(t *testing.T, d *layout.Design, s takeoff.Settings) map[string]takeoff.Line {
	t.Helper()
	list, err := takeoff.Of(d, s)
	require.NoError(t, err)
	lines := make(map[string]takeoff.Line)
	for _, l := range list.Lines {
		name := strings.TrimSpace(string(l.Item) + " " + l.Size)
		require.NotContains(t, lines, name)
		require.NotEmpty(t, l.Features, name)
		lines[name] = l
	}
	return lines
}

func TestGardenByHand(t *testing.T) {
	lines := of(t, garden(), takeoff.Settings{})
	want := map[string]struct {
		n        string
		features string
	}{
		"head generic variable-throw":    {"3", "H1 H2 H3"},
		"swing_joint 1/2 in":             {"3", "H1 H2 H3"},
		"threaded_tee 1 in x 1/2 in":     {"1", "H1"},
		"threaded_elbow 1 in x 1/2 in":   {"1", "H2"},
		"threaded_elbow 3/4 in x 1/2 in": {"1", "H3"},
		"tee 1 in":                       {"1", "T1"},
		"elbow_90 3/4 in":                {"1", "P4"},
		"reducer 1 in x 3/4 in":          {"1", "P4 T1"},
		"coupling 1 in":                  {"1", "P3"}, // 10 m of 6.096 m sticks
		"coupling 3/4 in":                {"1", "P4"}, // 7 m
		"pipe 1 in PVC Sch 40 x 20 ft":   {"4", "P1 P2 P3"},
		"pipe 3/4 in PVC Sch 40 x 20 ft": {"2", "P4"},
		"shutoff_valve 1 in":             {"1", "POC"},
		"backflow_preventer 1 in":        {"1", "POC"},
		"blowout_fitting 1 in":           {"1", "POC"},
		"union 1 in":                     {"1", "POC"},
		"male_adapter 1 in":              {"1", "POC"},
		"nipple 1 in":                    {"3", "POC"},
		"valve_box":                      {"3", "POC H2 H3"},
		"wire_joint":                     {"6", "POC H1 H2 H3"},
		"trench soil":                    {"31", "POC–H1 H1–T1 T1–H2 T1–H3"},
		"labour trench in soil":          {"7.75", "POC–H1 H1–T1 T1–H2 T1–H3"}, // 15 min a metre
		"sod":                            {"9.449", "POC–H1 H1–T1 T1–H2 T1–H3"},
		// Five lengths of 50 ft and 10.5 m from the controller.
		"control_cable": {"86.7", "POC H1 H2 H3"},
	}
	for name, w := range want {
		l, ok := lines[name]
		if assert.True(t, ok, name) {
			assert.Equal(t, w.n, l.Quantity.String(), name)
			assert.Equal(t, w.features, strings.Join(l.Features, " "), name)
		}
	}
	rest := []string{"cement", "primer", "thread_tape", "thread_sealant", "trench_spoil", "loose_spoil", "backfill"}
	for name := range lines {
		if _, ok := want[name]; !ok {
			assert.Contains(t, rest, name)
		}
	}
	assert.Len(t, lines, len(want)+len(rest))
}

// TestGlue counts sockets by hand. 1 in: coupling 2, tee 3, threaded tee 2,
// threaded elbow 1, reducer 1, adapter 1. 3/4 in: coupling 2, elbow 2, threaded
// elbow 1, reducer 1.
func TestGlue(t *testing.T) {
	lines := of(t, garden(), takeoff.Settings{})
	quarts := 10.0/125 + 6.0/200
	litres := quarts * layout.LitresPerGallon / 4
	assert.InDelta(t, litres, lines["cement"].Quantity.Units(), 0.0005)
	assert.InDelta(t, litres/2, lines["primer"].Quantity.Units(), 0.0005)
}

// TestForty elbows of 3/4 in take 80 joints, 0.4 qt of cement (trade practice:
// 200 joints a quart at 3/4 in).
func TestForty(t *testing.T) {
	path := []geom.Point{m(0, 0)}
	for i := range 41 {
		last := path[len(path)-1]
		if i%2 == 0 {
			path = append(path, last.Add(m(1, 0)))
		} else {
			path = append(path, last.Add(m(0, 1)))
		}
	}
	end := path[len(path)-1]
	d := &layout.Design{LotID: "stairs", HeadKind: layout.VariableThrow, Heads: []layout.Head{head("H1", end)},
		Network: layout.Network{Pipes: []layout.PipeRun{pipe("P1", "POC", "H1", "3/4 in", path...)}}}
	lines := of(t, d, takeoff.Settings{})
	assert.Equal(t, "40", lines["elbow_90 3/4 in"].Quantity.String())
	// Beside the elbows, one socket of the adapter and one of the head's elbow.
	quarts := (80 + 2) / 200.0
	got, ok := lines["cement"].Quantity.In(takeoff.Litre, takeoff.Quart)
	require.True(t, ok)
	assert.InDelta(t, quarts, got, 0.001)
	assert.InDelta(t, 0.4, got*80/82, 0.001)
}

// TestSticks: 137 ft with 5 % to spare are 8 sticks of 20 ft and 6 couplings.
func TestSticks(t *testing.T) {
	far := m(layout.Feet(137).Metres(), 0)
	d := &layout.Design{LotID: "long", HeadKind: layout.VariableThrow, Heads: []layout.Head{head("H1", far)},
		Network: layout.Network{Pipes: []layout.PipeRun{pipe("P1", "POC", "H1", "1 in", m(0, 0), far)}}}
	lines := of(t, d, takeoff.Settings{})
	sticks := lines["pipe 1 in PVC Sch 40 x 20 ft"]
	assert.Equal(t, "8", sticks.Quantity.String())
	assert.Equal(t, "1 of them spare", sticks.Note)
	assert.Equal(t, "6", lines["coupling 1 in"].Quantity.String())

	none := of(t, d, takeoff.Settings{PipeSpare: -1})
	assert.Equal(t, "7", none["pipe 1 in PVC Sch 40 x 20 ft"].Quantity.String())
	both := of(t, d, takeoff.Settings{PipeSpare: -1, Sticks: []layout.Length{layout.Feet(10), layout.Feet(20)}})
	assert.Equal(t, "7", both["pipe 1 in PVC Sch 40 x 20 ft"].Quantity.String(), "17 ft want a long stick")
}

// TestTrenchVolume: 100 ft by 4 in by 10 in are 27.78 ft³, 1.029 yd³.
func TestTrenchVolume(t *testing.T) {
	v := takeoff.TrenchVolume(layout.Feet(100), 4*layout.MetresPerInch, 10*layout.MetresPerInch)
	q := takeoff.Quantity(math.Round(v * 1000))
	feet, _ := q.In(takeoff.CubicMetre, takeoff.CubicFoot)
	assert.InDelta(t, 27.78, feet, 0.02)
	yards, _ := q.In(takeoff.CubicMetre, takeoff.CubicYard)
	assert.InDelta(t, 1.029, yards, 0.001)
}

// TestPipeVolume: gallons a foot of Schedule 40 are 0.0408·d².
func TestPipeVolume(t *testing.T) {
	for size, want := range map[string]float64{"1/2 in": 0.0158, "3/4 in": 0.0277, "1 in": 0.0449, "1-1/4 in": 0.0777, "1-1/2 in": 0.1058, "2 in": 0.1743} {
		pipe, ok := hydraulic.SizeOf(sch40, size)
		require.True(t, ok)
		assert.InEpsilon(t, want, takeoff.PipeVolume(layout.Feet(1), pipe.Inside).Gallons(), 0.005, size)
	}
	lines := of(t, garden(), takeoff.Settings{Bore: func(material, size string) (layout.Length, bool) {
		p, ok := hydraulic.SizeOf(material, size)
		return p.Inside, ok && size == "1 in"
	}})
	water := lines["pipe_water"]
	gallons, _ := water.Quantity.In(takeoff.Litre, takeoff.Gallon)
	assert.InEpsilon(t, 0.0449*layout.Length(20).Feet(), gallons, 0.005)
	assert.Equal(t, "without P4, whose bore is not known", water.Note)
}

// TestPaving crosses a walk of 2 m, at 10 in under 4 in of paving.
func TestPaving(t *testing.T) {
	d := garden()
	d.Network.Runs = []layout.TrenchRun{
		{From: "POC", To: "H1", Surface: layout.SurfaceSoil, Length: 1, Depth: 10 * layout.MetresPerInch},
		{From: "POC", To: "H1", Surface: layout.SurfacePaving, Length: 2, Depth: 10 * layout.MetresPerInch},
		{From: "POC", To: "H1", Surface: layout.SurfaceSleeve, Length: 1, Depth: 10 * layout.MetresPerInch},
	}
	lines := of(t, d, takeoff.Settings{PavingCutWidth: 0.3, PavingThickness: 0.1, TrenchWidth: 0.1, SleeveBeyond: 0.3,
		Swell: 1.5, MinutesPerMetre: map[layout.Surface]float64{layout.SurfaceSoil: 30}})
	for name, want := range map[string]float64{
		"saw_cut": 4, "paving_removed": 0.6, "paving_patch": 0.06, "sleeve 2 in": 2.6,
		"trench soil": 1, "trench paving": 2, "trench sleeve": 1,
		"trench_spoil": 0.254*0.1 + 2*0.1*0.154, "loose_spoil": 1.5 * (0.254*0.1 + 2*0.1*0.154),
		"labour trench in soil": 0.5, "labour trench in paving": 2, "labour trench in sleeve": 1.0 / 6,
	} {
		if l, ok := lines[name]; assert.True(t, ok, name) {
			assert.InDelta(t, want, l.Quantity.Units(), 0.0011, name)
			assert.Equal(t, []string{"POC–H1"}, l.Features)
		}
	}
}

func TestFixedArc(t *testing.T) {
	d := garden()
	d.HeadKind = layout.FixedArc
	for i := range d.Heads {
		d.Heads[i].Kind, d.Heads[i].Model, d.Heads[i].Zone = layout.FixedArc, "generic spray 15 ft", 1+i%2
	}
	lines := of(t, d, takeoff.Settings{ValvesPerBox: 1})
	assert.Equal(t, "2", lines["zone_valve 1 in"].Quantity.String())
	assert.Equal(t, []string{"Z1", "Z2"}, lines["zone_valve 1 in"].Features)
	assert.Equal(t, "5", lines["male_adapter 1 in"].Quantity.String())
	assert.Equal(t, "3", lines["valve_box"].Quantity.String())
	assert.Equal(t, "2", lines["tee 1 in"].Quantity.String(), "T1 and one between the valves")
	assert.Equal(t, "4", lines["wire_joint"].Quantity.String())
	// Two valves, a common and a spare wire over 10.5 m; four joints, four loops.
	assert.InDelta(t, 4*10.5+4*0.9144+4*0.254, lines["control_wire"].Quantity.Units(), 0.005)
	assert.NotContains(t, lines, "control_cable")
}

// TestScrewedJoints: at the point of connection seven joints are of metal on
// metal and one is not; each head has two of plastic.
// TestWireGauge: the gauge is that of the distance, and a distance too great is told.
func TestWireGauge(t *testing.T) {
	d := garden()
	d.HeadKind = layout.FixedArc
	s := takeoff.Settings{ControllerRun: 40, Wire: func(l layout.Length) (string, bool) { return "18 AWG", l < 50 }}
	lines := of(t, d, s)
	assert.Contains(t, lines, "control_wire 18 AWG")
	s.ControllerRun = 60
	list, err := takeoff.Of(d, s)
	require.NoError(t, err)
	require.NotEmpty(t, list.Notes)
	assert.Equal(t, "takeoff.wire_too_long", list.Notes[0].Rule)
}

// TestZonesShareATrench: pipes of two zones part at T1 by a corner and a straight
// run, not by a tee, and each has a sleeve under paving.
func TestZonesShareATrench(t *testing.T) {
	d := garden()
	d.HeadKind = layout.FixedArc
	d.Heads = []layout.Head{head("H2", m(20, 0)), head("H3", m(10, 7))}
	d.Heads[1].Zone = 2
	d.Network.Pipes = []layout.PipeRun{
		pipe("P1", "POC", "T1", "1 in", m(0, 0), m(10, 0)), pipe("P2", "T1", "H2", "1 in", m(10, 0), m(20, 0)),
		pipe("P3", "POC", "T1", "1 in", m(0, 0), m(10, 0)), pipe("P4", "T1", "H3", "1 in", m(10, 0), m(10, 7)),
	}
	for i := range d.Network.Pipes {
		d.Network.Pipes[i].Zone = 1 + i/2
	}
	d.Network.Runs = []layout.TrenchRun{{From: "POC", To: "T1", Surface: layout.SurfacePaving, Path: d.Network.Pipes[0].Path, Length: 10, Depth: 0.25}}
	lines := of(t, d, takeoff.Settings{SleeveBeyond: -1})
	assert.EqualValues(t, 1000, lines["tee 1 in"].Quantity, "from one valve to the next")
	assert.EqualValues(t, 1000, lines["elbow_90 1 in"].Quantity)
	assert.EqualValues(t, 20_000, lines["sleeve 2 in"].Quantity, "one for each pipe")
	assert.EqualValues(t, 2000, lines["threaded_elbow 1 in x 1/2 in"].Quantity)
}

func TestScrewedJoints(t *testing.T) {
	lines := of(t, garden(), takeoff.Settings{})
	assert.Equal(t, []string{"POC"}, lines["thread_sealant"].Features)
	assert.InDelta(t, 0.007, lines["thread_sealant"].Quantity.Units(), 1e-9)
	assert.Equal(t, []string{"POC", "H1", "H2", "H3"}, lines["thread_tape"].Features)
	plastic := of(t, garden(), takeoff.Settings{PlasticSupply: true})
	assert.InDelta(t, 0.006, plastic["thread_sealant"].Quantity.Units(), 1e-9)
	assert.Equal(t, lines["thread_tape"].Quantity, plastic["thread_tape"].Quantity)
}

func TestRegulator(t *testing.T) {
	d := garden()
	d.Regulated = true
	lines := of(t, d, takeoff.Settings{})
	assert.Equal(t, "1", lines["pressure_regulator 1 in"].Quantity.String())
	assert.Equal(t, "4", lines["nipple 1 in"].Quantity.String())
	assert.InDelta(t, 0.009, lines["thread_sealant"].Quantity.Units(), 1e-9)
}

func TestZonesUnknown(t *testing.T) {
	d := garden()
	d.HeadKind = layout.FixedArc
	for i := range d.Heads {
		d.Heads[i].Zone = 0
	}
	list, err := takeoff.Of(d, takeoff.Settings{})
	require.NoError(t, err)
	require.Len(t, list.Notes, 1)
	assert.Equal(t, "takeoff.valves_unknown", list.Notes[0].Rule)
}

func TestNothingAndFaults(t *testing.T) {
	list, err := takeoff.Of(layout.Refused("x", "no parcel", nil), takeoff.Settings{})
	require.NoError(t, err)
	assert.Equal(t, takeoff.List{Lot: "x"}, list)

	d := garden()
	d.Network.Pipes[1].Size = "wide"
	_, err = takeoff.Of(d, takeoff.Settings{})
	assert.ErrorContains(t, err, `lot garden: take-off: pipe P2: size "wide"`)
	for name, s := range map[string]takeoff.Settings{
		"stick 1 is 0 m":   {Sticks: []layout.Length{0}},
		"head thread":      {HeadThread: "half"},
		"swell is 11":      {Swell: 11},
		"trench width":     {TrenchWidth: layout.Length(math.NaN())},
		"per metre of soi": {MinutesPerMetre: map[layout.Surface]float64{layout.SurfaceSoil: -1}},
	} {
		_, err := takeoff.Of(garden(), s)
		assert.ErrorContains(t, err, name)
	}
}

// TestRandomNetworks counts the fittings of random trees on a lattice, where
// every bend is square, by rules of its own: at a place of k pipes and a head
// or none, sockets for k pipes and an outlet for the head must be there.
func TestRandomNetworks(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	for range 200 {
		d := randomTree(rng)
		list, err := takeoff.Of(d, takeoff.Settings{})
		require.NoError(t, err)
		n := make(map[takeoff.Item]int)
		for _, l := range list.Lines {
			n[l.Item] += int(l.Quantity / 1000)
		}
		// Every fitting joins as many ends of pipe as it has sockets; pieces and
		// parts of pieces have two ends each, and a run of the tees' own that are
		// set one upon the other takes none of ours. Each end must have a socket.
		ends := 2 * len(list.Pieces)
		for _, p := range list.Pieces {
			ends += 2 * int((p.MM-1)/6096)
		}
		sockets := 2*n[takeoff.Coupling] + 2*n[takeoff.Elbow90] + 2*n[takeoff.Elbow45] + 3*n[takeoff.Tee] +
			2*n[takeoff.ThreadedTee] + n[takeoff.ThreadedElbow] + n[takeoff.MaleAdapter] + n[takeoff.Cap]
		between := sockets - ends // two for each short piece between fittings at one place
		require.GreaterOrEqual(t, between, 0)
		require.Zero(t, between%2, "sockets and ends of pipe come in pairs")
		require.Equal(t, len(d.Heads), n[takeoff.Head])
		require.Equal(t, len(d.Heads), n[takeoff.ThreadedTee]+n[takeoff.ThreadedElbow])
		checkCuts(t, list)
	}
}

// checkCuts judges the cut list by separate code: every piece is cut once, and
// no stick is overdrawn.
func checkCuts(t *testing.T, list takeoff.List) {
	t.Helper()
	want, got := make(map[string]int64), make(map[string]int64)
	for _, p := range list.Pieces {
		want[p.Label] += p.MM
	}
	for _, c := range list.Cuts {
		sum := int64(0)
		for _, s := range c.Sticks {
			used := int64(len(s.Pieces)-1) * 3
			for _, p := range s.Pieces {
				used += p.MM
				label, _, _ := strings.Cut(p.Label, " part ")
				got[label] += p.MM
				require.Equal(t, c.Size, p.Size)
			}
			require.LessOrEqual(t, used, s.MM)
			sum += s.MM
		}
		require.Equal(t, c.StickMM, sum)
		require.LessOrEqual(t, c.BoundMM, sum)
	}
	require.Equal(t, want, got)
}

// randomTree joins heads and the point of connection on a lattice of 2 m.
func randomTree(rng *rand.Rand) *layout.Design {
	d := &layout.Design{LotID: "random", HeadKind: layout.VariableThrow}
	places := []geom.Point{m(0, 0)}
	labels := []string{"POC"}
	for i := range 1 + rng.IntN(12) {
		at := m(2*float64(rng.IntN(12)), 2*float64(rng.IntN(12)))
		if slices.Contains(places, at) {
			continue
		}
		from := rng.IntN(len(places))
		label := fmt.Sprintf("T%d", i+1)
		if rng.IntN(3) > 0 {
			label = fmt.Sprintf("H%d", i+1)
			d.Heads = append(d.Heads, head(label, at))
		}
		path := geom.Line{places[from], geom.Pt(at.X, places[from].Y), at}
		d.Network.Pipes = append(d.Network.Pipes, pipe(fmt.Sprintf("P%d", len(d.Network.Pipes)+1), labels[from], label, "1 in", slices.Compact(path)...))
		places, labels = append(places, at), append(labels, label)
	}
	if len(d.Heads) == 0 {
		d.Heads = append(d.Heads, head("H99", m(0, 0)))
		d.Network.Pipes = []layout.PipeRun{pipe("P1", "POC", "H99", "1 in", m(0, 0), m(0, 0))}
	}
	return withTrench(d)
}
