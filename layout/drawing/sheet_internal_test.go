package drawing

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
)

// batch repeats a few lots of every status n times over, with ids of their own.
func batch(n int) []Item {
	lot, designed := everything()
	plain := &layout.Lot{Parcel: rectangle(0, 0, 30000, 9000), Building: rectangle(2000, 2000, 9000, 7000)}
	var out []Item
	for i := range n {
		id := fmt.Sprintf("B-%03d", i+1)
		switch i % 5 {
		case 0, 1:
			d := *designed
			d.LotID = id
			out = append(out, Item{lot, &d})
		case 2:
			out = append(out, Item{plain, &layout.Design{LotID: id, Status: layout.StatusInfeasible, Reason: "38.0 psi at the tap is below the lowest rated pressure"}})
		case 3:
			out = append(out, Item{nil, layout.Refused(id, "no parcel feature for this lot", nil)})
		default:
			out = append(out, Item{plain, &layout.Design{LotID: id, Status: layout.StatusFailed, Reason: "internal fault"}})
		}
	}
	return out
}

func TestContactSheets(t *testing.T) {
	for _, n := range []int{0, 1, 4, 5, 24, 100, 500} {
		items := batch(n)
		p := contactSheet("Batch", items)
		out := checkPage(t, p)
		var ids []string
		for _, words := range out.texts {
			if strings.HasPrefix(words, "B-") {
				ids = append(ids, words)
			}
		}
		require.Len(t, ids, n)
		for i, it := range items {
			assert.Equal(t, it.Design.LotID, ids[i], "in the order given")
		}
		assert.Len(t, out.titles, n+1, "a title for the sheet and one for each lot")
		assert.Equal(t, n, cellFrames(p, items))
		if n == 24 {
			assert.Contains(t, strings.Join(out.texts, " "), "24 lots: 10 designed, 5 infeasible, 5 invalid input, 4 failed · designed lots: 140 heads, ")
			assert.Equal(t, render(t, p), render(t, contactSheet("Batch", batch(24))), "same bytes twice")
		}
	}
}

// cellFrames checks that cells lie on the page and apart, and counts them.
func cellFrames(p *page, items []Item) int {
	g := newGrid(len(items), 100)
	n := 0
	for i := range items {
		for j := range i {
			if g.cell(i).Corners().Overlaps(g.cell(j).Corners()) {
				return -1
			}
		}
		if c := g.cell(i); c.Left >= 0 && c.Right <= p.Width {
			n++
		}
	}
	return n
}

func TestContactSheetGolden(t *testing.T) {
	golden(t, "sheet.svg", contactSheet("Three lots", batch(5)[1:4]))
}

func TestContactSheetWithoutDesigns(t *testing.T) {
	lot, _ := everything()
	out := checkPage(t, contactSheet("", []Item{{lot, nil}, {nil, nil}}))
	assert.Contains(t, out.texts, "Sprinkler plans")
	assert.Contains(t, out.texts, "no design")
	assert.Contains(t, out.texts, "LK-99")
}

func TestLongTitleAndIDsAreCut(t *testing.T) {
	items := batch(30)
	for _, it := range items {
		it.Design.LotID = strings.Repeat("Flurstück W", 20)
	}
	checkPage(t, contactSheet(strings.Repeat("Long title ", 40), items))
}

func BenchmarkContactSheet(b *testing.B) {
	for _, n := range []int{24, 500} {
		b.Run(fmt.Sprintf("lots=%d", n), func(b *testing.B) {
			items := batch(n)
			for b.Loop() {
				contactSheet("Batch", items)
			}
		})
	}
}

func BenchmarkPlan(b *testing.B) {
	lot, d := everything()
	for b.Loop() {
		plan(lot, d)
	}
}
