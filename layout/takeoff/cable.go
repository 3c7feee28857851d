package takeoff

import "lotwright/layout"

// cable lists the control cable of heads with valves of their own: from the
// controller to the point of connection and along every pipe, with a joint at
// every head and wherever pipes branch.
func (j *job) cable() {
	if len(j.d.Network.Pipes) == 0 {
		return
	}
	for _, p := range j.d.Network.Pipes {
		j.t.add(ControlCable, "", j.withSpare(p.Length), p.Label)
	}
	for _, n := range nodesOf(j.d) {
		switch {
		case len(n.heads) > 0:
			for _, h := range n.heads {
				j.splice(ControlCable, "", h, 1)
			}
		case len(n.arms) > 2 || n.label == layout.POCLabel && len(n.arms) > 1:
			j.splice(ControlCable, "", n.label, 1)
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
