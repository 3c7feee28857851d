package layout_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"lotwright/layout"
)

func TestLabelsInNaturalOrder(t *testing.T) {
	want := []string{"", "7", "B1", "H", "H001", "H01", "H1", "H2", "H2a", "H2b1", "H10", "H10.2", "H10.10", "T1", "é"}
	rng := rand.New(rand.NewPCG(1, 2))
	for range 20 {
		got := slices.Clone(want)
		rng.Shuffle(len(got), func(i, j int) { got[i], got[j] = got[j], got[i] })
		slices.SortFunc(got, layout.CompareLabels)
		assert.Equal(t, want, got)
	}
}
