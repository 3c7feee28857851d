package proof_test

import (
	"context"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/proof"
)

func rectangle(x0, y0, x1, y1 int64) geom.Region {
	return geom.Region{{{geom.Pt(x0, y0), geom.Pt(x1, y0), geom.Pt(x1, y1), geom.Pt(x0, y1)}}}
}

func hole(x0, y0, x1, y1 int64) geom.Ring {
	return geom.Ring{geom.Pt(x0, y0), geom.Pt(x0, y1), geom.Pt(x1, y1), geom.Pt(x1, y0)}
}

// a case is what Verify is given.
type given struct {
	ground proof.Ground
	claim  proof.Claim
	cert   layout.Certificate
}

// claimed makes a case whose certificate is about its claim.
func claimed(lawn geom.Region, claim proof.Claim) given {
	return given{
		ground: proof.Ground{Lawn: lawn},
		claim:  claim,
		cert: layout.Certificate{Heads: claim.Heads, TargetPPM: claim.TargetPPM, ThrowMM: claim.ThrowMM,
			CellMM: 1000, AtomMM: 250},
	}
}

func (g given) withCells(weight int64, corners ...geom.Point) given {
	for _, p := range corners {
		g.cert.Cells = append(g.cert.Cells, layout.CertificateCell{Min: p, Weight: weight})
	}
	return g
}

func (g given) verify(t *testing.T) proof.Report {
	report, err := proof.Verify(context.Background(), g.ground, g.claim, &g.cert, proof.Settings{})
	require.NoError(t, err)
	assert.Equal(t, report.Accepted, report.Reason == "")
	return report
}

// corridor is 40 m by 2 m, and the throw 5 m: no head reaches two of the
// places 11 m apart, so all of it takes four heads at least.
func corridor() given {
	g := claimed(rectangle(0, 0, 40_000, 2000), proof.Claim{Heads: 4, TargetPPM: 1_000_000, ThrowMM: 5000})
	g.cert.CellMM, g.cert.AtomMM, g.cert.Most = 500, 500, 1000
	return g.withCells(1000, geom.Pt(0, 0), geom.Pt(11_000, 0), geom.Pt(22_000, 0), geom.Pt(33_000, 0))
}

// evenCorridor is the same with weight all over it. Of its 80 m² a tenth may
// stay dry. A head wets no more than 20 m² of it, and three no more than 60.
func evenCorridor() given {
	g := claimed(rectangle(0, 0, 40_000, 2000), proof.Claim{Heads: 4, TargetPPM: 900_000, ThrowMM: 5000})
	for x := range int64(40) {
		g = g.withCells(1000, geom.Pt(1000*x, 0), geom.Pt(1000*x, 1000))
	}
	g.cert.Most = 23_999 // three times which is under 72 000
	return g
}

// fourCorners is a square of 20 m, and the throw 9 m: each corner takes a head
// of its own.
func fourCorners() given {
	g := claimed(rectangle(-10_000, -10_000, 10_000, 10_000), proof.Claim{Heads: 4, TargetPPM: 1_000_000, ThrowMM: 9000})
	g.cert.Most = 7
	return g.withCells(7, geom.Pt(-10_000, -10_000), geom.Pt(9000, -10_000), geom.Pt(-10_000, 9000), geom.Pt(9000, 9000))
}

// aroundHouse is the lawn about a house 12 m square, 4 m wide. Throw is no
// limit. From no place are the middles of opposite sides seen, so one head is
// too few.
func aroundHouse() given {
	lawn := rectangle(0, 0, 20_000, 20_000)
	lawn[0] = append(lawn[0], hole(4000, 4000, 16_000, 16_000))
	g := claimed(lawn, proof.Claim{Heads: 2, TargetPPM: 1_000_000, ThrowMM: 100_000})
	g.ground.Obstacles = []proof.Obstacle{
		{Outline: rectangle(0, 0, 20_000, 20_000), ClearMM: 100},
		{Outline: rectangle(4000, 4000, 16_000, 16_000), ClearMM: 300}}
	g.cert.Most = 3
	g.cert.Blockers = []geom.Segment{{A: geom.Pt(4000, 4000), B: geom.Pt(16_000, 16_000)}, {A: geom.Pt(16_000, 4000), B: geom.Pt(4000, 16_000)}}
	return g.withCells(3, geom.Pt(0, 9500), geom.Pt(19_000, 9500))
}

// keptApart is ground of 12.5 m by 8 m on which heads keep 3 m from the lot
// line. Between the cells in the lower corners lie 11.5 m; a head within 2.8 m of
// the line could reach both with its 6.2 m.
func keptApart() given {
	g := claimed(rectangle(0, 0, 12_500, 8000), proof.Claim{Heads: 2, TargetPPM: 1_000_000, ThrowMM: 6200})
	g.ground.Obstacles = []proof.Obstacle{{Outline: g.ground.Lawn, ClearMM: 3000}}
	g.cert.CellMM, g.cert.AtomMM, g.cert.Most = 500, 125, 64
	return g.withCells(64, geom.Pt(0, 0), geom.Pt(12_000, 0))
}

var sound = map[string]func() given{
	"corridor": corridor, "even corridor": evenCorridor, "four corners": fourCorners,
	"around house": aroundHouse, "kept apart": keptApart,
}

func TestSoundCertificatesAreAccepted(t *testing.T) {
	for name, make := range sound {
		t.Run(name, func(t *testing.T) {
			g := make()
			report := g.verify(t)
			assert.True(t, report.Accepted, report.Reason)
			assert.Positive(t, report.Boxes)
			assert.Less(t, int64(g.cert.Heads-1)*report.Most, report.SumWeight-report.DryWeight)
			assert.Equal(t, g.cert.Most, report.Most)
		})
	}
}

func TestReport(t *testing.T) {
	g := evenCorridor()
	report := g.verify(t)
	assert.EqualValues(t, 80_000, report.SumWeight)
	assert.EqualValues(t, 8000, report.DryWeight)
	assert.EqualValues(t, 23_999, report.Most)
}

// The house needs no chords: in small enough boxes its walls hide as much.
func TestWallsAloneHide(t *testing.T) {
	g := aroundHouse()
	g.cert.Blockers = nil
	report := g.verify(t)
	assert.True(t, report.Accepted, report.Reason)
}

// One head is needed for any share of a lawn, whatever it wets.
func TestOneHead(t *testing.T) {
	g := claimed(rectangle(0, 0, 4000, 1000), proof.Claim{Heads: 1, TargetPPM: 1, ThrowMM: 5000}).
		withCells(1, geom.Pt(0, 0), geom.Pt(1000, 0), geom.Pt(2000, 0), geom.Pt(3000, 0))
	g.cert.Most = 1 << 62
	assert.True(t, g.verify(t).Accepted)
}

func TestGridMayBeAnchoredAnywhere(t *testing.T) {
	g := corridor()
	for i := range g.cert.Cells {
		g.cert.Cells[i].Min = g.cert.Cells[i].Min.Add(geom.Pt(-123, -77))
	}
	assert.True(t, g.verify(t).Accepted)
}

func TestOrderDoesNotMatter(t *testing.T) {
	g := evenCorridor()
	slices.Reverse(g.cert.Cells)
	assert.True(t, g.verify(t).Accepted)
}

func TestEffortSpentIsNotAccepted(t *testing.T) {
	g := evenCorridor()
	needed := g.verify(t).Boxes
	for _, boxes := range []int{1, 2, needed - 1} {
		report, err := proof.Verify(context.Background(), g.ground, g.claim, &g.cert, proof.Settings{Boxes: boxes})
		require.NoError(t, err)
		assert.False(t, report.Accepted)
		assert.Contains(t, report.Reason, "effort spent")
		assert.Equal(t, boxes, report.Boxes)
	}
	report, err := proof.Verify(context.Background(), g.ground, g.claim, &g.cert, proof.Settings{Boxes: needed})
	require.NoError(t, err)
	assert.True(t, report.Accepted)
}

func TestFaultsAreErrors(t *testing.T) {
	g := corridor()
	_, err := proof.Verify(context.Background(), g.ground, g.claim, &g.cert, proof.Settings{Boxes: -1})
	assert.ErrorContains(t, err, "-1 boxes")
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err = proof.Verify(ctx, g.ground, g.claim, &g.cert, proof.Settings{})
	assert.ErrorIs(t, err, context.Canceled)
}

func TestNoCertificate(t *testing.T) {
	g := corridor()
	report, err := proof.Verify(context.Background(), g.ground, g.claim, nil, proof.Settings{})
	require.NoError(t, err)
	assert.False(t, report.Accepted)
	assert.Equal(t, "there is no certificate", report.Reason)
}
