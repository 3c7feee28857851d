package drawing_test

import (
	"bytes"
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/drawing"
	"lotwright/layout/geom"
)

// fullDisk fails to write.
type fullDisk struct{}

var errFull = errors.New("disk full")

func (fullDisk) Write([]byte) (int, error) { return 0, errFull }

func TestWriteErrorsAreReturned(t *testing.T) {
	d := layout.Refused("1", "no parcel", nil)
	assert.ErrorIs(t, drawing.Plan(fullDisk{}, nil, d), errFull)
	assert.ErrorIs(t, drawing.ContactSheet(fullDisk{}, "", nil), errFull)
	assert.ErrorIs(t, drawing.ScenarioChart(fullDisk{}, drawing.Chart{}), errFull)
}

func TestPlanNeedsADesign(t *testing.T) {
	var b bytes.Buffer
	require.Error(t, drawing.Plan(&b, &layout.Lot{}, nil))
	assert.Zero(t, b.Len())
}

func TestPlanOfAPlainLot(t *testing.T) {
	square := geom.Region{{{geom.Pt(0, 0), geom.Pt(9000, 0), geom.Pt(9000, 9000), geom.Pt(0, 9000)}}}
	lot := &layout.Lot{ID: "7", Parcel: square}
	d := &layout.Design{LotID: "7", Status: layout.StatusDesigned, Irrigated: square, Coverage: 1, CoverageTarget: 0.97,
		Heads: []layout.Head{{Label: "H1", At: geom.Pt(4500, 4500), Kind: layout.VariableThrow, Throw: layout.Feet(30)}},
		Proof: layout.Proof{Kind: layout.ProofContinuous, Bound: 1}}
	var b bytes.Buffer
	require.NoError(t, drawing.Plan(&b, lot, d))
	assert.Contains(t, b.String(), "<title>Sprinkler plan of lot 7</title>")
	assert.Contains(t, b.String(), "1 head; no fewer than 1 possible (continuous proof). Coverage 100.0 % of a target of 97.0 %.")
}
