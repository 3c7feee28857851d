package design_test

import (
	"context"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/design"
)

// TestDoubtsCloseTheGap: on a surveyed lot the first proof that all of the lawn
// takes seven heads ends one short. With weight where six leave it dry it goes
// through.
func TestDoubtsCloseTheGap(t *testing.T) {
	lots := allSurveyedLots(t)
	lot := lots[slices.IndexFunc(lots, func(l *layout.Lot) bool { return l.ID == "A-064" })]
	s := gauged(55)
	s.CoverageTarget, s.Effort = 1, design.ThoroughEffort()
	with, err := design.Run(context.Background(), lot, s)
	require.NoError(t, err)
	assert.Len(t, with.Heads, 7)
	assert.Equal(t, layout.ProofContinuous, with.Proof.Kind)
	assert.Equal(t, 7, with.Proof.Bound)

	s.Effort.Doubts = 0
	without, err := design.Run(context.Background(), lot, s)
	require.NoError(t, err)
	assert.Len(t, without.Heads, 7)
	assert.Equal(t, 6, without.Proof.Bound, "the first proof would do")
}
