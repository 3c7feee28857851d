package takeoff

import "lotwright/layout"

// cable lists the control cable of heads with valves of their own, in the standard
// lengths that the chain from stop to stop takes: a joint at the point of
// connection and at every head, and between two lengths one in a box of its own.
func (j *job) cable() {
	hops := j.d.Network.Cable
	if len(hops) == 0 {
		return
	}
	j.t.count(WireJoint, "", 1, layout.POCLabel)
	for _, h := range hops {
		j.t.add(ControlCable, "", quantityOf(h.Laid.Metres()), h.From, h.To)
		j.t.count(WireJoint, "", 1+h.Joints, h.To)
		if h.Joints > 0 {
			j.t.count(ValveBox, "", h.Joints, h.To)
		}
	}
	j.fromController(ControlCable, "", 1)
}

// wire lists single wires from the controller to the zone valves: one a valve, a
// common one and spares; at each valve two joints, and the loop left there.
func (j *job) wire() {
	zones := zonesOf(j.d)
	if len(zones) == 0 {
		return
	}
	gauge := j.gauge()
	for _, z := range zones {
		j.splice(ControlWire, gauge, zoneLabel(z), 2)
		j.t.add(ControlWire, gauge, quantityOf(2*loopAtValve.Metres()), zoneLabel(z))
	}
	j.fromController(ControlWire, gauge, len(zones)+1+j.s.SpareWires)
}

// gauge is that of the wires to the valves, all at the point of connection.
func (j *job) gauge() string {
	if j.s.Wire == nil {
		return ""
	}
	gauge, ok := j.s.Wire(j.s.ControllerRun)
	if !ok {
		j.notes = append(j.notes, layout.Note{Rule: "takeoff.wire_too_long", Severity: layout.SeverityWarning,
			Text: "no gauge of wire carries the valves' current " + j.s.ControllerRun.String() + " far: move the controller or use valves that take less"})
	}
	return gauge
}

// loopAtValve is left on every wire at a valve: 10 in (Indian River County,
// document 9639).
const loopAtValve = 10 * layout.MetresPerInch * layout.Length(1)

func (j *job) fromController(item Item, size string, n int) {
	for range n {
		j.t.add(item, size, j.withSpare(j.s.ControllerRun), layout.POCLabel)
	}
	j.t.add(item, size, 0).Note = "with " + j.s.ControllerRun.String() + " from the controller to the point of connection"
}

// splice lists joints and the slack at them.
func (j *job) splice(item Item, size, label string, n int) {
	j.t.count(WireJoint, "", n, label)
	j.t.add(item, size, quantityOf(float64(n)*j.s.JointSlack.Metres()), label)
}

func (j *job) withSpare(l layout.Length) Quantity {
	return quantityOf(l.Metres() * (1 + j.s.CableSpare))
}
