package sheet

import (
	"bytes"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/paper"
)

// subdivision is n yards side by side along a street, some not designed.
func subdivision(n int) []Lot {
	var out []Lot
	for i := range n {
		in := yard(fmt.Sprintf("S-%03d", i+1))
		if i%7 == 3 {
			in.Design.Status, in.Design.Reason, in.Design.Heads = layout.StatusInfeasible, "too little pressure", nil
			in.Design.Network = layout.Network{}
		}
		in.Lot.Plane = here{-93 + float64(i%10)*21/85_000, 45 + float64(i/10)*14/111_000}
		out = append(out, in)
	}
	return out
}

func bound(t *testing.T, lots []Lot, s Settings) *Book {
	t.Helper()
	b := NewBook(s)
	for _, in := range lots {
		sheet, err := New(in, s)
		require.NoError(t, err)
		require.NoError(t, b.Add(in, sheet))
	}
	return b
}

func TestBook(t *testing.T) {
	lots := subdivision(20)
	parts := Table{Title: "Parts", Head: []string{"Part", "Number"}, Rows: [][]string{{"Tee 1 in", "20"}}}
	var once, twice bytes.Buffer
	require.NoError(t, bound(t, lots, settings).Write(&once, parts))
	b := bound(t, lots, settings)
	require.NoError(t, b.Write(&twice, parts))
	assert.True(t, bytes.Equal(once.Bytes(), twice.Bytes()), "same bytes twice")
	assert.ErrorIs(t, b.Write(&twice), errWritten)

	assert.Equal(t, 20, bytes.Count(once.Bytes(), []byte("/Subtype /Link")), "the map leads to each lot")
	pages := 0
	for i, l := range b.lots {
		sheet, err := New(lots[i], settings)
		require.NoError(t, err)
		assert.Equal(t, mapPage+1+pages, l.page)
		pages += len(sheet.Pages)
	}
	assert.Len(t, regexp.MustCompile(`/Type /Page\n`).FindAll(once.Bytes(), -1), 2+pages+1)
	assert.Equal(t, 2+20+1, bytes.Count(once.Bytes(), []byte("/Title "))-1, "a bookmark for totals, map, each lot and index; one title is the book's")
	assert.Error(t, b.Add(Lot{}, &Sheet{}))
}

// Totals are the sums over the lots, in all and by status.
func TestTotals(t *testing.T) {
	lots := subdivision(20)
	b := bound(t, lots, settings)
	heads, trench := 0, layout.Length(0)
	for _, in := range lots {
		heads += len(in.Design.Heads)
		trench += in.Design.Network.TrenchLength
	}
	rows := b.sums().Rows
	require.Len(t, rows, 3)
	assert.Equal(t, []string{"Designed", "17"}, rows[0][:2])
	assert.Equal(t, []string{"Infeasible", "3"}, rows[1][:2])
	assert.Equal(t, []string{"All", "20", fmt.Sprint(heads), US.length(trench)}, rows[2][:4])
	assert.Equal(t, []string{"All", "0", "0", "0.0 ft", "0.0 ft", "0 ft²"}, NewBook(settings).sums().Rows[0])
}

func TestLongTotalsGoOn(t *testing.T) {
	b := bound(t, subdivision(2), metricSettings)
	pages := b.totals([]Table{numbered(200, 4)})
	assert.Contains(t, record(pages[0]).words(), "Field sheets")
	assert.Greater(t, len(pages), 1)
	for i, p := range pages {
		assert.Empty(t, overlaps(p))
		assert.Contains(t, record(p).words(), fmt.Sprintf("totals, page %d of %d", i+1, len(pages)))
	}
	require.NoError(t, b.Write(&bytes.Buffer{}, numbered(200, 4)))
}

// Every lot is on the map, where it lies, and in the index.
func TestIndexMap(t *testing.T) {
	b := bound(t, subdivision(30), settings)
	p, links := b.indexMap()
	assert.Empty(t, overlaps(p))
	at := map[string]paper.Vec{}
	for _, l := range record(p).texts {
		at[l.Words] = l.At
	}
	for _, l := range b.lots {
		assert.Contains(t, at, l.id)
	}
	require.Len(t, links, 30)
	for _, l := range b.lots {
		assert.True(t, slices.ContainsFunc(links, func(to link) bool { return to.page == l.page && to.box.Has(at[l.id]) }), "the map leads to %s", l.id)
	}
	assert.Less(t, at["S-001"].X, at["S-002"].X, "east is right")
	assert.Less(t, at["S-011"].Y, at["S-001"].Y, "north is up")
	assert.Contains(t, strings.Join(record(p).words(), " "), "Infeasible")

	all := flat(b.index())
	for _, l := range b.lots {
		assert.Contains(t, all, l.id+" ")
	}
}

func TestIndexMapOfManyLots(t *testing.T) {
	for _, n := range []int{1, 300, 1000} {
		b := NewBook(settings)
		for i, in := range subdivision(n) {
			b.lots = append(b.lots, indexed{id: printableID(in.Design.LotID), status: in.Design.Status, page: i, outline: newOutline(in.Lot)})
		}
		b.lots = append(b.lots, indexed{id: "nowhere"})
		p, _ := b.indexMap()
		assert.Empty(t, overlaps(p))
		words := record(p).words()
		named := 0
		for _, w := range words {
			if strings.HasPrefix(w, "S-") {
				named++
			}
		}
		flat := strings.Join(words, " ")
		assert.Contains(t, flat, "1 lot without a usable outline not shown")
		if named < n {
			assert.Contains(t, flat, fmt.Sprintf("%d id", n-named), "what is left out is counted")
		}
		for _, p := range b.index() {
			assert.Empty(t, overlaps(p))
		}
	}
}

// Lots in towns apart are shown in panels, neighbours together.
func TestPanels(t *testing.T) {
	frame := paper.Box{Right: 600, Bottom: 800}
	town := func(name string, lon, lat float64, n int) (out []indexed) {
		for i := range n {
			in := yard(fmt.Sprint(name, i))
			in.Lot.Plane = here{lon + float64(i)*30/85_000, lat}
			out = append(out, indexed{id: in.Design.LotID, outline: newOutline(in.Lot)})
		}
		return out
	}
	lots := append(town("a", -93, 45, 3), town("b", -93.2, 45, 5)...)
	lots = append(lots, indexed{id: "nowhere"})
	got := panels(lots, frame)
	require.Len(t, got, 2)
	assert.Len(t, got[0].lots, 5, "the largest first")
	assert.Equal(t, "b0", got[0].lots[0].id)
	assert.Len(t, got[1].lots, 3)
	assert.Equal(t, paper.Box{Right: 600, Bottom: 400}, got[0].frame)

	for i := range 10 {
		lots = append(lots, town(fmt.Sprint("c", i), -90+float64(i), 40, 1)...)
	}
	got = panels(lots, frame)
	require.Len(t, got, mostPanels)
	n := 0
	for _, p := range got {
		n += len(p.lots)
	}
	assert.Equal(t, 18, n, "none lost, and none without a place")
	assert.Empty(t, panels(nil, frame))
	assert.Len(t, panels(town("long", -93, 45, 200), frame), 1, "a street is one neighbourhood")

	across := append(town("w", 179.9999, 10, 1), town("e", -179.9999, 10, 1)...)
	assert.Len(t, panels(across, frame), 1, "either side of the date line")
}

func TestHostileBook(t *testing.T) {
	var lots []Lot
	for _, id := range hostileIDs {
		lots = append(lots, yard(id))
	}
	lots = append(lots, refused(), infeasible())
	b := bound(t, lots, metricSettings)
	p, _ := b.indexMap()
	assert.Empty(t, overlaps(p))
	for _, p := range b.index() {
		assert.Empty(t, overlaps(p))
	}
	require.NoError(t, b.Write(&bytes.Buffer{}))
	assert.False(t, b.Full())
	b.lots = make([]indexed, MostLots)
	assert.True(t, b.Full())
}
