package drawing

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/paper"
)

func TestDecimal(t *testing.T) {
	for _, c := range []struct {
		v        float64
		decimals int
		want     string
	}{
		{0, 1, "0.0"}, {999.94, 1, "999.9"}, {1000, 0, "1,000"}, {1234567.891, 2, "1,234,567.89"}, {-4200, 0, "-4,200"},
		{-0.001, 1, "0.0"}, {100, 0, "100"}, {math.NaN(), 1, "–"}, {math.Inf(1), 1, "–"},
	} {
		assert.Equal(t, c.want, Decimal(c.v, c.decimals))
	}
}

func TestQuantitiesInBothSystems(t *testing.T) {
	// 1 ft = 0.3048 m, 1 psi = 6.894757 kPa, 1 gal = 3.785412 L (NIST SP 811,
	// appendix B), 1 m² = 10.76391 ft².
	assert.Equal(t, "30.0 ft (9.1 m)", lengthWords(layout.Feet(30)))
	assert.Equal(t, "55.0 psi (379 kPa)", pressureWords(layout.PSI(55)))
	assert.Equal(t, "4.7 gpm (17.8 L/min)", flowWords(layout.GPM(4.7)))
	assert.Equal(t, "10,764 ft² (1,000.0 m²)", areaWords(1000))
	assert.Equal(t, "10.0 in (254 mm)", inchWords(0.254))
}

func TestPercentRoundsDown(t *testing.T) {
	assert.Equal(t, "96.9 %", Percent(0.96999))
	assert.Equal(t, "97.0 %", Percent(0.97))
	assert.Equal(t, "99.9 %", Percent(0.99999))
	assert.Equal(t, "100.0 %", Percent(1))
	assert.Equal(t, "–", Percent(math.NaN()))
}

func TestProofWords(t *testing.T) {
	d := &layout.Design{Heads: make([]layout.Head, 6), Proof: layout.Proof{Kind: layout.ProofDiscrete, Bound: 6}}
	assert.Equal(t, "6 heads; no fewer than 6 possible (discrete proof)", ProofWords(d))
	d.Proof.Kind = layout.ProofContinuous
	assert.Equal(t, "6 heads; no fewer than 6 possible (continuous proof)", ProofWords(d))
	d.Heads, d.Proof.Kind = d.Heads[:1], layout.ProofNone
	assert.Equal(t, "1 head; not proved to be the fewest", ProofWords(d))
}

func TestZoneWords(t *testing.T) {
	head := func(label string, zone int, gpm float64) layout.Head {
		return layout.Head{Label: label, Zone: zone, Flow: layout.GPM(gpm)}
	}
	alone := &layout.Design{Heads: []layout.Head{head("H1", 1, 4.7), head("H2", 2, 4.7)}}
	assert.Equal(t, []string{"2 zones, one head each, 4.7 gpm (17.8 L/min) at a time"}, zoneWords(alone))
	alone.Heads[1].Flow = layout.GPM(4)
	assert.Equal(t, []string{"2 zones, one head each, 4.0 to 4.7 gpm (15.1 to 17.8 L/min) at a time"}, zoneWords(alone))
	grouped := &layout.Design{Heads: []layout.Head{head("H1", 2, 1), head("H2", 1, 2), head("H3", 2, 3)}}
	assert.Equal(t, []string{"Zone 1: H2; 2.0 gpm (7.6 L/min)", "Zone 2: H1 H3; 4.0 gpm (15.1 L/min)"}, zoneWords(grouped))
	assert.Empty(t, zoneWords(&layout.Design{Heads: []layout.Head{head("H1", 0, 1)}}))
}

func TestRemarksGravestFirstAndOnce(t *testing.T) {
	note := func(s layout.Severity, text string) layout.Note { return layout.Note{Severity: s, Text: text} }
	d := &layout.Design{Notes: []layout.Note{note(layout.SeverityInfo, "a"), note(layout.SeverityError, "b"), note(layout.SeverityWarning, "c")}}
	d.Network.Unreached = []layout.Note{note(layout.SeverityWarning, "H3")}
	lot := &layout.Lot{Notes: []layout.Note{note(layout.SeverityInfo, "a"), note(layout.SeverityInfo, "d")}}
	assert.Equal(t, []string{"b", "H3", "c", "a", "d"}, Remarks(lot, d))
}

func TestJunctions(t *testing.T) {
	_, d := everything()
	got := junctions(d)
	assert.Equal(t, []junction{{"T1", geom.Pt(20600, 2500)}, {"T2", geom.Pt(9500, 2700)}}, got,
		"T2 ends a stretch of three runs, not the first of them")
}

func TestJunctionThatIsOnlyEverAnEnd(t *testing.T) {
	run := func(from string, path ...geom.Point) layout.TrenchRun {
		return layout.TrenchRun{From: from, To: "T1", Path: path}
	}
	d := &layout.Design{Heads: []layout.Head{{Label: "H1"}, {Label: "H2"}}}
	d.Network.Runs = []layout.TrenchRun{
		run("H1", geom.Pt(0, 0), geom.Pt(1, 0)), run("H1", geom.Pt(1, 0), geom.Pt(5, 0)), // through two surfaces
		run("H2", geom.Pt(9, 0), geom.Pt(5, 0)), run("POC", geom.Pt(5, 5), geom.Pt(5, 0)),
		{From: "POC", To: "H2", Path: geom.Line{geom.Pt(5, 5), geom.Pt(9, 0)}},
	}
	assert.Equal(t, []junction{{"T1", geom.Pt(5, 0)}}, junctions(d))
}

func TestColumnSaysWhatItCutsOff(t *testing.T) {
	c := &column{page: newPage(120, 200, 2), frame: paper.Box{Left: 0, Top: 0, Right: 120, Bottom: 200}, floor: 2 * leading}
	c.paragraph("the parcel cannot be used because it crosses itself in three places", 7)
	assert.Len(t, c.Texts, 2)
	assert.Contains(t, string(render(t, c.page)), paper.Ellipsis)
	c.paragraph("no more room", 7)
	assert.Len(t, c.Texts, 2)
}
