package table

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/takeoff"
)

// lot is a head at the end of 10 m of pipe.
func lot(id string) *layout.Design {
	return &layout.Design{LotID: id, HeadKind: layout.VariableThrow,
		Heads: []layout.Head{{Label: "H1", At: geom.Pt(10_000, 0), Model: "=1+1"}},
		Network: layout.Network{
			Runs:  []layout.TrenchRun{{From: "POC", To: "H1", Surface: layout.SurfaceSoil, Length: 10, Depth: 0.25}},
			Pipes: []layout.PipeRun{{Label: "P1", From: "POC", To: "H1", Material: "PVC Sch 40", Size: "1 in", Path: geom.Line{geom.Pt(0, 0), geom.Pt(10_000, 0)}, Length: 10}},
		}}
}

// book writes a workbook of lots and reads it again.
func book(t *testing.T, ids ...string) ([]byte, *takeoff.Batch, []takeoff.StickTotal) {
	t.Helper()
	w, err := New()
	require.NoError(t, err)
	defer func() { require.NoError(t, w.Close()) }()
	var batch takeoff.Batch
	for _, id := range ids {
		list, err := takeoff.Of(lot(id), takeoff.Settings{})
		require.NoError(t, err)
		bill := takeoff.Priced(list, takeoff.InventedPrices())
		batch.Add(list, bill)
		require.NoError(t, w.Add(list, bill))
	}
	cuts, err := batch.Cut(takeoff.Settings{})
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, w.Write(&out, &batch, cuts))
	return out.Bytes(), &batch, cuts
}

func rowsOf(t *testing.T, data []byte, name string) [][]string {
	t.Helper()
	f, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{RawCellValue: true})
	require.NoError(t, err)
	defer f.Close()
	rows, err := f.GetRows(name)
	require.NoError(t, err)
	return rows
}

func TestReadAgain(t *testing.T) {
	data, batch, cuts := book(t, "A", "=cmd()", "B", "-1")
	lots := rowsOf(t, data, SheetLots)
	require.Len(t, lots, 5)
	assert.Equal(t, []string{"A", "'=cmd()", "B", "'-1"}, []string{lots[1][0], lots[2][0], lots[3][0], lots[4][0]})
	sum := 0.0
	for _, r := range lots[1:] {
		sum += number(t, r[4])
		assert.Equal(t, "1", r[5], "the backflow preventer has no price")
	}
	assert.InDelta(t, batch.Total().Units(), sum, 1e-6)

	totals := rowsOf(t, data, SheetTotals)
	assert.Equal(t, []string{"lots", "4"}, totals[0])
	assert.InDelta(t, batch.Total().Units(), number(t, totals[4][1]), 1e-9)

	// By item and size the lines add up to the totals.
	lines, quantities := rowsOf(t, data, SheetLines), make(map[string]float64)
	for _, r := range lines[1:] {
		quantities[r[1]+"|"+r[2]] += number(t, r[3])
		assert.NotEmpty(t, r[11], "what it comes from")
	}
	found := 0
	for _, l := range batch.Lines() {
		found++
		assert.InDelta(t, l.Quantity.Units(), quantities[string(l.Item)+"|"+text(l.Size)], 1e-6)
	}
	assert.Len(t, quantities, found)

	own, together := 0, 0
	for _, r := range rowsOf(t, data, SheetCuts)[1:] {
		if r[0] == allLots {
			together++
		} else {
			own++
		}
	}
	assert.Equal(t, 8, own, "10 m of 20 ft sticks are two pieces a lot")
	assert.Equal(t, 8, together)
	require.Len(t, cuts, 1)
}

func number(t *testing.T, s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return v
}

func TestNoFormulas(t *testing.T) {
	data, _, _ := book(t, "=1", "+1", "-1", "@x", "\t=1", "plain")
	f, err := excelize.OpenReader(bytes.NewReader(data))
	require.NoError(t, err)
	defer f.Close()
	for _, name := range f.GetSheetList() {
		rows, err := f.GetRows(name)
		require.NoError(t, err)
		for i, r := range rows {
			for k, cell := range r {
				at, err := excelize.CoordinatesToCellName(k+1, i+1)
				require.NoError(t, err)
				formula, err := f.GetCellFormula(name, at)
				require.NoError(t, err)
				assert.Empty(t, formula)
				kind, err := f.GetCellType(name, at)
				require.NoError(t, err)
				if kind != excelize.CellTypeNumber && kind != excelize.CellTypeUnset {
					assert.NotZero(t, strings.IndexAny(cell, "=+-@\t"), "%s %s: %q", name, at, cell)
				}
			}
		}
	}
}

func TestSameBytes(t *testing.T) {
	a, _, _ := book(t, "A", "B")
	for range 10 {
		b, _, _ := book(t, "A", "B")
		require.True(t, bytes.Equal(a, b))
	}
	c, _, _ := book(t, "A", "C")
	assert.False(t, bytes.Equal(a, c))
}

func TestFullSheetGoesOn(t *testing.T) {
	f := excelize.NewFile()
	st, err := newStyles(f)
	require.NoError(t, err)
	s, err := newSheet(f, "x", []string{"n"}, st)
	require.NoError(t, err)
	s.limit = 3
	for i := range 5 {
		require.NoError(t, s.row(fmt.Sprint(i)))
	}
	require.NoError(t, s.flush())
	var out bytes.Buffer
	_, err = f.WriteTo(&out)
	require.NoError(t, err)
	assert.Equal(t, [][]string{{"n"}, {"0"}, {"1"}}, rowsOf(t, out.Bytes(), "x"))
	assert.Equal(t, [][]string{{"n"}, {"2"}, {"3"}}, rowsOf(t, out.Bytes(), "x 2"))
	assert.Equal(t, [][]string{{"n"}, {"4"}}, rowsOf(t, out.Bytes(), "x 3"))
}
