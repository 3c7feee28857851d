package sheet

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/drawing"
	"lotwright/layout/geom"
	"lotwright/layout/paper"
	"lotwright/layout/stakeout"
)

// checkHeads checks that each head is named once on the plan and has a row of its
// own in the table of heads.
func checkHeads(t *testing.T, s *Sheet, d *layout.Design) {
	t.Helper()
	plan := record(s.Pages[0]).plan
	for _, h := range d.Heads {
		n := 0
		for _, words := range plan {
			if words == h.Label {
				n++
			}
		}
		assert.Equal(t, 1, n, "lot %s: %s on the plan", s.ID, h.Label)
	}
}

func TestSheetOfAYard(t *testing.T) {
	for _, set := range []Settings{settings, metricSettings} {
		in := yard("A-1")
		in.Tables = []Table{{Title: "Cut list", Head: []string{"Stick", "Cuts"}, Rows: [][]string{{"1 in × 20 ft", "P1 10 ft 6 in"}}}}
		s := sheetOf(t, in, set)
		checkHeads(t, s, in.Design)
		all := flat(s.Pages)
		for _, want := range []string{"Lot A-1", "Designed", "lot A-1, page 1 of ", "2026-11-25", "4 heads; no fewer than 4 possible (continuous proof)",
			"98.1 %, target 97.0 %", "Stake-out", "Trench", "under paving", "Pipe", "3/4 in", "Cut list", "P1 10 ft 6 in", "Order of work", "the pressure is that at the heads"} {
			assert.Contains(t, all, want)
		}
		for _, want := range []string{"POC", "T1", "L1"} {
			assert.Contains(t, record(s.Pages[0]).plan, want)
		}
		for _, want := range [][2]string{{"30.0 ft", "9.14 m"}, {"55.0 psi at the heads", "379 kPa at the heads"}, {"4.7 gpm", "17.8 L/min"},
			{"R5: 18 in", "R5: 46 cm"}, {"10 in to 18 in deep", "26 cm to 46 cm deep"}, {"Total 95.7 ft", "Total 29.16 m"},
			{"1 in = 10 ft (1:120)", "1:125"}} {
			assert.Contains(t, all, set.Units.choose(want[0], want[1]))
			assert.NotContains(t, all, set.Units.choose(want[1], want[0]), "one system only")
		}
	}
}

// A side of 10 m on the ground is 10 m ÷ scale long on the paper, and so is the
// scale bar what it says.
func TestScaleOnPaper(t *testing.T) {
	for set, ratio := range map[Settings]float64{settings: 120, metricSettings: 125} {
		s := sheetOf(t, yard("A-1"), set)
		r := record(s.Pages[0])
		low, high := math.Inf(1), math.Inf(-1)
		for _, p := range r.paths {
			if p.look.Dash != "20 3 4 3 4 3" || len(p.chains[0]) != 4 { // the lot line, not its sample
				continue
			}
			for _, v := range p.chains[0] {
				low, high = min(low, v.Y), max(high, v.Y)
			}
		}
		const unitsPerMetreOfPaper = 100 / 0.0254
		assert.InDelta(t, 10/ratio*unitsPerMetreOfPaper, high-low, 1e-6)
		i := slices.IndexFunc(r.texts, func(l paper.Label) bool { return l.Words == set.Units.choose("10 ft", "2 m") })
		require.GreaterOrEqual(t, i, 0, r.words())
		zero := slices.IndexFunc(r.texts, func(l paper.Label) bool { return l.Words == "0" })
		bar := map[Units]float64{US: 10 * layout.MetresPerFoot, Metric: 2}[set.Units] / ratio * unitsPerMetreOfPaper
		assert.InDelta(t, bar, r.texts[i].At.X-5-(r.texts[zero].At.X+4), 1e-6)
	}
	assert.InDelta(t, 72.0, pt(100), 1e-12, "a page unit is 1/100 in, a point of PDF 1/72 in")
}

// The stake-out on the sheet is that of the stage, and its corners are on the plan.
func TestStakeOutOnTheSheet(t *testing.T) {
	in := yard("A-1")
	s := sheetOf(t, in, settings)
	sees, err := stakeout.Past(in.Lot.Building)
	require.NoError(t, err)
	want, err := stakeout.Table(stakeTargets(in.Design), stakeout.References(in.Lot.Building, in.Lot.Parcel), stakeout.Settings{Sees: sees})
	require.NoError(t, err)
	require.Len(t, want.Rows, 5, "four heads and a junction")
	all, plan := flat(s.Pages), record(s.Pages[0]).plan
	for _, r := range want.Rows {
		row := strings.Join([]string{r.Target.Name, r.First.From.Name, stakeout.QuarterInch.Text(r.First.Marks),
			r.Second.From.Name, stakeout.QuarterInch.Text(r.Second.Marks), string(r.Side)}, " ")
		assert.Contains(t, all, row)
	}
	for _, n := range want.References {
		assert.Contains(t, plan, n.Name)
	}
}

// The point of connection is found by one tape along the wall it is on, and where
// it is on none by two, as others are.
func TestPointOfConnectionIsStaked(t *testing.T) {
	in := yard("A-1")
	wall := in.Lot.Building[0][0]
	in.Design.Network.POC = wall[0].Vec().Add(wall[1].Vec().Sub(wall[0].Vec()).Scale(0.25)).Round()
	on, err := stakeOut(in.Lot, in.Design, Metric)
	require.NoError(t, err)
	require.NotNil(t, on.poc)
	assert.InDelta(t, wall[0].DistanceMM(wall[1])/4, on.poc.Distance.Metres()*1000, 5.1)
	s := settings
	s.Units = Metric
	assert.Contains(t, flat(sheetOf(t, in, s).Pages), "POC "+on.poc.From.Name+" "+stakeout.Centimetre.Text(on.poc.Marks)+" toward "+on.poc.To.Name)

	in.Design.Network.POC = in.Design.Heads[0].At.Add(geom.Pt(400, 300))
	off, err := stakeOut(in.Lot, in.Design, Metric)
	require.NoError(t, err)
	assert.Nil(t, off.poc)
	assert.Equal(t, len(on.Rows)+1, len(off.Rows)+len(off.Missed))
}

func TestWhatCannotBeStakedIsSaid(t *testing.T) {
	in := yard("A-1")
	in.Lot.Parcel, in.Lot.Building = rectangle(-90000, -90000, 90000, 90000), nil
	in.Design.Network.Runs = nil
	s := sheetOf(t, in, settings)
	assert.Contains(t, flat(s.Pages), "Not to be staked by tapes")
	assert.Contains(t, flat(s.Pages), "no point to tape from within 100.0 ft")
}

// Steps come in an order that does not undo work, each with its cautions.
func TestOrderOfWork(t *testing.T) {
	all := flat(sheetOf(t, yard("A-1"), settings).Pages)
	last := -1
	for _, want := range []string{"1. Locate utilities", "Private lines are not marked", "2. Settle the connection", "is not chosen here: confirm", "3. Stake",
		"4. Dig", "Trench walls fall in", "5. Cross the paving", "silica", "6. Lay, glue and cure", "fumes", "7. Test under pressure", "never with air",
		"8. Flush", "Before any head goes on", "3 minutes", "9. Set the heads", "13 in deep", "1/2 in above", "10. Cables and box", "Electricity",
		"11. Backfill", "lifts", "tamped", "12. Set throws and arcs", "13. Test and hand over", "80 psi", "eye protection"} {
		at := strings.Index(all, want)
		require.Greater(t, at, last, want)
		last = at
	}
	in := yard("A-1")
	in.Design.Network.PavingCrossings = 0
	assert.NotContains(t, flat(sheetOf(t, in, settings).Pages), "silica")
}

func TestBoxesToTick(t *testing.T) {
	boxes := 0
	for _, p := range sheetOf(t, yard("A-1"), settings).Pages {
		for _, m := range record(p).paths {
			if c := m.chains[0]; len(c) == 4 && math.Abs(c[1].X-c[0].X-boxSide) < 1e-9 && math.Abs(c[2].Y-c[1].Y-boxSide) < 1e-9 {
				boxes++
			}
		}
	}
	assert.Equal(t, 13, boxes)
}

func TestSheetsOfLotsNotDesigned(t *testing.T) {
	s := sheetOf(t, infeasible(), settings)
	all := flat(s.Pages)
	assert.Equal(t, 2, strings.Count(all, "16.0 psi at the head"), "on the first page and in the notes")
	assert.Contains(t, all, "Infeasible")
	assert.NotContains(t, all, "Order of work", "there is nothing to build")

	s = sheetOf(t, refused(), metricSettings)
	all = flat(s.Pages)
	for _, want := range []string{"No outline to draw", "Invalid input", "ring 1 crosses itself", "1 ring left out"} {
		assert.Contains(t, all, want)
	}

	bare := yard("A-9")
	bare.Design = &layout.Design{LotID: "A-9", Status: layout.StatusDesigned}
	assert.Len(t, sheetOf(t, bare, settings).Pages, 1, "a plan, and nothing to list")

	_, err := New(Lot{}, settings)
	assert.Error(t, err)
}

func TestSixtyHeads(t *testing.T) {
	for _, n := range []int{60, 120} {
		for _, set := range []Settings{settings, metricSettings} {
			in := manyHeads(n)
			s := sheetOf(t, in, set)
			checkHeads(t, s, in.Design)
			checkNumbered(t, s)
			all := flat(s.Pages)
			assert.Contains(t, all, "Heads, continued")
			for i := range n {
				assert.Equal(t, 1, strings.Count(all, fmt.Sprintf(" %s %s ", runName(i), in.Design.Network.Runs[i].From)), "each run of trench has one row")
			}
		}
	}
}

func checkNumbered(t *testing.T, s *Sheet) {
	t.Helper()
	for i, p := range s.Pages {
		assert.Contains(t, record(p).words(), fmt.Sprintf("lot %s, page %d of %d", s.ID, i+1, len(s.Pages)))
	}
}

func TestHostileIDs(t *testing.T) {
	printed := map[string]bool{}
	for _, id := range hostileIDs {
		s := sheetOf(t, yard(id), settings)
		sheetOf(t, yard(id), metricSettings)
		if strings.TrimSpace(id) != "" {
			assert.False(t, printed[s.ID], "%q is printed like another", id)
			printed[s.ID] = true
		}
		require.NoError(t, s.WritePDF(&bytes.Buffer{}))
	}
	assert.Equal(t, "‹5730›‹5757› 7", printableID("地块 7"))
	assert.Equal(t, "Flurstück 12½", printableID("Flurstück 12½"))
	assert.Equal(t, "(no id)", printableID("  "))
}

func TestHostileWords(t *testing.T) {
	in := yard("A-1")
	long := strings.Repeat("a very long remark about the ground ", 200)
	in.Design.Reason = long
	in.Design.Notes = []layout.Note{{Text: long}, {Text: strings.Repeat("W", 4000)}, {Text: "地块\n🏡"}}
	in.Design.Status = layout.Status(strings.Repeat("W", 60))
	in.Tables = []Table{
		{Title: strings.Repeat("W", 200), Note: long, Head: []string{strings.Repeat("W", 50)}, Rows: [][]string{{strings.Repeat("W", 3000)}, {}, {"a", "b", "c"}}},
		{Title: "No head", Rows: [][]string{{"only"}}},
		{Title: "No rows", Head: []string{"A"}},
	}
	s := sheetOf(t, in, settings)
	sheetOf(t, in, metricSettings)
	assert.NotContains(t, flat(s.Pages), "No rows")
	require.NoError(t, s.WritePDF(&bytes.Buffer{}))
}

func TestSurveyedLots(t *testing.T) {
	for i, in := range surveyed(t, 4) {
		set := []Settings{settings, metricSettings}[i%2]
		s := sheetOf(t, in, set)
		checkHeads(t, s, in.Design)
		checkNumbered(t, s)
		for _, l := range record(s.Pages[0]).texts {
			if strings.HasPrefix(l.Words, "Scale ") {
				assert.True(t, slices.ContainsFunc(set.Units.ratios(), func(n float64) bool { return l.Words == "Scale "+set.Units.scale(n) }), l.Words)
			}
		}
		assert.Equal(t, pdfOf(t, s), pdfOf(t, sheetOf(t, in, set)), "same bytes twice")
	}
}

func pdfOf(t *testing.T, s *Sheet) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, s.WritePDF(&b))
	assert.True(t, bytes.HasPrefix(b.Bytes(), []byte("%PDF-1.")))
	return b.Bytes()
}

func TestSVGPages(t *testing.T) {
	s := sheetOf(t, yard("A-1"), settings)
	for i := range s.Pages {
		var b bytes.Buffer
		require.NoError(t, s.WriteSVG(&b, i))
		assert.Contains(t, b.String(), `width="8.50in" height="11.00in"`)
		assert.Contains(t, b.String(), fmt.Sprintf("lot A-1, page %d of %d", i+1, len(s.Pages)))
	}
	assert.Error(t, s.WriteSVG(&bytes.Buffer{}, len(s.Pages)))
	assert.Error(t, s.WriteSVG(&bytes.Buffer{}, -1))
}

func TestUnits(t *testing.T) {
	assert.Equal(t, "10 in", US.depth(10*layout.MetresPerInch))
	assert.Equal(t, "11 in", US.depth(10.1*layout.MetresPerInch), "up, never down")
	assert.Equal(t, "26 cm", Metric.depth(0.254))
	assert.Equal(t, "1/4 in", US.small(0.001))
	assert.Equal(t, "1/2 in", US.small(0.007))
	assert.Equal(t, "1 in", US.small(0.0254))
	assert.Equal(t, "1 1/4 in", US.small(0.0255))
	assert.Equal(t, "0 in", US.small(0))
	assert.Equal(t, "7 mm", Metric.small(0.0061))
	assert.Equal(t, "1 in = 20 ft (1:240)", US.scale(240))
	assert.Equal(t, "1:250", US.scale(250))
	assert.Equal(t, "1:240", Metric.scale(240))
	assert.Equal(t, "1,076 ft²", US.area(100))
}

// Arcs and zones are on the sheet of fixed-arc heads; totals are sums.
func TestHeadAndTrenchTables(t *testing.T) {
	in := manyHeads(24)
	heads := headTable(in.Design, US)
	assert.Equal(t, []string{"H2", "1", "90°", "40°", "14.8 ft", "30.0 psi", "0.9 gpm"}, heads.Rows[1])
	assert.Contains(t, heads.Note, "clockwise")
	var total layout.Length
	for _, r := range in.Design.Network.Runs {
		total += r.Length
	}
	rows := trenchTable(in.Design, Metric).Rows
	assert.Equal(t, Metric.length(total), rows[len(rows)-1][4])
	assert.Equal(t, "2; the largest draws 10.8 gpm", zoneWords(in.Design, US))
	in.Design.Heads[0].Zone = 0
	assert.Contains(t, zoneWords(in.Design, US), "not dealt out")
}

// Zones are listed where heads share valves, and the place of the valves is said
// where they are together.
func TestZones(t *testing.T) {
	in := manyHeads(24)
	assert.Empty(t, zoneTable(in.Design, US).Rows)
	in.Design.Water = &layout.Water{Known: true, Needed: layout.PSI(41.5), Static: layout.PSI(60), Zones: []layout.Zone{
		{Number: 1, Heads: []string{"H1", "H2"}, Flow: layout.GPM(1.8), Pressure: layout.PSI(31), Valve: "POC"},
		{Number: 2, Heads: []string{"H3"}, Flow: layout.GPM(0.9), Pressure: layout.PSI(30), Valve: "T1"}}}
	assert.Equal(t, [][]string{{"1", "H1 H2", "POC", "1.8 gpm", "31.0 psi"}, {"2", "H3", "T1", "0.9 gpm", "30.0 psi"}}, zoneTable(in.Design, US).Rows)
	all := flat(sheetOf(t, in, settings).Pages)
	assert.Contains(t, all, "41.5 psi at the connection, running; static 60.0 psi")
	assert.NotContains(t, all, "all at")
	in.Design.Water.Zones[1].Valve = "POC"
	assert.Contains(t, flat(sheetOf(t, in, settings).Pages), "all at POC")
	in.Design.Heads = in.Design.Heads[:2]
	assert.Empty(t, zoneTable(in.Design, US).Rows, "a zone a head, all valves in one place")
}

func TestJunctionsAreStakedOnce(t *testing.T) {
	in := yard("A-1")
	assert.Equal(t, []drawing.Place{{Name: "T1", At: geom.Pt(15000, 2000)}}, drawing.Junctions(in.Design))
	assert.Len(t, stakeTargets(in.Design), 5)
}
