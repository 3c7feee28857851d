package layout

import "lotwright/layout/geom"

// Status is what became of a lot.
type Status string

// The statuses of contract 5.
const (
	StatusDesigned   Status = "designed"   // target met
	StatusInfeasible Status = "infeasible" // no design can meet the target; the best found is attached where there is one
	StatusInvalid    Status = "invalid"    // the input was refused
	StatusFailed     Status = "failed"     // a fault of the program or the machine
)

// ProofKind is how strong the lower bound on the number of heads is.
type ProofKind string

// The proofs of contract 4.7.
const (
	ProofContinuous ProofKind = "continuous" // no placement of fewer heads anywhere reaches the target
	ProofDiscrete   ProofKind = "discrete"   // no choice of fewer among the stated candidates
	ProofNone       ProofKind = "none"
)

// Proof is the lower bound on the number of heads and what it rests on.
type Proof struct {
	Kind             ProofKind
	Bound            int    // no fewer heads than this, under the terms of Kind
	Throw            Length // of heads that throw no farther than this
	CandidateSpacing Length // of the candidates the bound speaks of (discrete)
	WitnessSpacing   Length // of the points standing for the lawn (discrete)
}

// Head is one placed head.
type Head struct {
	Label    string // "H1", ...
	At       geom.Point
	Kind     HeadKind
	Model    string
	Family   string // of a fixed-arc head
	Throw    Length
	ArcStart float64 // degrees clockwise from north; 0 with a sweep of 360 for all round
	ArcSweep float64 // degrees
	Pressure Pressure
	Flow     Flow
	Zone     int    // from 1
	Pipe     string // label of the pipe run that ends at it
	Pinned   bool   // came with the input and was kept

	// Wetted is what the head reaches, as an outline whose arcs are drawn
	// with a sagitta of at most [WettedSagittaMM], in millimetres.
	Wetted     []geom.Vec
	WettedArea float64 // m², exact

	// Overspray is what it wets outside the lawn, and OversprayArea its area in m².
	Overspray     geom.Region
	OversprayArea float64
}

// WettedSagittaMM is the largest gap between an arc and its drawn chords (contract 5).
const WettedSagittaMM = 5

// Surface is what a trench run is dug through.
type Surface string

// The surfaces of contract 5.
const (
	SurfaceSoil   Surface = "soil"
	SurfacePaving Surface = "paving"
	SurfaceSleeve Surface = "sleeve"
)

// TrenchRun is a piece of trench in one surface between two named ends
// (the point of connection "POC", heads "H1"…, junctions "T1"…). A stretch
// that changes surface on the way is several runs with the same ends.
type TrenchRun struct {
	From, To string
	Surface  Surface
	Path     geom.Line
	Length   Length
	Depth    Length
}

// PipeRun is pipe of one size between two named ends.
type PipeRun struct {
	Label    string // "P1", ...
	From, To string
	Material string
	Size     string // nominal, e.g. "1 in"
	Path     geom.Line
	Length   Length
	Flow     Flow // largest flow it must carry

	Zone     int      // from 1, of a pipe that one zone alone uses; 0: all do
	Velocity float64  // m/s, at that flow
	Loss     Pressure // at that flow, fittings included
}

// CableHop is control cable along the trench from one stop to the next, the point
// of connection being the first.
type CableHop struct {
	From, To string
	Way      Length // along the trench
	Laid     Length // of the standard lengths that it takes, slack at both ends included
	Joints   int    // between them, each in a valve box
}

// Network is the trench network and the pipe in it.
type Network struct {
	POC        geom.Point
	POCAssumed bool

	Runs  []TrenchRun
	Pipes []PipeRun

	Cable []CableHop // control cable of heads with valves of their own, in the order it passes them

	TrenchLength         Length // dug once, however many lines share it
	SpanningTreeLength   Length // of the minimum spanning tree over least-cost paths
	PavingCrossings      int
	PavingCrossingLength Length
	PipeLength           Length

	// Unreached lists the heads no trench can get to, with the reason.
	Unreached []Note
}

// Design is everything worked out for one lot.
type Design struct {
	LotID  string
	Plane  Plane // of the lot; nil only when the input had no usable place
	Status Status
	Reason string // in words; empty when designed

	HeadKind       HeadKind
	Heads          []Head
	Proof          Proof
	Certificate    *Certificate // of a continuous proof of more than one head
	Coverage       float64      // area reached ÷ area of P, exact
	CoverageTarget float64
	Margin         float64 // share of the throw that may be lost with the target still met
	MarginCoverage float64 // exact coverage with the throw less the margin
	ThrowSlack     Length  // throw that may be lost before these heads miss the target
	Throw          Length
	Pressure       Pressure // at the heads
	HeadFlow       Flow     // of one head
	Regulated      bool     // supply above the rated band: a regulator is listed

	ParcelArea    float64     // m²
	Irrigated     geom.Region // P of contract 4.2
	Narrow        geom.Region // lost to the opening
	Dry           geom.Region // of P, reached by no head
	IrrigatedArea float64     // m²
	NarrowArea    float64     // m²
	DryArea       float64     // m², exact
	OversprayArea float64     // m²

	Uniformity *Uniformity   // of fixed-arc heads; nil where it was not worked out
	Areas      []WateredArea // where families are mixed, those of each
	HeadChoice string        // why these heads and no others, in words; empty where there was no choice

	Network Network
	Water   *Water // nil where no pipe was reckoned
	Notes   []Note

	// Effort counts the work done, for comparison between machines.
	Effort Effort
}

// WateredArea is the part of a lawn that heads of one family water, where a
// design mixes families. Heads of different families never run together.
type WateredArea struct {
	Label  string // "A1", ...
	Family string
	Why    string // its family is used here, in words
	Region geom.Region
	Area   float64 // m²
	Heads  int

	Runs         float64 // how long its heads run, against those of the first area
	Coverage     float64 // as a share of it, by heads of any family
	DULowQuarter float64 // of the water that all families lay down on it
	Target       float64 // least DULowQuarter asked of it: its family's
}

// Uniformity tells how evenly fixed-arc heads water the lawn, on a grid of
// 0.25 m (contract 4.11): all running equally long or, where families are mixed,
// each family in inverse proportion to its precipitation rate.
type Uniformity struct {
	Target                 float64 // least DULowQuarter asked for
	DULowQuarter           float64 // mean of the driest quarter over the mean
	CU                     float64 // Christiansen's coefficient, as a share
	SchedulingCoefficient  float64 // mean over the driest cell; infinite when that gets nothing
	PrecipitationMMPerHour float64 // what lands on the lawn, over the lawn
	HeadToHead             float64 // share of the lawn that two or more heads reach
}

// Effort counts work in units that do not depend on the machine.
type Effort struct {
	Candidates, Witnesses int
	GreedyHeads           int // what the plain greedy choice would have needed
	Moves                 int // local search
	Pivots                int // linear programming
	Nodes                 int // branch and bound
	Boxes                 int // of the continuous proof
}

// Refused returns the design of a lot whose input was not usable.
func Refused(id, reason string, notes []Note) *Design {
	return &Design{LotID: id, Status: StatusInvalid, Reason: reason, Notes: notes, Proof: Proof{Kind: ProofNone}}
}
