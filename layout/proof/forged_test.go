package proof_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/proof"
)

// forgery spoils a sound case.
type forgery struct {
	name   string
	of     func() given
	spoil  func(*given)
	reason string // part of the one expected
}

const (
	wetsMore = "more than the most claimed"
	proves   = "may stay dry, of a weight of" // too little weight for the claim
)

// Most of these cases are false as well as badly argued: their comments say
// why. Where only the certificate is faulty there is no comment.
var forgeries = []forgery{
	// What it is about.
	{"claim of more heads", corridor, func(g *given) { g.claim.Heads = 5 }, "it is about 4 heads"},
	{"claim of a higher target", evenCorridor, func(g *given) { g.claim.TargetPPM = 950_000 }, "its target is 900000 ppm"},
	{"claim of a shorter throw", corridor, func(g *given) { g.claim.ThrowMM = 4000 }, "its throw is 5000 mm"},
	{"claim of a longer throw", corridor, func(g *given) { g.claim.ThrowMM = 6000 }, "its throw is 5000 mm"},
	{"no heads", corridor, func(g *given) { g.claim.Heads, g.cert.Heads = 0, 0 }, "nothing to prove"},
	{"target of all and more", corridor, func(g *given) { g.claim.TargetPPM, g.cert.TargetPPM = 1_000_001, 1_000_001 }, "not a share"},
	{"target of nothing", corridor, func(g *given) { g.claim.TargetPPM, g.cert.TargetPPM = 0, 0 }, "not a share"},
	{"throw of nothing", corridor, func(g *given) { g.claim.ThrowMM, g.cert.ThrowMM = 0, 0 }, "makes no sense"},
	{"throw beyond the plane", corridor, func(g *given) { g.claim.ThrowMM, g.cert.ThrowMM = 1<<40, 1<<40 }, "makes no sense"},

	// More is claimed, in claim and certificate alike.
	{"five heads", corridor, func(g *given) { g.claim.Heads, g.cert.Heads = 5, 5 }, proves},                             // five do
	{"heads beyond count", corridor, func(g *given) { g.claim.Heads, g.cert.Heads = math.MaxInt, math.MaxInt }, proves}, // five do
	{"heads whose weight wraps round", corridor, func(g *given) {
		heads := int64(1)<<34 + 1 // each of 1024·fineness units: 2^64 for all but one
		g.claim.Heads, g.cert.Heads, g.cert.Most = int(heads), int(heads), 1024
	}, proves}, // five do
	{"less of a target", evenCorridor, func(g *given) { g.claim.TargetPPM, g.cert.TargetPPM = 700_000, 700_000 }, proves},      // three wet 56 m² and more
	{"longer throw", corridor, func(g *given) { g.claim.ThrowMM, g.cert.ThrowMM = 5400, 5400 }, wetsMore},                      // a head reaches two
	{"most lowered", evenCorridor, func(g *given) { g.claim.Heads, g.cert.Heads, g.cert.Most = 5, 5, 17_999 }, wetsMore},       // a head wets 20 m²
	{"most of nothing", corridor, func(g *given) { g.claim.Heads, g.cert.Heads, g.cert.Most = 9, 9, 0 }, wetsMore},             // five do
	{"most below nothing", corridor, func(g *given) { g.claim.Heads, g.cert.Heads, g.cert.Most = 9, 9, -1 }, "is given as -1"}, // five do

	// Weights.
	{"a weight raised", corridor, func(g *given) { g.cert.Cells[1].Weight++ }, wetsMore},
	{"a weight raised, and most", corridor, func(g *given) { g.cert.Cells[1].Weight += 500; g.cert.Most += 500 }, proves},
	{"a weight lowered", corridor, func(g *given) { g.cert.Cells[1].Weight = 0 }, "weighs 0"},
	{"a weight below nothing", corridor, func(g *given) { g.cert.Cells[1].Weight = -5 }, "weighs -5"},
	{"a weight beyond measure", corridor, func(g *given) { g.cert.Cells[1].Weight = math.MaxInt64 }, "add up to more"},
	{"weights that add up beyond measure", corridor, func(g *given) {
		for i := range g.cert.Cells {
			g.cert.Cells[i].Weight = 1 << 39
		}
	}, "add up to more"},
	{"no weights", corridor, func(g *given) { g.cert.Cells = nil }, "no weights"},
	{"weight where a share may stay dry", corridor, func(g *given) { g.claim.TargetPPM, g.cert.TargetPPM = 990_000, 990_000 }, proves}, // the cells have 1 m², of 0.8 m² dry

	{"one head where all weight may stay dry", corridor, func(g *given) {
		g.claim.Heads, g.cert.Heads, g.claim.TargetPPM, g.cert.TargetPPM = 1, 1, 900_000, 900_000
	}, proves},
	{"weight that may all stay dry, of ninths rounded down", corridor, func(g *given) {
		g.claim.TargetPPM, g.cert.TargetPPM = 900_000, 900_000
		g.cert.CellMM, g.cert.AtomMM = 750, 250
		g.cert.Cells = g.cert.Cells[:1]
	}, proves},

	// Cells.
	{"a cell moved near another", corridor, func(g *given) { g.cert.Cells[1].Min.X = 10_000 }, wetsMore},
	{"a cell moved off the lawn", corridor, func(g *given) { g.cert.Cells[1].Min.Y = 2000 }, "no lawn"},
	{"a cell moved off the grid", corridor, func(g *given) { g.cert.Cells[1].Min.X++ }, "not on the grid"},
	{"a cell moved out of the plane", corridor, func(g *given) { g.cert.Cells[1].Min.X = 500 << 40 }, "outside the plane"},
	{"a cell given twice", corridor, func(g *given) { g.cert.Cells[1] = g.cert.Cells[0] }, "given twice"},
	{"one cell more", corridor, func(g *given) {
		g.claim.Heads, g.cert.Heads = 5, 5
		g.cert.Cells = append(g.cert.Cells, layout.CertificateCell{Min: geom.Pt(39_500, 0), Weight: 1000})
	}, wetsMore},
	{"atoms that do not fit", corridor, func(g *given) { g.cert.AtomMM = 300 }, "cannot be cut"},
	{"atoms of nothing", corridor, func(g *given) { g.cert.AtomMM = 0 }, "cannot be cut"},
	{"atoms larger than cells", corridor, func(g *given) { g.cert.AtomMM = 1000 }, "cannot be cut"},
	{"cells of nothing", corridor, func(g *given) { g.cert.CellMM, g.cert.AtomMM = 0, 1 }, "cannot be cut"},
	{"cells beyond the plane", corridor, func(g *given) { g.cert.CellMM, g.cert.AtomMM = 1<<60, 1<<60 }, "cannot be cut"},
	{"atoms beyond count", corridor, func(g *given) { g.cert.CellMM, g.cert.AtomMM = 4096, 1 }, "atoms"},

	// Blockers.
	{"a blocker through the lawn", aroundHouse, func(g *given) {
		g.cert.Blockers = append(g.cert.Blockers, geom.Segment{A: geom.Pt(0, 4000), B: geom.Pt(20_000, 4000)})
	}, "runs through the lawn"},
	{"a blocker one millimetre off the house", aroundHouse, func(g *given) { g.cert.Blockers[0].A.X-- }, "runs through the lawn"},
	{"a blocker across the corridor", corridor, func(g *given) {
		g.cert.Blockers = []geom.Segment{{A: geom.Pt(16_000, -1), B: geom.Pt(16_000, 2001)}}
	}, "runs through the lawn"},
	{"a blocker of no length", aroundHouse, func(g *given) { g.cert.Blockers[0].A = g.cert.Blockers[0].B }, "no length"},
	{"a blocker out of the plane", aroundHouse, func(g *given) { g.cert.Blockers[0].A.X = math.MinInt64 }, "outside the plane"},

	// Ground.
	{"the house removed", aroundHouse, func(g *given) { g.ground.Lawn[0] = g.ground.Lawn[0][:1] }, "runs through the lawn"}, // one head does
	{"the house removed, and its chords", aroundHouse, func(g *given) {
		g.ground.Lawn[0], g.cert.Blockers = g.ground.Lawn[0][:1], nil
	}, wetsMore}, // one head does
	{"a way through the house", aroundHouse, func(g *given) {
		lawn := rectangle(0, 0, 20_000, 20_000)
		lawn[0] = append(lawn[0], hole(4000, 4000, 16_000, 9900), hole(4000, 10_100, 16_000, 16_000))
		g.ground.Lawn, g.cert.Blockers = lawn, nil
	}, wetsMore}, // a head in the passage reaches both cells
	{"a house added on a cell", corridor, func(g *given) {
		g.ground.Lawn = geom.Region{{{geom.Pt(0, 0), geom.Pt(10_900, 0), geom.Pt(10_900, 600), geom.Pt(11_600, 600),
			geom.Pt(11_600, 0), geom.Pt(40_000, 0), geom.Pt(40_000, 2000), geom.Pt(0, 2000)}}}
	}, "no lawn"},
	{"heads allowed nearer to the lot line", keptApart, func(g *given) { g.ground.Obstacles[0].ClearMM = 100 }, wetsMore},
	{"no clearance from the lot line", keptApart, func(g *given) { g.ground.Obstacles = nil }, wetsMore},
	{"a gap in the lot line", keptApart, func(g *given) {
		g.ground.Obstacles[0].Outline = rectangle(0, -9000, 12_500, 8000)
	}, wetsMore},
	{"a spot in between allowed", keptApart, func(g *given) { g.ground.Exceptions = []geom.Point{geom.Pt(6250, 300)} }, "a head at the exception"},
	{"a spot out of the plane", keptApart, func(g *given) { g.ground.Exceptions = []geom.Point{geom.Pt(1<<40, 300)} }, "exception"},
	{"a clearance below nothing", keptApart, func(g *given) { g.ground.Obstacles[0].ClearMM = -1 }, "clearance of -1 mm"},
	{"a clearance beyond the plane", keptApart, func(g *given) { g.ground.Obstacles[0].ClearMM = 1 << 40 }, "makes no sense"},
	{"an obstacle out of the plane", keptApart, func(g *given) { g.ground.Obstacles[0].Outline = rectangle(0, 0, 1<<40, 1) }, "outside the plane"},
	{"no lawn", corridor, func(g *given) { g.ground.Lawn = nil }, "no lawn"},
	{"a lawn out of the plane", corridor, func(g *given) { g.ground.Lawn = rectangle(0, 0, 1<<40, 1) }, "lawn: "},
	{"a lawn that crosses itself", corridor, func(g *given) {
		ring := g.ground.Lawn[0][0]
		ring[0], ring[1] = ring[1], ring[0]
	}, "lawn: "},
	{"a lawn run clockwise", corridor, func(g *given) { g.ground.Lawn[0][0] = hole(0, 0, 40_000, 2000) }, "lawn: "},
	{"a wider lawn", keptApart, func(g *given) { // the lot line moved away
		g.ground.Lawn = rectangle(0, -5000, 12_500, 8000)
		g.ground.Obstacles[0].Outline = g.ground.Lawn
	}, wetsMore},
}

func TestForgedCertificatesAreRefused(t *testing.T) {
	for _, f := range forgeries {
		t.Run(f.name, func(t *testing.T) {
			g := f.of()
			f.spoil(&g)
			report := g.verify(t)
			assert.False(t, report.Accepted)
			assert.Contains(t, report.Reason, f.reason)
		})
	}
}

// Spots that change nothing are no harm: out of reach of both cells, and
// outside the lawn, where a head reaches nothing.
func TestHarmlessExceptions(t *testing.T) {
	g := keptApart()
	g.ground.Exceptions = []geom.Point{geom.Pt(6250, 7900), geom.Pt(6250, -50)}
	assert.True(t, g.verify(t).Accepted)
	g.ground.Exceptions = append(g.ground.Exceptions, geom.Pt(6250, 0)) // on the outline
	assert.False(t, g.verify(t).Accepted)
}

// Obstacles on the lawn take ground from heads on either side of their outline.
func TestObstaclesWithinTheLawn(t *testing.T) {
	g := keptApart()
	g.ground.Obstacles = nil
	assert.False(t, g.verify(t).Accepted)
	g.ground.Obstacles = []proof.Obstacle{{Outline: rectangle(5000, -3000, 7500, 500), ClearMM: 2500}}
	assert.True(t, g.verify(t).Accepted)
}
