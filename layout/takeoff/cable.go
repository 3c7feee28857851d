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
				j.splice(ControlCable, h, 1)
			}
		case len(n.arms) > 2 || n.label == layout.POCLabel && len(n.arms) > 1:
			j.splice(ControlCable, n.label, 1)
		}
	}
	j.fromController(ControlCable, 1)
}

// wire lists single wires from the controller to the zone valves: one a valve, a
// common one and spares; at each valve two joints, and the loop left there.
func (j *job) wire() {
	zones := zonesOf(j.d)
	if len(zones) == 0 {
		return
	}
	for _, z := range zones {
		j.splice(ControlWire, zoneLabel(z), 2)
		j.t.add(ControlWire, "", quantityOf(2*loopAtValve.Metres()), zoneLabel(z))
	}
	j.fromController(ControlWire, len(zones)+1+j.s.SpareWires)
}

// loopAtValve is left on every wire at a valve: 10 in (Indian River County,
// document 9639).
const loopAtValve = 10 * layout.MetresPerInch * layout.Length(1)

func (j *job) fromController(item Item, n int) {
	for range n {
		j.t.add(item, "", j.withSpare(j.s.ControllerRun), layout.POCLabel)
	}
	j.t.add(item, "", 0).Note = "with " + j.s.ControllerRun.String() + " from the controller to the point of connection"
}

// splice lists joints and the slack at them.
func (j *job) splice(item Item, label string, n int) {
	j.t.count(WireJoint, "", n, label)
	j.t.add(item, "", quantityOf(float64(n)*j.s.JointSlack.Metres()), label)
}

func (j *job) withSpare(l layout.Length) Quantity {
	return quantityOf(l.Metres() * (1 + j.s.CableSpare))
}
