package takeoff_test

import (
	"bytes"
	"encoding/csv"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/takeoff"
)

const header = "item,size,unit,price,labour_minutes\n"

func prices(t *testing.T, rows string) takeoff.PriceList {
	t.Helper()
	p, err := takeoff.ReadPrices(strings.NewReader(header + rows))
	require.NoError(t, err)
	return p
}

func TestBillByHand(t *testing.T) {
	list := takeoff.List{Lot: "a", Lines: []takeoff.Line{
		{Item: takeoff.Head, Size: "x", Quantity: 3000, Unit: takeoff.Each},
		{Item: takeoff.Tee, Size: "1 in", Quantity: 2000, Unit: takeoff.Each},
		{Item: takeoff.Tee, Size: "2 in", Quantity: 1000, Unit: takeoff.Each},
		{Item: takeoff.ControlCable, Quantity: 30_480, Unit: takeoff.Metre}, // 100 ft
		{Item: takeoff.ZoneValve, Size: "1 in", Quantity: 1000, Unit: takeoff.Each},
		{Item: takeoff.Trench, Size: "soil", Quantity: 9000, Unit: takeoff.Metre},
		{Item: takeoff.Labour, Size: "trench in soil", Quantity: 2500, Unit: takeoff.Hour},
	}}
	bill := takeoff.Priced(list, prices(t, `head,*,each,10.005,20
tee,1 in,each,1.50,0
tee,*,each,2,6
control_cable,*,ft,0.3375,0.6
labour,*,h,40,0
`))
	cost := func(i int) string {
		l := bill.Lines[i]
		return l.Cost.String() + " " + l.Labour.String() + " " + l.LabourCost.String()
	}
	assert.Equal(t, "30.02 1 40.00", cost(0), "30.015 rounded half up")
	assert.Equal(t, "3.00 0 0.00", cost(1), "its own size")
	assert.Equal(t, "2.00 0.1 4.00", cost(2), "any size")
	assert.Equal(t, "33.75 1 40.00", cost(3), "priced by the foot")
	assert.False(t, bill.Lines[4].Priced)
	assert.True(t, bill.Lines[5].Priced, "a measurement is not missing a price")
	assert.Equal(t, "0.00 2.5 100.00", cost(6))
	assert.Equal(t, list.Lines[4:5], bill.Unpriced)
	assert.Equal(t, "68.77", bill.Parts.String())
	assert.Equal(t, "4.6", bill.LabourHours.String())
	assert.Equal(t, "184.00", bill.Labour.String())
	assert.Equal(t, "252.77", bill.Total().String())
}

func TestLabourWithoutAPrice(t *testing.T) {
	list := takeoff.List{Lines: []takeoff.Line{
		{Item: takeoff.Head, Quantity: 3000, Unit: takeoff.Each},
		{Item: takeoff.Labour, Size: "trench in soil", Quantity: 2500, Unit: takeoff.Hour},
	}}
	bill := takeoff.Priced(list, prices(t, "head,*,each,10,20\n"))
	require.Len(t, bill.Unpriced, 2)
	assert.Equal(t, "2.5", bill.Unpriced[0].Quantity.String())
	assert.Equal(t, "1", bill.Unpriced[1].Quantity.String())
	assert.Zero(t, bill.Labour)
	assert.Equal(t, "3.5", bill.LabourHours.String())
}

// TestInventedPrices: the built-in list has a price for all that a design needs,
// but for the backflow preventer, whose kind is not known.
func TestInventedPrices(t *testing.T) {
	d := garden()
	d.Network.Runs[0].Surface = layout.SurfacePaving
	d.Regulated = true
	for _, s := range []takeoff.Settings{{}, {FlexRisers: true, Sticks: []layout.Length{layout.Feet(10)}}} {
		list, err := takeoff.Of(d, s)
		require.NoError(t, err)
		bill := takeoff.Priced(list, takeoff.InventedPrices())
		require.Len(t, bill.Unpriced, 1)
		assert.Equal(t, takeoff.BackflowPreventer, bill.Unpriced[0].Item)
		assert.Positive(t, bill.Parts)
		assert.Positive(t, bill.Labour)
	}
}

func TestPriceListFaults(t *testing.T) {
	for text, want := range map[string]string{
		"":                                        "price list: line 1: it is empty",
		"item,size,unit,price\n":                  "line 1: there is no column labour_minutes",
		"item,size,unit,price,cost\n":             `line 1: column 5: "cost" is not one of item, size`,
		"item,item,unit,price,labour_minutes\n":   "line 1: column 2: item is given twice, first in column 1",
		header + "spade,*,each,1,0\n":             `line 2, column 1 (item): "spade" is not an item`,
		header + "trench,soil,m,1,0\n":            "line 2, column 1 (item): trench is only measured",
		header + "tee,*,m,1,0\n":                  `line 2, column 3 (unit): tee is counted in each, and "m" does not`,
		header + "tee,*,each,1.23456,0\n":         `line 2, column 4 (price): "1.23456" is not a number`,
		header + "tee,*,each,-1,0\n":              "column 4 (price)",
		header + "tee,*,each,1e3,0\n":             "column 4 (price)",
		header + "tee,*,each,1000000.0001,0\n":    "column 4 (price)",
		header + "tee,*,each,1,.5\n":              "column 5 (labour_minutes)",
		header + "tee,*,each,1,5.\n":              "column 5 (labour_minutes)",
		header + "tee,*,each,,0\n":                "column 4 (price)",
		header + "labour,*,h,1,5\n":               "column 5 (labour_minutes): an hour of labour",
		header + "tee,*,each,1,0\ntee,*,each,2,0": `line 3, column 2 (size): tee "*" has a price already`,
		header + "tee,*,each,1\n":                 "line 2",
		header + "tee,\"*,each,1,0\n":             "line 2",
	} {
		_, err := takeoff.ReadPrices(strings.NewReader(text))
		assert.ErrorContains(t, err, want, "%q", text)
	}
	_, err := takeoff.ReadPrices(strings.NewReader(header + strings.Repeat("x", 5<<20)))
	assert.ErrorContains(t, err, "larger than")
	_, err = takeoff.ReadPrices(strings.NewReader("\ufeffsize,price,item,labour_minutes,unit\r\n*,1,tee,0,each\r\n"))
	assert.NoError(t, err, "columns in any order, a mark at the start, other line ends")
}

func FuzzReadPrices(f *testing.F) {
	f.Add([]byte(header + "tee,*,each,1.25,2\nlabour,*,h,40,0\n"))
	f.Add([]byte(header + "tee,\"1\n in\",each,99999999999999999999,0\n"))
	f.Add([]byte("\ufeff,,,,\n"))
	list := takeoff.List{Lines: []takeoff.Line{{Item: takeoff.Tee, Size: "1 in", Quantity: 3000, Unit: takeoff.Each},
		{Item: takeoff.ControlCable, Quantity: 1234, Unit: takeoff.Metre}, {Item: takeoff.Labour, Quantity: 500, Unit: takeoff.Hour}}}
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := takeoff.ReadPrices(bytes.NewReader(text))
		if err != nil {
			require.ErrorContains(t, err, "price list: ")
			return
		}
		bill := takeoff.Priced(list, p)
		require.GreaterOrEqual(t, int64(bill.Parts), int64(0))
		require.GreaterOrEqual(t, int64(bill.Total()), int64(bill.Parts))
	})
}

// manyLots are random gardens with their take-offs and bills.
func manyLots(t *testing.T, n int) (lists []takeoff.List, bills []takeoff.Bill) {
	rng := rand.New(rand.NewPCG(11, 11))
	for i := range n {
		d := randomTree(rng)
		d.LotID = string(rune('a'+i/26)) + string(rune('a'+i%26))
		list, err := takeoff.Of(d, takeoff.Settings{})
		require.NoError(t, err)
		lists, bills = append(lists, list), append(bills, takeoff.Priced(list, takeoff.InventedPrices()))
	}
	return lists, bills
}

// TestTotalsEqualSums adds the lots' CSV up again, by item and size.
func TestTotalsEqualSums(t *testing.T) {
	lists, bills := manyLots(t, 40)
	var batch takeoff.Batch
	var text bytes.Buffer
	w := takeoff.NewLineWriter(&text)
	parts, labour := layout.Cents(0), layout.Cents(0)
	for i := range lists {
		batch.Add(lists[i], bills[i])
		require.NoError(t, w.Write(bills[i]))
		parts, labour = parts+bills[i].Parts, labour+bills[i].Labour
	}
	assert.Equal(t, 40, batch.Lots)
	assert.Equal(t, parts, batch.Parts)
	assert.Equal(t, labour, batch.Labour)

	rows, err := csv.NewReader(&text).ReadAll()
	require.NoError(t, err)
	sums := make(map[string][2]int64) // quantity in thousandths, cost in cents
	for _, r := range rows[1:] {
		sum := sums[r[1]+"|"+r[2]]
		sums[r[1]+"|"+r[2]] = [2]int64{sum[0] + scaled(t, r[3], 3), sum[1] + scaled(t, r[7], 2)}
	}
	cost := layout.Cents(0)
	for _, l := range batch.Lines() {
		sum := sums[string(l.Item)+"|"+l.Size]
		assert.Equal(t, sum[0], int64(l.Quantity), "%s %s", l.Item, l.Size)
		assert.Equal(t, sum[1], int64(l.Cost), "%s %s", l.Item, l.Size)
		cost += l.Cost
	}
	assert.Len(t, sums, len(batch.Lines()))
	assert.Equal(t, batch.Parts, cost)

	var totals bytes.Buffer
	require.NoError(t, takeoff.WriteTotals(&totals, &batch))
	rows, err = csv.NewReader(&totals).ReadAll()
	require.NoError(t, err)
	assert.Len(t, rows, 1+len(batch.Lines()))
}

// scaled reads a decimal number in units of its last place; blank is nought.
func scaled(t *testing.T, s string, decimals int) int64 {
	whole, rest, _ := strings.Cut(s, ".")
	v := int64(0)
	for _, c := range whole + rest + strings.Repeat("0", decimals-len(rest)) {
		require.True(t, c >= '0' && c <= '9', "%q", s)
		v = 10*v + int64(c-'0')
	}
	return v
}

// TestBatchCut: cutting over all lots needs no more sticks than lot by lot, the
// order of the lots does not matter, and every lot's pieces are there.
func TestBatchCut(t *testing.T) {
	lists, bills := manyLots(t, 30)
	var batch, reversed takeoff.Batch
	pieces := int64(0)
	for i := range lists {
		batch.Add(lists[i], bills[i])
		reversed.Add(lists[len(lists)-1-i], bills[len(lists)-1-i])
		for _, p := range lists[i].Pieces {
			pieces += p.MM
		}
	}
	cut, err := batch.Cut(takeoff.Settings{})
	require.NoError(t, err)
	again, err := reversed.Cut(takeoff.Settings{})
	require.NoError(t, err)
	assert.Equal(t, cut, again)
	require.Len(t, cut, 1)
	c := cut[0]
	assert.Less(t, c.Together.StickMM, c.AloneMM)
	assert.Equal(t, c.AloneMM, 6096*int64(c.Alone))
	assert.GreaterOrEqual(t, c.Together.StickMM, c.Together.BoundMM)
	sum := int64(0)
	for _, s := range c.Together.Sticks {
		for _, p := range s.Pieces {
			require.NotEmpty(t, p.Lot)
			sum += p.MM
		}
	}
	assert.Equal(t, pieces, sum)
	t.Logf("%d sticks lot by lot, %d together, bound %d", c.Alone, len(c.Together.Sticks), c.Together.BoundMM/6096)
}

func TestCustomaryUnits(t *testing.T) {
	q, unit := takeoff.Quantity(30_480).Customary(takeoff.Metre)
	assert.Equal(t, "100 ft", q.String()+" "+string(unit))
	q, unit = takeoff.Quantity(5000).Customary(takeoff.Each)
	assert.Equal(t, "5 each", q.String()+" "+string(unit))
	assert.Equal(t, "-1.05", takeoff.Quantity(-1050).String())
	assert.Equal(t, "-0.07", layout.Cents(-7).String())
}
