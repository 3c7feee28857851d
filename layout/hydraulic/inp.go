package hydraulic

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// INP writes a network as an input file of EPANET (2.2 and later), in litres a
// second and metres, for the state it was solved to. What EPANET finds is then
// what [Solve] found:
//
//   - The source is a reservoir at its height and a pump whose curve goes through
//     three points of the supply's. EPANET puts a power law through three points,
//     and that is what a supply curve is; so nothing is rounded. A source that
//     holds its pressure is a reservoir as high, without what is drawn right there.
//   - A pipe is a pipe, with the equivalent length of its fittings in its length.
//   - A loss by the square of the flow is a throttle control valve with the loss
//     coefficient of a 25 mm bore; a loss curve is a general purpose valve, which
//     EPANET takes in straight lines too; a regulator is a pressure reducing valve.
//   - An emitter has the coefficient that gives its flow at its pressure in
//     the state. EPANET has one exponent for all: that of the first
//     [PowerEmitter], or a half. One at its greatest flow is a demand.
//
// Darcy–Weisbach files agree less closely: EPANET uses Swamee and Jain's factor.
// EPANET refuses two regulators with nothing between them.
// Labels become the letters, digits, dashes, points and underscores that EPANET
// takes, up to 31, numbered where two would be alike.
func INP(title string, n Network, r Result) ([]byte, error) {
	t, err := newTree(&n)
	if err != nil {
		return nil, err
	}
	if len(r.Nodes) != len(n.Nodes) || len(r.Links) != len(n.Links) || r.Status == NotSettled {
		return nil, fmt.Errorf("the state is not one of this network")
	}
	w := inp{tree: t, net: &n, state: r, nodes: identify(n.nodeLabels()), links: identify(n.linkLabels()), direct: n.direct()}
	w.table("TITLE", plainTitle(title))
	w.junctions()
	w.connections()
	w.emitters()
	w.table("CURVES", w.curves...)
	w.options()
	w.places()
	w.text.WriteString("[END]\n")
	return []byte(w.text.String()), nil
}

type inp struct {
	*tree
	net          *Network
	state        Result
	nodes, links []string // names, by node and link
	direct       bool     // the first node is the reservoir itself
	text         strings.Builder
	curves       []string
}

// direct reports whether the source holds its pressure and no regulator stands
// right behind it: EPANET wants none at a reservoir.
func (n *Network) direct() bool {
	for _, l := range n.Links {
		if _, ok := l.Element.(Regulator); ok && l.From == 0 {
			return false
		}
	}
	return !n.Source.tested()
}

// table writes a section.
func (w *inp) table(name string, rows ...string) {
	if len(rows) == 0 {
		return
	}
	fmt.Fprintf(&w.text, "[%s]\n%s\n\n", name, strings.Join(rows, "\n"))
}

func row(cells ...any) string {
	var out []string
	for _, c := range cells {
		switch c := c.(type) {
		case float64:
			out = append(out, strconv.FormatFloat(c, 'g', -1, 64))
		default:
			out = append(out, fmt.Sprint(c))
		}
	}
	return strings.Join(out, "\t")
}

func litresPerSecond(q layout.Flow) float64 { return q.LPM() / 60 }

// Names of the source's own parts. A colon keeps them apart from labels.
const (
	inpReservoir = "source:reservoir"
	inpSupply    = "source:supply"
)

// junctions writes nodes and the reservoir.
func (w *inp) junctions() {
	var rows []string
	for i, v := range w.net.Nodes {
		if i > 0 || !w.direct {
			rows = append(rows, row(w.nodes[i], v.Elevation.Metres(), litresPerSecond(v.Demand)+w.heldDemand(i)))
		}
	}
	w.table("JUNCTIONS", rows...)
	name, head := inpReservoir, w.net.Nodes[0].Elevation.Metres()
	if !w.net.Source.tested() {
		head += headOf(w.net.Source.Static)
	}
	if w.direct {
		name = w.nodes[0]
	}
	w.table("RESERVOIRS", row(name, head))
}

// heldDemand is the flow of an emitter at its greatest, L/s.
func (w *inp) heldDemand(i int) float64 {
	if w.held(i) {
		return w.net.Nodes[i].Emitter.most() * 1000
	}
	return 0
}

// held reports an emitter that takes its greatest flow.
func (w *inp) held(i int) bool {
	e := w.net.Nodes[i].Emitter
	return e != nil && w.drawn(i) >= e.most()
}

// drawn is what the emitter of a node takes, m³/s.
func (w *inp) drawn(i int) float64 {
	return cubicMetres(w.state.Nodes[i].Outflow - w.net.Nodes[i].Demand)
}

// A bore so wide, over so short a way, loses nothing: it joins a reservoir to
// the first node where that may not be the reservoir itself.
const (
	wideBoreMM     = 10_000
	shortWayMetres = 0.01
	smoothC        = 150
)

// boreMM is the bore that loss coefficients of valves refer to. It must
// not matter: it cancels.
const boreMM = 25

// epanetLoss is EPANET's head loss of a valve with coefficient 1, of 1 ft bore at
// 1 ft³/s, in ft: its 8/(π²g), as it rounds it.
const epanetLoss = 0.02517

// epanetLitres is EPANET's litres in a cubic foot.
const epanetLitres = 28.317

// coefficient returns the loss coefficient of a valve that loses head h, in m,
// at a flow q in L/s.
func coefficient(h, q float64) float64 {
	feet, cfs := h/layout.MetresPerFoot, q/epanetLitres
	d := boreMM / 1000.0 / layout.MetresPerFoot
	return feet * math.Pow(d, 4) / (epanetLoss * cfs * cfs)
}

// connections writes pipes, pumps and valves.
func (w *inp) connections() {
	var pipes, pumps, valves []string
	if c := w.net.Source; c.tested() {
		pumps = append(pumps, row(inpSupply, inpReservoir, w.nodes[0], "HEAD", inpSupply))
		for _, share := range []float64{0, 0.5, 1} {
			q := c.Test.Flow * layout.Flow(share)
			w.curves = append(w.curves, row(inpSupply, litresPerSecond(q), headOf(c.At(q))))
		}
	} else if !w.direct {
		pipes = append(pipes, row(inpSupply, inpReservoir, w.nodes[0], shortWayMetres, wideBoreMM, w.roughness(PipeSize{C: smoothC}), 0, "Open"))
	}
	for i, l := range w.net.Links {
		id, from, to := w.links[i], w.nodes[l.From], w.nodes[l.To]
		switch e := l.Element.(type) {
		case Pipe:
			pipes = append(pipes, row(id, from, to, max(e.equivalent(w.net).Metres(), leastPipe), e.Size.Inside.Metres()*1000, w.roughness(e.Size), 0, "Open"))
		case SquareLoss:
			valves = append(valves, row(id, from, to, boreMM, "TCV", throttle(e), 0))
		case LossCurve:
			valves = append(valves, row(id, from, to, boreMM, "GPV", id, 0))
			w.curves = append(w.curves, row(id, 0, headOf(e.Offset)))
			for _, p := range e.Points {
				w.curves = append(w.curves, row(id, litresPerSecond(p.Flow), headOf(p.Loss)))
			}
		case Regulator:
			valves = append(valves, row(id, from, to, boreMM, "PRV", headOf(e.Set), 0))
		}
	}
	w.table("PIPES", pipes...)
	w.table("PUMPS", pumps...)
	w.table("VALVES", valves...)
}

// leastPipe is the length, in m, of a pipe that has none: EPANET asks for one.
const leastPipe = 1e-6

func throttle(s SquareLoss) float64 {
	if s.Loss == 0 {
		return 0
	}
	return coefficient(headOf(s.Loss), litresPerSecond(s.At))
}

// roughness is the figure EPANET's formula wants.
func (w *inp) roughness(s PipeSize) float64 {
	switch {
	case w.net.Formula == DarcyWeisbach && s.Roughness > 0:
		return s.Roughness.Metres() * 1000
	case w.net.Formula == DarcyWeisbach:
		return DefaultRoughness.Metres() * 1000
	case s.C > 0:
		return s.C
	}
	return DefaultC
}

// exponent is that of all emitters in the file.
func (w *inp) exponent() float64 {
	for _, v := range w.net.Nodes {
		if e, ok := v.Emitter.(PowerEmitter); ok {
			return e.exponent()
		}
	}
	return DefaultEmitterExponent
}

func (w *inp) emitters() {
	var rows []string
	x := w.exponent()
	for i, v := range w.net.Nodes {
		if v.Emitter == nil || w.held(i) || i == 0 && w.direct {
			continue
		}
		q, p := w.drawn(i)*1000, headOf(w.state.Nodes[i].Pressure)
		if e, ok := v.Emitter.(PowerEmitter); ok && e.exponent() == x {
			q, p = litresPerSecond(e.Flow), headOf(e.Pressure)
		}
		if q > 0 && p > 0 {
			rows = append(rows, row(w.nodes[i], q/math.Pow(p, x)))
		}
	}
	w.table("EMITTERS", rows...)
}

func (w *inp) options() {
	formula := "H-W"
	if w.net.Formula == DarcyWeisbach {
		formula = "D-W"
	}
	w.table("OPTIONS", row("UNITS", "LPS"), row("PRESSURE", "METERS"), row("HEADLOSS", formula), row("VISCOSITY", viscosity/epanetViscosity),
		row("EMITTER EXPONENT", w.exponent()), row("TRIALS", 500), row("ACCURACY", "0.00001"),
		row("HEADERROR", "0.00000001"), row("FLOWCHANGE", "0.00000001"), row("UNBALANCED", "STOP"))
	w.table("TIMES", row("DURATION", 0))
	w.table("REPORT", row("STATUS", "NO"), row("SUMMARY", "NO"))
}

// epanetViscosity is the viscosity of water that EPANET counts by, 1.1e-5 ft²/s,
// in m²/s.
const epanetViscosity = 1.1e-5 * layout.MetresPerFoot * layout.MetresPerFoot

// places writes a map, if the nodes have places.
func (w *inp) places() {
	var rows []string
	known := false
	for i, v := range w.net.Nodes {
		known = known || v.At != geom.Point{}
		rows = append(rows, row(w.nodes[i], float64(v.At.X)/geom.MillimetresPerMetre, float64(v.At.Y)/geom.MillimetresPerMetre))
	}
	if !w.direct {
		at := w.net.Nodes[0].At
		rows = append(rows, row(inpReservoir, float64(at.X)/geom.MillimetresPerMetre-1, float64(at.Y)/geom.MillimetresPerMetre))
	}
	if known {
		w.table("COORDINATES", rows...)
	}
}

func (n *Network) nodeLabels() (out []string) {
	for _, v := range n.Nodes {
		out = append(out, v.Label)
	}
	return out
}

func (n *Network) linkLabels() (out []string) {
	for _, l := range n.Links {
		out = append(out, l.Label)
	}
	return out
}

// Limits of EPANET's input.
const (
	inpNameLength  = 31
	inpTitleLength = 70
)

// identify makes a name of each label: what EPANET takes and is like no other,
// whatever the case of its letters.
func identify(labels []string) []string {
	out := make([]string, len(labels))
	taken := make(map[string]bool)
	for i, l := range labels {
		plain := strings.Map(plainRune, l)
		plain = plain[:min(len(plain), inpNameLength)]
		name := plain
		for k := 2; name == "" || taken[strings.ToLower(name)]; k++ {
			suffix := "_" + strconv.Itoa(k)
			name = plain[:min(len(plain), inpNameLength-len(suffix))] + suffix
		}
		taken[strings.ToLower(name)] = true
		out[i] = name
	}
	return out
}

func plainRune(r rune) rune {
	switch {
	case r >= '0' && r <= '9', r >= 'A' && r <= 'Z', r >= 'a' && r <= 'z', r == '-', r == '_', r == '.':
		return r
	}
	return '_'
}

// plainTitle is a title that cannot be taken for anything else: one line of
// plain characters, not beginning with a bracket or a semicolon.
func plainTitle(s string) string {
	plain := strings.Map(func(r rune) rune {
		if r == ' ' {
			return r
		}
		return plainRune(r)
	}, s)
	return "Lotwright " + plain[:min(len(plain), inpTitleLength)]
}
