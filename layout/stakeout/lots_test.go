package stakeout_test

import (
	"context"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer/assemble"
	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/stakeout"
)

func surveyedLots(t *testing.T) []*layout.Lot {
	batch, err := assemble.Open(context.Background(),
		[]assemble.Input{{Path: "../../testdata/reference/lots_A.geojson"}}, assemble.Options{})
	require.NoError(t, err)
	defer batch.Close()
	var lots []*layout.Lot
	for i := range batch.Len() {
		item := batch.Lot(i)
		require.NotNil(t, item.Lot)
		lots = append(lots, item.Lot)
	}
	return lots
}

// On surveyed lots every place that can be staked is, by tapes that lead back to
// it, and nothing hangs on the order of the input.
func TestSurveyedLots(t *testing.T) {
	rows, later, missed, references, separate := 0, 0, 0, 0, 0
	worst := layout.Length(0)
	for i, lot := range surveyedLots(t) {
		rng := rand.New(rand.NewPCG(uint64(i), 13))
		sees, err := stakeout.Past(geom.Union(lot.Building, lot.Wall))
		require.NoError(t, err)
		s := stakeout.Settings{Sees: sees, Graduation: stakeout.Graduation(i % 2)}
		corners := stakeout.References(lot.Building, lot.Parcel)
		targets := scattered(rng, lot.Parcel, lot.Building, 25)
		r := table(t, targets, corners, s)
		checkTable(t, targets, corners, s, r)
		rows, missed, references = rows+len(r.Rows), missed+len(r.Missed), references+len(r.References)
		for _, row := range r.Rows {
			if row.Round > 1 {
				later++
			}
		}
		separate += len(eachItsBest(t, targets, corners, s))
		worst = max(worst, r.WorstError)

		rng.Shuffle(len(targets), func(i, j int) { targets[i], targets[j] = targets[j], targets[i] })
		rng.Shuffle(len(corners), func(i, j int) { corners[i], corners[j] = corners[j], corners[i] })
		require.Equal(t, r, table(t, targets, corners, s), lot.ID)
	}
	t.Logf("%d targets staked, %d of them with the help of stakes, %d missed, by %d references; %d if each took its best; worst error %.3f m",
		rows, later, missed, references, separate, worst)
	assert.Less(t, references, separate)
	assert.Less(t, later, rows/15)
	assert.Less(t, missed, rows/100)
}

// eachItsBest names the references used when every target is staked by itself.
func eachItsBest(t *testing.T, targets, references []stakeout.Named, s stakeout.Settings) map[string]bool {
	used := make(map[string]bool)
	for i := range targets {
		for _, n := range table(t, targets[i:i+1], references, s).References {
			used[n.Name] = true
		}
	}
	return used
}
