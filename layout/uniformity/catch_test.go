package uniformity_test

import (
	"errors"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/uniformity"
)

func cans(t *testing.T, text string) uniformity.Catch {
	t.Helper()
	c, err := uniformity.ParseCans(strings.NewReader(text), uniformity.Frame{})
	require.NoError(t, err)
	return c
}

func cansOf(t *testing.T, name string) uniformity.Catch {
	t.Helper()
	text, err := os.ReadFile("testdata/" + name)
	require.NoError(t, err)
	return cans(t, string(text))
}

func assess(t *testing.T, test uniformity.CatchTest, c uniformity.Catch) *uniformity.Audit {
	t.Helper()
	a, err := test.Assess(c)
	require.NoError(t, err)
	return a
}

func rulesOf(notes []layout.Note) (out []string) {
	for _, n := range notes {
		out = append(out, n.Rule)
	}
	return out
}

// TestLawnAuditFile reads a published test on a real lawn from a file: figures
// as the landscape article of the R library spreval prints them, the rate by the
// constant 3.66 for ml, minutes and square inches.
func TestLawnAuditFile(t *testing.T) {
	wind := uniformity.MPH(3)
	test := uniformity.CatchTest{RunTime: 15 * time.Minute, MouthCM2: uniformity.RoundMouthCM2(0.072), Wind: &wind}
	a := assess(t, test, cansOf(t, "lawn_audit.csv"))
	assert.Equal(t, uniformity.CanVolume, a.Unit)
	assert.Equal(t, 46, a.Whole.Count)
	assert.InDelta(t, 10.674, a.Whole.Mean, 1e-3)
	assert.InDelta(t, 64.2, 100*a.Whole.CU, 0.1)
	assert.InDelta(t, 45.3, 100*a.Whole.DULowQuarter, 0.1)
	assert.InDelta(t, 64.4, 100*a.Whole.DULowHalf, 0.1)
	assert.InDelta(t, 0.1032, a.Whole.MeanDepthMM/25.4, 1e-4)
	assert.InEpsilon(t, 0.413, a.Whole.Precipitation.InchesPerHour(), 1e-3)
	assert.InEpsilon(t, 3.66*10.674/(15*6.311), a.Whole.Precipitation.InchesPerHour(), 1e-3)
	assert.InDelta(t, 10.674/2, a.Whole.SchedulingCoefficient(), 1e-3)
	assert.InDelta(t, 1/0.644, a.Whole.RunTimeMultiplier(), 2e-3)
	assert.Empty(t, a.Zones)
	assert.Equal(t, []string{"catch.count", "catch.uneven"}, rulesOf(a.Notes))
}

// TestSolidSetFile reads the published solid-set test. Its flow worked backward
// from the rate, 16.98 gpm on 80 × 80 ft, is the article's.
func TestSolidSetFile(t *testing.T) {
	c := cansOf(t, "solid_set.csv")
	a := assess(t, uniformity.CatchTest{RunTime: 135 * time.Minute}, c)
	assert.Equal(t, uniformity.CanDepth, a.Unit)
	assert.InDelta(t, 0.575, a.Whole.Mean/25.4, 1e-9)
	assert.InDelta(t, 74.89, 100*a.Whole.CU, 0.01)
	assert.InDelta(t, 55.22, 100*a.Whole.DULowQuarter, 0.01)
	assert.InDelta(t, 75.65, 100*a.Whole.DULowHalf, 0.01)
	flow, err := uniformity.PrecipitationRate(layout.GPM(16.98), 6400*layout.MetresPerFoot*layout.MetresPerFoot)
	require.NoError(t, err)
	assert.InEpsilon(t, flow.MMPerHour(), a.Whole.Precipitation.MMPerHour(), 0.002)
	assert.Equal(t, geom.Pt(3048, 21336), *c.Cans[0].At, "10 ft east, 70 ft north")
	assert.Equal(t, []string{"catch.few_cans", "catch.wind_unknown", "catch.uneven"}, rulesOf(a.Notes))
}

// TestFifteenCans is the example of the library's own pages.
func TestFifteenCans(t *testing.T) {
	text := "volume_ml\n"
	for _, v := range fifteenCans {
		text += fmt.Sprintln(v)
	}
	a := assess(t, uniformity.CatchTest{}, cans(t, text))
	assert.InDelta(t, 69.13955, 100*a.Whole.CU, 1e-4)
	assert.InDelta(t, 49.62039, 100*a.Whole.DULowQuarter, 1e-4)
	assert.InDelta(t, 71.58351, 100*a.Whole.DULowHalf, 1e-4)
	assert.False(t, a.Whole.PrecipitationKnown)
	assert.Zero(t, a.Whole.RunTimeFor(10), "without a rate there is no run time")
	assert.Subset(t, rulesOf(a.Notes), []string{"catch.mouth_unknown", "catch.run_time_unknown"})
}

// TestRunTimeFor holds the weekly need of AgriLife (oaoa.com, 26 July 2020): a
// quarter inch in five minutes, an inch wanted, makes twenty minutes when evenly
// caught; and the auditors' multiplier of 1.25 for a lower half at 80 %.
func TestRunTimeFor(t *testing.T) {
	test := uniformity.CatchTest{RunTime: 5 * time.Minute}
	even := assess(t, test, cans(t, "depth_in\n0.25\n0.25\n0.25\n0.25\n"))
	assert.InDelta(t, 20, even.Whole.RunTimeFor(25.4).Minutes(), 1e-6)
	uneven := assess(t, test, cans(t, "depth_in\n0.2\n0.2\n0.3\n0.3\n"))
	assert.InDelta(t, 25, uneven.Whole.RunTimeFor(25.4).Minutes(), 1e-6)
	dry := assess(t, test, cans(t, "depth_in\n0\n0\n0\n0.3\n"))
	assert.Zero(t, dry.Whole.RunTimeFor(25.4), "no run time waters a lower half that gets nothing")
}

func TestZonesApart(t *testing.T) {
	a := assess(t, uniformity.CatchTest{RunTime: time.Hour}, cans(t, "zone,depth_mm\n2,10\n1,4\n2,20\n,8\n1,6\n"))
	require.Len(t, a.Zones, 2)
	assert.Equal(t, []int{1, 2}, []int{a.Zones[0].Zone, a.Zones[1].Zone})
	assert.InDelta(t, 5, a.Zones[0].Precipitation.MMPerHour(), 1e-12)
	assert.InDelta(t, 15, a.Zones[1].Precipitation.MMPerHour(), 1e-12)
	assert.InDelta(t, 9.6, a.Whole.Mean, 1e-12)
}

// TestGuides holds the published demands on a test: 24 cans, 45 ml in a mouth of
// 30 in² (landscapemanagement.net), wind up to 5 mph (ASAE S398.1).
func TestGuides(t *testing.T) {
	windy, calm := uniformity.MPH(5.1), uniformity.MPH(5)
	test := uniformity.CatchTest{RunTime: 10 * time.Minute, MouthCM2: 30 * 6.4516, Wind: &windy}
	full := func(n int, ml float64) uniformity.Catch {
		return cans(t, "volume_ml\n"+strings.Repeat(fmt.Sprintln(ml), n))
	}
	assert.Equal(t, []string{"catch.few_cans", "catch.windy", "catch.small"}, rulesOf(assess(t, test, full(20, 44.9)).Notes))
	small := assess(t, test, full(24, 30)).Notes
	assert.Contains(t, small[len(small)-1].Text, "run for 15 minutes")
	test.Wind = &calm
	assert.Empty(t, assess(t, test, full(24, 45.1)).Notes)

	dry := assess(t, test, cans(t, "label,x_m,y_m,volume_ml\nA,1,2,60\nB,3,4,0\n")).Notes
	last := dry[len(dry)-1]
	assert.Equal(t, "catch.dry", last.Rule)
	assert.Equal(t, geom.Pt(3000, 4000), *last.At)
	assert.Contains(t, last.Text, "can B")
}

func TestAssessRefuses(t *testing.T) {
	_, err := uniformity.CatchTest{}.Assess(uniformity.Catch{})
	assert.ErrorContains(t, err, "no readings")
	for _, test := range []uniformity.CatchTest{{RunTime: -1}, {MouthCM2: math.NaN()}, {MouthCM2: math.Inf(1)}, {MouthCM2: -1}} {
		_, err := test.Assess(cans(t, "depth_mm\n1\n"))
		assert.ErrorContains(t, err, "makes no sense")
	}
}

func TestFrame(t *testing.T) {
	f := uniformity.Frame{Origin: geom.Pt(100, 200), YBearingDeg: 90,
		LonLat: func(lon, lat float64) geom.Point { return geom.Pt(int64(lon*1000), int64(lat*1000)) }}
	c, err := uniformity.ParseCans(strings.NewReader("y_m,x_m,depth_mm\n3,1,5\n,,6\n"), f)
	require.NoError(t, err)
	assert.Equal(t, geom.Pt(3100, -800), *c.Cans[0].At, "3 m east, 1 m south")
	assert.Nil(t, c.Cans[1].At)
	c, err = uniformity.ParseCans(strings.NewReader("lon,lat,depth_mm\n-8,41.5,5\n"), f)
	require.NoError(t, err)
	assert.Equal(t, geom.Pt(-8000, 41500), *c.Cans[0].At)
}

func TestCansRefused(t *testing.T) {
	for name, c := range map[string]struct {
		text, message string
	}{
		"empty":               {"", "catch cans: the file holds no line of column names"},
		"no can":              {"depth_mm\n# none\n", "the file holds column names but no can"},
		"unknown column":      {"depth_mm,wind\n1,2\n", `line 1, column "wind": not known; known are depth_in, depth_mm, distance_ft`},
		"twice":               {"depth_mm,Depth_MM\n1,2\n", "line 1, column depth_mm: stands twice"},
		"no reading column":   {"label\nA\n", "a column volume_ml, depth_mm or depth_in is needed"},
		"two readings":        {"depth_mm,volume_ml\n1,2\n", "column depth_mm: excludes volume_ml"},
		"two places":          {"depth_mm,x_m,y_m,lon,lat\n1,1,1,1,1\n", "column lon: excludes x_m"},
		"half a place column": {"depth_mm,x_m\n1,1\n", "columns x_m and y_m go together"},
		"no plane":            {"depth_mm,lon,lat\n1,1,1\n", "the place of the lot on earth is not known"},
		"half a place":        {"depth_mm,x_m,y_m\n1,1,\n", "line 2: x_m and y_m go together"},
		"no reading":          {"label,depth_mm\nA,1\nB,\n", "line 3: no reading"},
		"not a number":        {"depth_mm\n1\nx\n", `line 3, column depth_mm: "x" is not a number`},
		"NaN":                 {"depth_mm\nNaN\n", "is not a number"},
		"negative":            {"volume_ml\n-1\n", "-1 is out of range"},
		"far away":            {"x_m,y_m,depth_mm\n1e9,0,1\n", "line 2, column x_m: 1e9 is out of range"},
		"zone 0":              {"zone,depth_mm\n0,1\n", "not the number of a zone"},
		"label twice":         {"label,depth_mm\nA,1\n\nA,2\n", `line 4, column label: "A" stands on line 2 already`},
		"ragged":              {"label,depth_mm\nA\n", "line 2: wrong number of fields"},
		"quote":               {"label,depth_mm\n\"A,1\n", "line 2: "},
		"long label":          {"label,depth_mm\n" + strings.Repeat("x", 65) + ",1\n", "longer than 64 bytes"},
		"too many":            {"depth_mm\n" + strings.Repeat("1\n", 20001), "more than 20000 cans"},
		"too large":           {"depth_mm\n#" + strings.Repeat("x", 5<<20) + "\n1\n", "larger than 4 MiB"},
	} {
		_, err := uniformity.ParseCans(strings.NewReader(c.text), uniformity.Frame{})
		var fault *uniformity.CanError
		require.ErrorAs(t, err, &fault, name)
		assert.ErrorContains(t, err, c.message, name)
	}
}

type failing struct{}

func (failing) Read([]byte) (int, error) { return 0, errors.New("the disc is gone") }

func TestCansThatCannotBeRead(t *testing.T) {
	_, err := uniformity.ParseCans(failing{}, uniformity.Frame{})
	assert.EqualError(t, err, "catch cans: the disc is gone")
}

func FuzzParseCans(f *testing.F) {
	f.Add("label,zone,x_ft,y_ft,volume_ml\nA,1,2,3,4\n")
	f.Add("\uFEFFdistance_m,depth_in\n1,0.5\n# remark\n2,0\n")
	f.Add("lon,lat,depth_mm\n-80,40,1\n")
	f.Add("\"a\nb\",depth_mm\n")
	f.Fuzz(func(t *testing.T, text string) {
		frame := uniformity.Frame{LonLat: func(lon, lat float64) geom.Point { return geom.Vec{X: lon, Y: lat}.Round() }}
		c, err := uniformity.ParseCans(strings.NewReader(text), frame)
		if err != nil {
			var fault *uniformity.CanError
			require.ErrorAs(t, err, &fault)
			return
		}
		a, err := uniformity.CatchTest{RunTime: time.Minute, MouthCM2: 50}.Assess(c)
		require.NoError(t, err)
		require.Equal(t, len(c.Cans), a.Whole.Count)
		require.LessOrEqual(t, a.Whole.DULowQuarter, 1+1e-9)
	})
}

// TestTexts reads the figures back from the text and the table.
func TestTexts(t *testing.T) {
	test := uniformity.CatchTest{RunTime: 15 * time.Minute, MouthCM2: uniformity.RoundMouthCM2(0.072)}
	var b strings.Builder
	require.NoError(t, assess(t, test, cansOf(t, "lawn_audit.csv")).WriteText(&b))
	assert.Regexp(t, `(?m)^all +46 +10\.67 +2\.00 +26\.00 +45\.3 +64\.4 +64\.2 +5\.34 +1\.55 +0\.41 in/h`, b.String())
	assert.Contains(t, b.String(), "info  catch.wind_unknown: no wind was noted")

	b.Reset()
	require.NoError(t, assess(t, uniformity.CatchTest{}, cans(t, "zone,depth_mm\n7,0\n7,0\n7,0\n7,4\n")).WriteText(&b))
	assert.Regexp(t, `(?m)^7 +4 .* none: dry +none: dry +not known`, b.String())

	b.Reset()
	c, err := uniformity.CatchTest{}.Compare(cans(t, "label,zone,x_m,y_m,depth_mm\n\"a,b\",2,1.5,-2,6\n"),
		func(uniformity.Can) (float64, bool) { return 4.5, true })
	require.NoError(t, err)
	require.NoError(t, c.WriteCSV(&b))
	assert.Equal(t, "label,zone,x_m,y_m,measured_mm,predicted_mm,difference_mm\n\"a,b\",2,1.500,-2.000,6.00,4.50,1.50\n", b.String())
}

// TestCompare holds figures worked by hand: caught 6 and 10 where 4 and 4 were
// predicted.
func TestCompare(t *testing.T) {
	c := cans(t, "x_m,y_m,depth_mm\n0,0,6\n1,0,10\n9,9,5\n,,7\n")
	predicted := func(can uniformity.Can) (float64, bool) { return 4, can.At.X < 5000 }
	got, err := uniformity.CatchTest{}.Compare(c, predicted)
	require.NoError(t, err)
	require.Len(t, got.Cans, 2)
	assert.Equal(t, []float64{2, 6}, []float64{got.Cans[0].DifferenceMM(), got.Cans[1].DifferenceMM()})
	assert.Len(t, got.Left, 2, "one off the lawn, one without a place")
	assert.InDelta(t, 2, got.Scale, 1e-12)
	assert.InDelta(t, math.Sqrt(20), got.RMSDifferenceMM, 1e-12)
	assert.InDelta(t, 2, got.PatternRMSMM, 1e-12)

	c = cans(t, "label,x_m,y_m,depth_mm\nA,0,0,6\n,1,0,10\n")
	got, err = uniformity.CatchTest{}.Compare(c, func(can uniformity.Can) (float64, bool) { return 4 + 4*float64(can.At.X)/1000, true })
	require.NoError(t, err)
	notes := got.Notes() // the mean caught is 4/3 of 4 and 8 predicted: 5.33 and 10.67
	require.Len(t, notes, 2)
	assert.Equal(t, layout.Note{Rule: "catch.compared", Severity: layout.SeverityInfo, At: c.Cans[0].At,
		Text: "can A caught 6.0 mm (0.24 in); 4.0 mm (0.16 in) were predicted"}, notes[0])
	assert.Contains(t, notes[1].Text, "the can of line 3 caught 10.0 mm")
	got, err = uniformity.CatchTest{}.Compare(c, predicted)
	require.NoError(t, err)
	assert.Equal(t, layout.SeverityInfo, got.Notes()[0].Severity, "6 for 8 is a quarter")
	c.Cans[0].Reading = 5
	got, err = uniformity.CatchTest{}.Compare(c, predicted)
	require.NoError(t, err)
	assert.Equal(t, layout.SeverityWarning, got.Notes()[0].Severity, "5 for 7.5 is a third")

	_, err = uniformity.CatchTest{}.Compare(c, func(uniformity.Can) (float64, bool) { return 0, false })
	assert.ErrorContains(t, err, "none has a place on the lawn")
	_, err = uniformity.CatchTest{}.Compare(cans(t, "x_m,y_m,volume_ml\n0,0,6\n"), predicted)
	assert.ErrorContains(t, err, "mouth of the cans is not known")
}

func TestRateAt(t *testing.T) {
	r := uniformity.Result{Cell: 0.25, At: []geom.Point{{X: 0, Y: 0}, {X: 250, Y: 0}}, Rates: []float64{1, 2}}
	for _, c := range []struct {
		at   geom.Point
		rate uniformity.Rate
		ok   bool
	}{{geom.Pt(124, 0), 1, true}, {geom.Pt(126, 0), 2, true}, {geom.Pt(500, 0), 2, true}, {geom.Pt(501, 0), 0, false}} {
		rate, ok := r.RateAt(c.at)
		assert.Equal(t, c.ok, ok, c.at)
		assert.Equal(t, c.rate, rate, c.at)
	}
}

// TestWettedRadius lays a line of cans through a cone of 8 m: 4 mm/h at the head,
// 0.26 mm/h at 8·(1 − 0.26/4) = 7.48 m.
func TestWettedRadius(t *testing.T) {
	text := "distance_m,depth_mm\n"
	for _, d := range []float64{0, 2, 4, 6, 7, 7.9, 9} {
		text += fmt.Sprintf("%v,%v\n", d, 4*max(0, 1-d/8)/2)
	}
	test := uniformity.CatchTest{RunTime: 30 * time.Minute}
	r, err := test.WettedRadius(cans(t, text))
	require.NoError(t, err)
	assert.InDelta(t, 7.48, r.Metres(), 1e-9)

	for name, c := range map[string]struct {
		test          uniformity.CatchTest
		text, message string
	}{
		"no time":    {uniformity.CatchTest{}, text, "run time is not known"},
		"no mouth":   {test, "distance_m,volume_ml\n1,1\n", "mouth of the cans is not known"},
		"one can":    {test, "distance_m,depth_mm\n1,1\n,1\n", "at least two cans"},
		"all dry":    {test, "distance_m,depth_mm\n1,0\n2,0.1\n", "none got"},
		"short line": {test, "distance_ft,depth_mm\n1,1\n2,0.2\n", "is still wetted"},
	} {
		_, err := c.test.WettedRadius(cans(t, c.text))
		assert.ErrorContains(t, err, c.message, name)
	}
}
