package setcover_test

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/setcover"
)

func TestWriteLP(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, setcover.WriteLP(&b, setcover.Problem{
		Columns: [][]int32{{0, 1}, {1}, {}}, Weights: []int64{5, 1, 7}, Spare: 7}))
	assert.Equal(t, `Minimize
 columns: + x0 + x1 + x2
Subject To
 row0: + x0 + u0 >= 1
 row1: + x0 + x1 + u1 >= 1
 row2: + u2 >= 1
 spare: + 5 u0 + u1 + 7 u2 <= 7
Binary
 x0
 x1
 x2
 u0
 u1
 u2
End
`, b.String())
	b.Reset()
	require.NoError(t, setcover.WriteLP(&b, setcover.Problem{
		Columns: [][]int32{{0, 1}, {0}}, Weights: []int64{5, 1}, Demand: []int32{2, 3}, Spare: 2}))
	assert.Equal(t, `Minimize
 columns: + x0 + x1
Subject To
 row0: + x0 + x1 + 2 u0 >= 2
 row1: + x0 + 3 u1 >= 3
 spare: + 5 u0 + u1 <= 2
Binary
 x0
 x1
 u0
 u1
End
`, b.String())
	assert.Error(t, setcover.WriteLP(&b, setcover.Problem{Spare: -1}))
}
