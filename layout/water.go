package layout

import "lotwright/layout/geom"

// Water is how a design runs on its supply, by an exact solution of its pipe.
type Water struct {
	// Known is set when the supply was measured. When the pressure at the heads
	// was given instead, only the pipe is reckoned, and Needed with it.
	Known bool

	// Needed is the least pressure at the point of connection, while the head
	// that is worst off runs, that gives every head its pressure.
	Needed Pressure

	Static     Pressure // all taps shut
	DesignFlow Flow     // share of the measured flow that may be used; 0: not measured

	// Budget lists where the pressure goes on the way to the head that gets the
	// least, named by BudgetHead: every loss a row (International Plumbing Code,
	// appendix E, E103.2.2).
	Budget     []LossRow
	BudgetHead string

	Zones []Zone

	PipeCost      int64   // of the sizes chosen, in hundredths of the price list
	PipeCostBound float64 // no choice costs less, even with two sizes in a pipe
	PipeSized     bool    // the sizes are the cheapest that serve; else they were given, or none would do

	EPANET []byte // network file of the zone of that head, for other programs to check
}

// LossRow is one loss on the way of the water.
type LossRow struct {
	Item  string   // "static", "supply", "backflow", "valve", "pipe", "fittings", "elevation", …
	Label string   // of the device or pipe; empty for what is neither
	Loss  Pressure // negative for a gain, such as ground that falls
	Left  Pressure // after this row and all before it
}

// Zone is the heads that run together.
type Zone struct {
	Number   int
	Heads    []string // labels
	Flow     Flow
	Pressure Pressure // of the head that gets the least
	Valve    string   // place of its valve: "POC", a tee "T1", or a head, which then carries it
	ValveAt  geom.Point
}
