package hydraulic

import "lotwright/layout"

// Status is how a solution ended.
type Status string

// The statuses.
const (
	Solved     Status = "solved"
	Short      Status = "short"       // solved, but somewhere there is no pressure
	Beyond     Status = "beyond"      // solved, but a device carries more than it is known to
	NotSettled Status = "not_settled" // the limit on steps was met first: not to be used
)

// Result is the state of a network.
type Result struct {
	Status Status
	Reason string // in words; empty when solved
	Nodes  []NodeState
	Links  []LinkState

	Steps     int     // of Newton's method
	Cuts      int     // of these, cut short by bisection
	Imbalance float64 // largest difference between the head at an emitter and what drives its flow, m
}

// NodeState is the state of a node.
type NodeState struct {
	Head     layout.Length // above the datum of the elevations
	Pressure layout.Pressure
	Outflow  layout.Flow // demand and emitter
}

// LinkState is the state of a link.
type LinkState struct {
	Flow       layout.Flow
	Velocity   Velocity // 0 in what is not a pipe
	Loss       layout.Pressure
	Regulating bool // a regulator that holds its pressure down
}
