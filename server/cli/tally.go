package cli

import (
	"fmt"
	"io"
	"strings"

	"lotwright/layout"
	"lotwright/layout/takeoff"
)

// tally sums up designs without keeping them.
type tally struct {
	lots     int
	byStatus map[layout.Status]int

	// Of the designed lots only.
	heads, bound, greedy  int
	proofs                map[layout.ProofKind]int // lots by strength of their bound
	fewest                int                      // lots whose number of heads equals a proved bound
	coverage              float64                  // sum
	leastCoverage         float64
	leastCovered          string  // the lot it was
	irrigated             float64 // m²
	trench, tree, crossed layout.Length
	pipe                  layout.Length
	leastSlack            layout.Length // of throw, of any lot with variable-throw heads
	cost                  takeoff.Sums  // where the lots were priced
	crossings             int
	regulated, assumed    int
}

func newTally() *tally {
	return &tally{byStatus: map[layout.Status]int{}, proofs: map[layout.ProofKind]int{}}
}

// add counts one design.
func (t *tally) add(d *layout.Design) {
	t.lots++
	t.byStatus[d.Status]++
	if d.Status != layout.StatusDesigned {
		return
	}
	t.heads += len(d.Heads)
	t.bound += d.Proof.Bound
	t.greedy += d.Effort.GreedyHeads
	t.proofs[d.Proof.Kind]++
	if d.Proof.Kind != layout.ProofNone && d.Proof.Bound == len(d.Heads) {
		t.fewest++
	}
	t.coverage += d.Coverage
	if t.designed() == 1 || d.Coverage < t.leastCoverage {
		t.leastCoverage, t.leastCovered = d.Coverage, d.LotID
	}
	t.irrigated += d.IrrigatedArea
	if d.HeadKind == layout.VariableThrow && len(d.Heads) > 0 && (t.leastSlack == 0 || d.ThrowSlack < t.leastSlack) {
		t.leastSlack = d.ThrowSlack
	}
	t.addNetwork(d.Network)
	t.regulated += one(d.Regulated)
}

func (t *tally) addNetwork(n layout.Network) {
	t.trench += n.TrenchLength
	t.pipe += n.PipeLength
	t.tree += n.SpanningTreeLength
	t.crossed += n.PavingCrossingLength
	t.crossings += n.PavingCrossings
	t.assumed += one(n.POCAssumed)
}

// addBill counts what a designed lot costs.
func (t *tally) addBill(b takeoff.Bill) {
	t.cost.Parts += b.Parts
	t.cost.LabourHours += b.LabourHours
	t.cost.Labour += b.Labour
}

func one(b bool) int {
	if b {
		return 1
	}
	return 0
}

func (t *tally) designed() int { return t.byStatus[layout.StatusDesigned] }

// headsPerLot is 0 when no lot is designed.
func (t *tally) headsPerLot() float64 { return per(float64(t.heads), t.designed()) }

func per(sum float64, n int) float64 {
	if n == 0 {
		return 0
	}
	return sum / float64(n)
}

// write prints the summary of a run.
func (t *tally) write(w io.Writer) {
	g := &grid{left: map[int]bool{2: true}}
	g.add("Lots", fmt.Sprint(t.lots), "")
	for _, s := range []layout.Status{layout.StatusDesigned, layout.StatusInfeasible, layout.StatusInvalid, layout.StatusFailed} {
		if t.byStatus[s] > 0 {
			g.add("  "+string(s), fmt.Sprint(t.byStatus[s]), "")
		}
	}
	if t.designed() > 0 {
		t.writeDesigned(g)
	}
	g.write(w)
}

func (t *tally) writeDesigned(g *grid) {
	g.add("Heads", fmt.Sprint(t.heads), fmt.Sprintf("%.2f a lot", t.headsPerLot()))
	g.add("  lower bound", fmt.Sprint(t.bound), fmt.Sprintf("proved fewest on %d of %s; proofs: %s", t.fewest, plural(t.designed(), "lot"), t.proofCounts()))
	g.add("  greedy choice", fmt.Sprint(t.greedy), fmt.Sprintf("what choosing head by head would have taken: %+d", t.greedy-t.heads))
	g.add("Coverage", percent(per(t.coverage, t.designed())), fmt.Sprintf("mean; least %s on lot %s", percent(t.leastCoverage), oneLine(t.leastCovered)))
	g.add("Irrigated", fmt.Sprintf("%.0f m²", t.irrigated), fmt.Sprintf("%.0f ft²", t.irrigated/(layout.MetresPerFoot*layout.MetresPerFoot)))
	if t.pipe > 0 {
		g.add("Pipe", fmt.Sprintf("%.1f m", t.pipe.Metres()), fmt.Sprintf("%.0f ft", t.pipe.Feet()))
	}
	g.add("Trench", fmt.Sprintf("%.1f m", t.trench.Metres()), fmt.Sprintf("%.0f ft; spanning tree %.1f m, %.0f ft", t.trench.Feet(), t.tree.Metres(), t.tree.Feet()))
	g.add("Paving crossings", fmt.Sprint(t.crossings), fmt.Sprintf("%.1f m, %.0f ft under paving", t.crossed.Metres(), t.crossed.Feet()))
	if t.assumed > 0 {
		g.add("Assumed taps", fmt.Sprint(t.assumed), "lots without a source point: the point of connection is assumed, see the notes")
	}
	if t.regulated > 0 {
		g.add("Regulators", fmt.Sprint(t.regulated), "lots whose pressure is above the rated band of the head")
	}
}

// proofCounts says how many lots have a proof of which strength.
func (t *tally) proofCounts() string {
	var counts []string
	for _, kind := range []layout.ProofKind{layout.ProofContinuous, layout.ProofDiscrete, layout.ProofNone} {
		if n := t.proofs[kind]; n > 0 {
			counts = append(counts, fmt.Sprintf("%d %s", n, kind))
		}
	}
	return strings.Join(counts, ", ")
}

func percent(share float64) string { return fmt.Sprintf("%.2f %%", 100*share) }
