package drawing

import (
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/paper"
)

var update = flag.Bool("update", false, "rewrite the stored pictures")

// golden compares a picture with the stored one, looked at when it was stored.
func golden(t *testing.T, name string, p *page) {
	t.Helper()
	got := render(t, p)
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.WriteFile(path, got, 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, string(want), string(got))
}

func TestPlanShowsEverything(t *testing.T) {
	lot, d := everything()
	p := plan(lot, d)
	out := checkPage(t, p)
	checkHeadLabels(t, out, d)
	assert.Contains(t, out.field, "POC (assumed)")
	assert.Contains(t, out.field, "T1")
	assert.Contains(t, out.field, "T2")
	all := strings.Join(out.texts, "\n")
	for _, want := range []string{
		"Lot LK-99", "Designed", "97.8 %, target 97.0 %", "15.0 ft (4.6 m)", "30.0 psi (207 kPa)", "273.0 ft (83.2 m)",
		"1, 13.1 ft (4.0 m)", "pressure regulator needed", "place assumed", "Legend", "N",
		"Scale 1:200 when printed at full size, 11 × 8.5 in", "20 ft", "10 m",
	} {
		assert.Contains(t, all, want)
	}
	flat := strings.Join(out.texts, " ")
	assert.Contains(t, flat, "14 heads; no fewer than 13 possible (continuous proof)")
	assert.Contains(t, flat, "H14: no trench gets there without crossing ground that must not be dug")
	assert.Contains(t, flat, "Call before you dig")
	golden(t, "everything.svg", p)
}

func TestLegendShowsOnlyWhatOccurs(t *testing.T) {
	lot := &layout.Lot{ID: "1", Parcel: rectangle(0, 0, 20000, 10000)}
	d := &layout.Design{LotID: "1", Status: layout.StatusInvalid, Reason: "no lawn"}
	out := checkPage(t, plan(lot, d))
	legend := out.texts[indexOf(out.texts, "Legend"):]
	assert.Contains(t, legend, "Lot line")
	for _, not := range []string{"Building", "Paving", "Dry: not reached", "Trench in soil", "Point of connection", "Head, variable throw"} {
		assert.NotContains(t, legend, not)
	}
	lot.Building = rectangle(1000, 1000, 4000, 4000)
	assert.Contains(t, checkPage(t, plan(lot, d)).texts, "Building")
}

func indexOf(list []string, word string) int {
	for i, w := range list {
		if w == word {
			return i
		}
	}
	return len(list)
}

func TestPlansOfTheSubdivision(t *testing.T) {
	lots := demoLots(t)
	for _, i := range []int{4, 8, 16, 20, 22} { // narrow strip, smallest, infeasible, wall, flag
		most := 30
		if i == 16 {
			most = 2
		}
		d := standIn(t, lots[i], layout.Feet(30), most)
		p := plan(lots[i], d)
		checkHeadLabels(t, checkPage(t, p), d)
		assert.Equal(t, render(t, p), render(t, plan(lots[i], d)), "same bytes twice")
	}
}

func TestRefusedLotsGetAPicture(t *testing.T) {
	reason := "parcel: ring 1 crosses itself near (12.4, 33.9)"
	d := layout.Refused("A-1", reason, []layout.Note{{Severity: layout.SeverityError, Text: "parcel: 1 ring left out"}})
	out := checkPage(t, plan(nil, d))
	assert.Contains(t, strings.Join(out.texts, " "), reason)
	assert.Contains(t, out.texts, "Invalid input")
	assert.Contains(t, out.texts, "No outline to draw")
	assert.Contains(t, strings.Join(out.texts, " "), "parcel: 1 ring left out")

	lot := &layout.Lot{ID: "A-1", Parcel: rectangle(0, 0, 20000, 10000)}
	out = checkPage(t, plan(lot, d))
	assert.NotContains(t, out.texts, "No outline to draw")
	assert.Contains(t, out.field, "65.6 ft (20.0 m)")
}

func TestInfeasibleShowsTheSource(t *testing.T) {
	source := geom.Pt(9000, 100)
	lot := &layout.Lot{ID: "A-1", Parcel: rectangle(0, 0, 20000, 10000), Source: &source}
	reason := "the supply holds 16.0 psi at the head"
	d := &layout.Design{LotID: "A-1", Status: layout.StatusInfeasible, Reason: reason, Notes: []layout.Note{{Text: reason}}}
	out := checkPage(t, plan(lot, d))
	assert.Contains(t, out.field, "POC")
	assert.Equal(t, 1, strings.Count(strings.Join(out.texts, " "), "16.0 psi"), "the reason is not repeated as a remark")
}

func TestInfeasibleSaysWhatWasBest(t *testing.T) {
	lot, d := everything()
	d.Status, d.Reason, d.Coverage = layout.StatusInfeasible, "14 heads reach only 96.9 % of the lawn", 0.96999
	flat := strings.Join(checkPage(t, plan(lot, d)).texts, " ")
	assert.Contains(t, flat, d.Reason)
	assert.Contains(t, flat, "Best found: 14 heads")
	assert.Contains(t, flat, "96.9 %, target 97.0 %", "rounded down")
}

func TestHostileWordsAreHarmless(t *testing.T) {
	lot, d := everything()
	lot.ID, d.LotID, d.Reason, d.Status = hostileID, hostileID, hostileID, layout.Status(hostileID)
	d.Heads[0].Label = "</text><script>"
	d.Heads[1].Model = hostileID
	d.Notes = []layout.Note{{Text: hostileID}}
	d.Network.Runs[0].To = `"/><a href="x">`
	for name, p := range map[string]*page{"plan": plan(lot, d), "sheet": contactSheet(hostileID, []Item{{lot, d}}),
		"chart": scenarioChart(Chart{hostileID, hostileID, []ChartPoint{{Pressure: 300, Heads: 4}}})} {
		out := checkPage(t, p)
		data := string(render(t, p))
		assert.NotContains(t, data, "<img", name)
		assert.NotContains(t, data, "<script", name)
		assert.NotContains(t, data, "<a ", name)
		assert.Contains(t, strings.Join(out.titles, ""), "<img src=x onerror=alert(1)>", "%s: the words themselves are kept", name)
	}
}

// TestScale: 24 m at 1:200 are 120 mm of paper, 120/25.4·100 page units; and
// the scale bars measure what is drawn.
func TestScale(t *testing.T) {
	lot, d := everything()
	out := checkPage(t, plan(lot, d))
	parcel := widest(out, lotLine.Dash)
	assert.InDelta(t, 120/25.4*100, parcel, 0.02)

	unitsPerMetre := parcel / 24
	bars := barLengths(out)
	require.Len(t, bars, 2)
	assert.InDelta(t, 20*0.3048*unitsPerMetre, bars[0], 0.1, "20 ft")
	assert.InDelta(t, 10*unitsPerMetre, bars[1], 0.1, "10 m")
}

// widest returns the width of the widest path with the given dash.
func widest(out drawn, dash string) float64 {
	most := 0.0
	for _, m := range out.marks {
		if m.name != "path" || m.attributes["stroke-dasharray"] != dash || m.depth < 2 {
			continue
		}
		low, high := math.Inf(1), math.Inf(-1)
		for _, place := range strings.FieldsFunc(m.attributes["d"], func(r rune) bool { return strings.ContainsRune("MLZ", r) }) {
			x, _ := strconv.ParseFloat(strings.Fields(place)[0], 64)
			low, high = min(low, x), max(high, x)
		}
		most = max(most, high-low)
	}
	return most
}

// barLengths adds up the parts of the scale bars: the rectangles of their
// height, by line.
func barLengths(out drawn) []float64 {
	var lengths []float64
	line := ""
	for _, m := range out.marks {
		if m.name != "rect" || m.attributes["height"] != "5.00" || m.attributes["stroke-width"] != "0.60" {
			continue
		}
		w, _ := strconv.ParseFloat(m.attributes["width"], 64)
		if m.attributes["y"] != line {
			line = m.attributes["y"]
			lengths = append(lengths, 0)
		}
		lengths[len(lengths)-1] += w
	}
	return lengths
}

func TestNorthIsUpAndEastIsRight(t *testing.T) {
	v := fit(rectangle(0, 0, 10000, 10000).Bounds(), planFrame, true)
	southWest, northEast := v.at(geom.Vec{}), v.at(geom.Vec{X: 10000, Y: 10000})
	assert.Less(t, northEast.Y, southWest.Y)
	assert.Greater(t, northEast.X, southWest.X)
	assert.InDelta(t, northEast.X-southWest.X, southWest.Y-northEast.Y, 1e-9, "one scale both ways")
}

func TestScaleIsRoundAndFits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := geom.EmptyBounds().Grow(geom.Pt(0, 0)).Grow(geom.Pt(rapid.Int64Range(0, geom.MaxCoord).Draw(t, "w"), rapid.Int64Range(0, geom.MaxCoord).Draw(t, "h")))
		frame := planFrame.Inset(planMargin)
		v := fit(b, frame, true)
		for _, p := range []geom.Point{b.Min, b.Max} {
			if at := v.at(p.Vec()); !frame.Inset(-1e-6).Has(at) {
				t.Fatalf("%v falls on %v, off the frame", p, at)
			}
		}
		steps := v.ratio() / math.Pow(10, math.Floor(math.Log10(v.ratio()*(1+1e-12))))
		if !containsNear(scaleSteps, steps) {
			t.Fatalf("scale 1:%v is not round", v.ratio())
		}
		for unit, bar := range map[float64]bar{1000: v.metreBar(), 304.8: v.feetBar()} {
			if math.Abs(bar.length*unit*v.scale-bar.onPage) > 1e-9*bar.onPage || bar.onPage > barRoom+1e-6 || bar.onPage < barRoom/2.5-1e-6 {
				t.Fatalf("bar of %v × %v mm is %v units long at %v units a mm", bar.length, unit, bar.onPage, v.scale)
			}
			if first := bar.length / math.Pow(10, math.Floor(math.Log10(bar.length*(1+1e-12)))); !containsNear([]float64{1, 2, 5}, first) {
				t.Fatalf("bar of %v is not round", bar.length)
			}
		}
	})
}

func containsNear(list []float64, v float64) bool {
	for _, w := range list {
		if math.Abs(v-w) < 1e-6*w {
			return true
		}
	}
	return false
}

// TestPlanOfAnything draws random designs, believable or not.
func TestPlanOfAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lot, d := anyLot(t)
		p := plan(lot, d)
		out := checkPage(t, p)
		if lot != nil {
			checkHeadLabels(t, out, d)
		}
		checkPage(t, contactSheet("batch", []Item{{lot, d}, {nil, d}, {lot, nil}}))
	})
}

// anyLot draws a lot between 2 m and 4 km across with up to 40 heads anywhere.
func anyLot(t *rapid.T) (*layout.Lot, *layout.Design) {
	size := rapid.SampledFrom([]int64{2000, 20000, 60000, 4000000}).Draw(t, "size")
	coordinate := rapid.Int64Range(-size/2, size/2)
	point := func(label string) geom.Point { return geom.Pt(coordinate.Draw(t, label), coordinate.Draw(t, label)) }
	region := func(label string) geom.Region {
		var ring geom.Ring
		for range rapid.IntRange(0, 12).Draw(t, label) {
			ring = append(ring, point(label))
		}
		return geom.Region{{ring}} // may be empty or cross itself
	}
	lot := &layout.Lot{ID: rapid.String().Draw(t, "id"), Parcel: region("parcel"), Building: region("building"), Hardscape: region("paving"), Sleeves: []geom.Line{{point("s"), point("s")}, {}}}
	d := &layout.Design{
		LotID: lot.ID, Status: rapid.SampledFrom(statuses()).Draw(t, "status"), Reason: rapid.String().Draw(t, "reason"),
		Irrigated: region("lawn"), Dry: region("dry"), Narrow: region("narrow"), Coverage: rapid.Float64().Draw(t, "coverage"),
		Throw: layout.Length(rapid.Float64().Draw(t, "throw")), DryArea: rapid.Float64().Draw(t, "dry"), Pressure: layout.PSI(55),
	}
	for i := range rapid.IntRange(0, 40).Draw(t, "heads") {
		h := arcHead(i+1, coordinate.Draw(t, "x"), coordinate.Draw(t, "y"), rapid.Float64Range(-400, 400).Draw(t, "start"), rapid.Float64Range(-10, 500).Draw(t, "sweep"))
		h.Pinned = i%5 == 0
		if i%2 == 0 {
			h.Kind = layout.VariableThrow
		}
		d.Heads = append(d.Heads, h)
	}
	d.Network.POC, d.Network.POCAssumed = point("poc"), rapid.Bool().Draw(t, "assumed")
	for i := range rapid.IntRange(0, 20).Draw(t, "runs") {
		surface := rapid.SampledFrom([]layout.Surface{layout.SurfaceSoil, layout.SurfacePaving, layout.SurfaceSleeve, ""}).Draw(t, "surface")
		d.Network.Runs = append(d.Network.Runs, layout.TrenchRun{From: "POC", To: fmt.Sprintf("T%d", i/2), Surface: surface, Path: geom.Line{point("run"), point("run")}})
	}
	for range rapid.IntRange(0, 12).Draw(t, "notes") {
		d.Notes = append(d.Notes, layout.Note{Text: rapid.String().Draw(t, "note")})
	}
	if rapid.IntRange(0, 9).Draw(t, "nil") == 0 {
		lot = nil
	}
	return lot, d
}

// TestManyHeadsInOnePlace: labels must be led away from a crowd.
func TestManyHeadsInOnePlace(t *testing.T) {
	lot := &layout.Lot{ID: "1", Parcel: rectangle(0, 0, 30000, 30000)}
	d := &layout.Design{LotID: "1", Status: layout.StatusDesigned}
	for i := range 80 {
		d.Heads = append(d.Heads, arcHead(i+1, 15000+int64(i%9)*300, 15000+int64(i/9)*300, 0, 90))
	}
	checkHeadLabels(t, checkPage(t, plan(lot, d)), d)
}

func TestTooManyLabelsAreCounted(t *testing.T) {
	lot := &layout.Lot{ID: "1", Parcel: rectangle(0, 0, 30000, 30000)}
	d := &layout.Design{LotID: "1", Status: layout.StatusDesigned}
	for i := range 45 {
		h := arcHead(i+1, 15000, 15000, 0, 90)
		h.Label = fmt.Sprintf("WWWWWWWWWWWWW%d", i)
		d.Heads = append(d.Heads, h)
	}
	bounds, _ := extent(lot, d)
	small := paper.Box{Left: 0, Top: 0, Right: 300, Bottom: 100}
	pt := &painter{page: newPage(300, 100, 2), view: fit(bounds, small, false), letters: planLetters, words: lengthWords}
	left := pt.labels(lot, d)
	assert.Positive(t, left)
	assert.Equal(t, 45, left+len(pt.Texts)-strayTexts(pt), "every label is there or counted")
	assert.Contains(t, remarksOn(nil, d, left)[0], strconv.Itoa(left)+" labels left out")
}

// strayTexts counts texts other than head labels: those of lot sides are small.
func strayTexts(p *painter) int {
	n := 0
	for _, q := range p.Texts {
		if q[2].Sub(q[1]).Norm() < planLetters.crowded*(paper.Ascent+paper.Descent)+1e-9 {
			n++
		}
	}
	return n
}
