package hydraulic_test

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/hydraulic"
)

func inp(t testing.TB, title string, n hydraulic.Network) string {
	t.Helper()
	text, err := hydraulic.INP(title, n, solve(t, n))
	require.NoError(t, err)
	return string(text)
}

// sections reads an input file back: rows of cells by section.
func sections(t testing.TB, text string) map[string][][]string {
	out, at := map[string][][]string{}, ""
	for line := range strings.Lines(text) {
		line = strings.TrimSuffix(line, "\n")
		switch {
		case strings.HasPrefix(line, "["):
			at = strings.Trim(line, "[]")
			require.NotContains(t, out, at, "a section once")
			out[at] = nil
		case line != "":
			out[at] = append(out[at], strings.Split(line, "\t"))
		}
	}
	return out
}

// TestINP: the parts of a small network as they stand in the file.
func TestINP(t *testing.T) {
	meter, _ := hydraulic.Meter("3/4 in")
	backflow, _ := hydraulic.GenericBackflow(hydraulic.PressureVacuumBreaker)
	n := chain(measured(75, 15, 55),
		hydraulic.Link{Label: "meter", Kind: hydraulic.KindMeter, Element: meter},
		hydraulic.Link{Label: "backflow", Kind: hydraulic.KindBackflow, Element: backflow},
		hydraulic.Link{Label: "regulator", Kind: hydraulic.KindRegulator, Element: hydraulic.Regulator{Set: layout.PSI(50)}},
		pipe("1 in", 100, hydraulic.FittingCount{Fitting: hydraulic.Ell90, Count: 1}))
	n.Nodes[4].Emitter, n.Nodes[4].Elevation = nozzle(4), 1.5
	s := sections(t, inp(t, "Lot 7", n))
	assert.Equal(t, [][]string{{"Lotwright Lot 7"}}, s["TITLE"])
	assert.Equal(t, []string{"N4", "1.5", "0"}, s["JUNCTIONS"][4])
	assert.Equal(t, [][]string{{"source:supply", "source:reservoir", "N0", "HEAD", "source:supply"}}, s["PUMPS"])
	number := func(cell string) float64 {
		v, err := strconv.ParseFloat(cell, 64)
		require.NoError(t, err)
		return v
	}
	assert.InDelta(t, 102.62*0.3048, number(s["PIPES"][0][3]), 1e-9, "pipe and the length that its ell counts for")
	assert.InDelta(t, 1.049*25.4, number(s["PIPES"][0][4]), 1e-9)
	assert.Equal(t, "150", s["PIPES"][0][5])
	assert.Equal(t, []string{"TCV", "GPV", "PRV"}, []string{s["VALVES"][0][4], s["VALVES"][1][4], s["VALVES"][2][4]})
	assert.InDelta(t, layout.GPM(4).LPM()/60/math.Sqrt(layout.PSI(40).KPa()/9.80665), number(s["EMITTERS"][0][1]), 1e-12)
	require.Len(t, s["CURVES"], 5)
	assert.InDelta(t, layout.PSI(75).KPa()/9.80665, number(s["CURVES"][0][2]), 1e-9)
	assert.InDelta(t, layout.PSI(55).KPa()/9.80665, number(s["CURVES"][2][2]), 1e-9)
	assert.NotContains(t, s, "COORDINATES", "nobody said where")
}

// TestINPOfHeads: a head of the catalogue is an emitter through its working point,
// one above its band a demand, and places make a map.
func TestINPOfHeads(t *testing.T) {
	p := tee()
	n, heads, err := hydraulic.Draw(p)
	require.NoError(t, err)
	r := solve(t, n.Running(heads[0]))
	text, err := hydraulic.INP("", n.Running(heads[0]), r)
	require.NoError(t, err)
	s := sections(t, string(text))
	require.Len(t, s["EMITTERS"], 1)
	assert.Equal(t, "H1", s["EMITTERS"][0][0])
	assert.Equal(t, []string{"H1", "35", "0"}, s["COORDINATES"][1])
	n.Source = hydraulic.Held(layout.PSI(90))
	s = sections(t, inp(t, "", n.Running(heads[0])))
	assert.Empty(t, s["EMITTERS"])
	gpm, _ := strconv.ParseFloat(s["JUNCTIONS"][0][2], 64)
	assert.InDelta(t, layout.GPM(5.3).LPM()/60, gpm, 1e-12)
	assert.Equal(t, "source", s["RESERVOIRS"][0][0], "a source that holds is the reservoir itself")
}

func TestINPByDarcyWeisbach(t *testing.T) {
	n := chain(hydraulic.Held(layout.PSI(50)), pipe("1 in", 10))
	n.Nodes[1].Emitter, n.Formula = nozzle(4), hydraulic.DarcyWeisbach
	s := sections(t, inp(t, "", n))
	assert.Equal(t, "0.0015", s["PIPES"][0][5])
	assert.Contains(t, s["OPTIONS"], []string{"HEADLOSS", "D-W"})
}

// FuzzINPLabels: whatever lots, nodes and links are called, every row of the file
// keeps its shape, names are what EPANET takes, and none stands for two.
func FuzzINPLabels(f *testing.F) {
	for _, s := range []string{"", "A-001", "[JUNCTIONS]", "; drop", "a b\tc\n[END]\n", "N1", "n1", "\x00\xff", "ünï", strings.Repeat("x", 200), `"`, "source:supply", "\u202e"} {
		f.Add(s, s+"2", "L"+s)
	}
	name := regexp.MustCompile(`^[0-9A-Za-z._:-]{1,31}$`)
	f.Fuzz(func(t *testing.T, title, a, b string) {
		n := chain(measured(60, 12, 45), pipe("1 in", 10), hydraulic.Link{Element: hydraulic.LossCurve{Points: []hydraulic.LossPoint{{Flow: 100, Loss: 1}}}}, pipe("1 in", 10))
		for i, label := range []string{a, b, a, title} {
			n.Nodes[i].Label = label
			n.Nodes[i].Emitter = nozzle(1)
		}
		for i, label := range []string{b, a, b} {
			n.Links[i].Label = label
		}
		text := inp(t, title, n)
		s := sections(t, text)
		require.Len(t, s, 12)
		require.Len(t, s["TITLE"], 1)
		require.LessOrEqual(t, len(s["TITLE"][0][0]), 80)
		for section, columns := range map[string]int{"JUNCTIONS": 3, "RESERVOIRS": 2, "PIPES": 8, "PUMPS": 5, "VALVES": 7, "EMITTERS": 2, "CURVES": 3} {
			taken := map[string]bool{}
			require.NotEmpty(t, s[section])
			for _, cells := range s[section] {
				require.Len(t, cells, columns, "%s %q", section, cells)
				require.Regexp(t, name, cells[0])
				if section != "CURVES" {
					require.False(t, taken[strings.ToLower(cells[0])], "%q twice", cells[0])
					taken[strings.ToLower(cells[0])] = true
				}
			}
		}
		require.Len(t, s["JUNCTIONS"], 4)
	})
}

// TestManyLikeLabels: names stay apart and short when all labels are alike.
func TestManyLikeLabels(t *testing.T) {
	var links []hydraulic.Link
	for range 120 {
		l := pipe("1 in", 1)
		l.Label = strings.Repeat("long", 20)
		links = append(links, l)
	}
	n := chain(hydraulic.Held(layout.PSI(60)), links...)
	for i := range n.Nodes {
		n.Nodes[i].Label = "node"
	}
	seen := map[string]bool{}
	for _, row := range sections(t, inp(t, "", n))["PIPES"] {
		assert.LessOrEqual(t, len(row[0]), 31)
		assert.False(t, seen[row[0]])
		seen[row[0]] = true
	}
}
