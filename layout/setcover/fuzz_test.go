package setcover_test

import (
	"bytes"
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout/setcover"
)

// problemFrom makes any bytes a problem of at most twelve columns and forty
// rows: three numbers for size and Spare, then for each row its weight, its
// demand and the columns that cover it.
func problemFrom(data []byte) setcover.Problem {
	next := func() int {
		if len(data) == 0 {
			return 0
		}
		v := data[0]
		data = data[1:]
		return int(v)
	}
	p := setcover.Problem{Columns: make([][]int32, next()%13), Weights: []int64{}}
	rows, spare := next()%41, next()
	several := next()%2 == 1
	total := int64(0)
	for r := range rows {
		p.Weights = append(p.Weights, int64(1+next()))
		total += p.Weights[r]
		by := next() | next()<<8
		if several {
			p.Demand = append(p.Demand, int32(1+by>>12%4))
		}
		for c := range p.Columns {
			if by>>c&1 == 1 {
				p.Columns[c] = append(p.Columns[c], int32(r))
			}
		}
	}
	p.Spare = total * int64(spare) / 512
	return p
}

func addSeeds(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte{3, 2, 0, 0, 1, 3, 0, 1, 6, 0})
	f.Add([]byte{12, 5, 40, 1, 9, 0xff, 0x1f, 1, 0x0f, 0x2a, 200, 0xf0, 0x0f, 3, 0x33, 0x33, 4, 0x55, 0x05})
	f.Add([]byte{5, 5, 0, 1, 1, 3, 16, 1, 6, 16, 1, 12, 16, 1, 24, 16, 1, 17, 16})
}

// FuzzSolve: whatever the problem, what is chosen is valid by separate code, the
// bound holds against trying everything, and the same comes out again.
func FuzzSolve(f *testing.F) {
	addSeeds(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		p := problemFrom(data)
		s := setcover.Settings{Moves: 300, Nodes: 100}
		r, err := setcover.Solve(context.Background(), p, s)
		require.NoError(t, err)
		again, err := setcover.Solve(context.Background(), p, s)
		require.NoError(t, err)
		require.Equal(t, r, again)
		best, ok := enumerateBySets(withDemand(p))
		require.Equal(t, ok, r.Status != setcover.Infeasible)
		if !ok {
			return
		}
		require.LessOrEqual(t, uncoveredBySets(p, r.Chosen), p.Spare)
		require.Len(t, slices.Compact(slices.Sorted(slices.Values(r.Chosen))), len(r.Chosen), "chosen once each")
		require.LessOrEqual(t, best, len(r.Chosen))
		require.LessOrEqual(t, r.Bound, best)
		require.Equal(t, r.Status == setcover.Optimal, r.Bound == len(r.Chosen))
	})
}

// withDemand is p with its demands written out.
func withDemand(p setcover.Problem) setcover.Problem {
	if p.Demand == nil {
		p.Demand = slices.Repeat([]int32{1}, len(p.Weights))
	}
	return p
}

// FuzzWriteLP: the problem can be read back from what is written, and no line is
// too long for other readers.
func FuzzWriteLP(f *testing.F) {
	addSeeds(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		p := problemFrom(data)
		var b bytes.Buffer
		require.NoError(t, setcover.WriteLP(&b, p))
		for line := range strings.Lines(b.String()) {
			assert.Less(t, len(line), 255)
		}
		assert.Equal(t, withDemand(p), readLP(t, b.String(), len(p.Weights), len(p.Columns)))
	})
}

// readLP reads back what WriteLP writes.
func readLP(t *testing.T, text string, rows, columns int) setcover.Problem {
	t.Helper()
	p := setcover.Problem{Columns: make([][]int32, columns), Weights: make([]int64, rows)}
	_, text, _ = strings.Cut(text, "Subject To\n")
	text, _, _ = strings.Cut(text, "Binary\n")
	text = strings.ReplaceAll(text, "\n  ", "")
	for line := range strings.Lines(text) {
		name, rest, found := strings.Cut(strings.TrimSpace(line), ":")
		require.True(t, found, line)
		fields := strings.Fields(rest)
		if name == "spare" {
			readTerms(t, fields, func(factor int64, _ byte, r int) { p.Weights[r] = factor })
			scan(t, fields[len(fields)-1], "%d", &p.Spare)
			continue
		}
		var need, row int32
		scan(t, fields[len(fields)-1], "%d", &need)
		scan(t, name, "row%d", &row)
		require.Len(t, p.Demand, int(row))
		p.Demand = append(p.Demand, need)
		readTerms(t, fields, func(factor int64, kind byte, index int) {
			if kind == 'x' {
				p.Columns[index] = append(p.Columns[index], row)
				return
			}
			require.EqualValues(t, need, factor, "as much as the row demands")
			require.EqualValues(t, row, index)
		})
	}
	return withDemand(p)
}

// readTerms calls f for every "+ factor name" or "+ name" before the relation.
func readTerms(t *testing.T, fields []string, f func(factor int64, kind byte, index int)) {
	for i := 0; i+2 < len(fields); {
		require.Equal(t, "+", fields[i])
		i++
		factor := int64(1)
		if fields[i][0] != 'x' && fields[i][0] != 'u' {
			scan(t, fields[i], "%d", &factor)
			i++
		}
		var index int
		scan(t, fields[i][1:], "%d", &index)
		f(factor, fields[i][0], index)
		i++
	}
}

func scan(t *testing.T, text, form string, into any) {
	t.Helper()
	_, err := fmt.Sscanf(text, form, into)
	require.NoError(t, err, text)
}
