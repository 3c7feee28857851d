package proof_test

import (
	"cmp"
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/certify"
	"lotwright/layout/geom"
	"lotwright/layout/proof"
	"lotwright/layout/sight"
)

// yard is an invented lot. Its heads are a placement that is known to do, so a
// claim that more are needed is false.
type yard struct {
	name          string
	parcel, house geom.Region
	throwMM       int64
}

var yards = []yard{
	{"house in the middle", rectangle(0, 0, 13_000, 15_000), rectangle(3500, 4200, 9800, 9300), 4500},
	{"slanted line and two houses", geom.Region{{{geom.Pt(0, 0), geom.Pt(17_000, 1500), geom.Pt(15_000, 12_000), geom.Pt(6000, 13_100), geom.Pt(-1000, 9000)}}},
		slices.Concat(rectangle(2000, 3000, 6000, 7700), rectangle(9000, 5000, 12_500, 12_000)), 5000},
	{"narrow at one end", geom.Region{{{geom.Pt(0, 0), geom.Pt(16_000, 0), geom.Pt(16_000, 1200), geom.Pt(8000, 1900), geom.Pt(8000, 9000), geom.Pt(0, 9000)}}},
		rectangle(2000, 2000, 4500, 3500), 4000},
}

func (y yard) ground() proof.Ground {
	return proof.Ground{Lawn: geom.Difference(y.parcel, y.house),
		Obstacles: []proof.Obstacle{{Outline: y.parcel, ClearMM: 100}, {Outline: y.house, ClearMM: 300}}}
}

// legal reports whether a head may stand at p, as the kernel sees it.
func legal(g proof.Ground, p geom.Point) bool {
	if g.Lawn.Locate(p) != geom.Interior {
		return false
	}
	for _, o := range g.Obstacles {
		if o.Outline.EdgeNearerThan(p, o.ClearMM) {
			return slices.Contains(g.Exceptions, p)
		}
	}
	return true
}

func gridIn(b geom.Bounds, step int64) (out []geom.Point) {
	for x := b.Min.X + step/3; x <= b.Max.X; x += step {
		for y := b.Min.Y + step/3; y <= b.Max.Y; y += step {
			out = append(out, geom.Pt(x, y))
		}
	}
	return out
}

// greedy places heads, each where it wets most that is still dry, until the
// share of the lawn is reached by exact area.
func greedy(g proof.Ground, throwMM int64, share float64) []geom.Point {
	field := sight.NewField(g.Lawn)
	var reaches []sight.Reach
	for _, p := range gridIn(g.Lawn.Bounds(), 700) {
		if legal(g, p) {
			reaches = append(reaches, field.From(p, throwMM, 0))
		}
	}
	dry := slices.DeleteFunc(gridIn(g.Lawn.Bounds(), 400), func(p geom.Point) bool { return !g.Lawn.Has(p) })
	var taken []sight.Reach
	var heads []geom.Point
	for sight.CoveredM2(taken) < share*g.Lawn.AreaM2() && len(dry) > 0 {
		best := slices.MaxFunc(reaches, func(a, b sight.Reach) int { return cmp.Compare(newlyWet(&a, dry), newlyWet(&b, dry)) })
		taken, heads = append(taken, best), append(heads, best.Head)
		dry = slices.DeleteFunc(dry, best.Sees)
	}
	return heads
}

func newlyWet(r *sight.Reach, dry []geom.Point) (n int) {
	for _, p := range dry {
		if r.Sees(p) {
			n++
		}
	}
	return n
}

// proven is a yard with a certificate that the search found.
type proven struct {
	given
	yard   yard
	heads  []geom.Point // that reach the target
	probes *probes
}

// targetsPPM are an usual target and all of the lawn, for which the search puts
// its weights on small squares.
var targetsPPM = []int64{950_000, 1_000_000}

// found searches the certificates once for all tests.
var found = sync.OnceValues(func() ([]proven, error) {
	var out []proven
	for _, y := range yards {
		for _, ppm := range targetsPPM {
			p, err := y.prove(ppm)
			if err != nil {
				return nil, err
			}
			out = append(out, p)
		}
	}
	return out, nil
})

// prove returns the certificate for as many heads as the search can manage.
func (y yard) prove(targetPPM int64) (proven, error) {
	g, target := y.ground(), float64(targetPPM)/1e6
	p := proven{yard: y, heads: greedy(g, y.throwMM, target), probes: newProbes()}
	for n := len(p.heads); n > 1; n-- {
		r, err := certify.Prove(context.Background(), certify.Site{Lawn: g.Lawn, ThrowMM: y.throwMM, Target: target, Heads: n, Likely: p.heads,
			Ground: certify.Standing{EdgeMM: 100, Edges: slices.Collect(y.parcel.Edges()), BuildingMM: 300, Buildings: slices.Collect(y.house.Edges())}},
			certify.Settings{Boxes: 6000})
		if err != nil {
			return proven{}, err
		}
		if r.Certificate != nil {
			p.given = given{g, proof.Claim{Heads: n, TargetPPM: targetPPM, ThrowMM: y.throwMM}, *r.Certificate}
			break
		}
	}
	return p, nil
}

func TestFoundCertificatesAreAccepted(t *testing.T) {
	all, err := found()
	require.NoError(t, err)
	for _, p := range all {
		t.Run(fmt.Sprintf("%s, %d ppm", p.yard.name, p.claim.TargetPPM), func(t *testing.T) {
			require.Greater(t, p.cert.Heads, 2)
			report := p.verify(t)
			assert.True(t, report.Accepted, report.Reason)
			t.Logf("%d heads, %d shown to be needed, %d cells, %d boxes", len(p.heads), p.cert.Heads, len(p.cert.Cells), report.Boxes)
			assert.False(t, p.refuted(p.given))
		})
	}
}

// probes are exact reaches from many places, and the share of a cell's lawn
// that one wets at least; both are kept.
type probes struct {
	fields map[string]*sight.Field
	shares map[probe]float64
	lawns  map[probe]float64
}

type probe struct {
	ground string // name of the lawn
	at     geom.Point
	throw  int64
	cell   geom.Point
}

func newProbes() *probes {
	return &probes{map[string]*sight.Field{}, map[probe]float64{}, map[probe]float64{}}
}

// wets returns a lower bound on the weight that a head wets: of each cell the
// share in atoms whose four corners it reaches. Nothing in these yards is small
// enough to hide part of such an atom.
func (p *probes) wets(lawnName string, g given, head geom.Point) float64 {
	if p.fields[lawnName] == nil {
		p.fields[lawnName] = sight.NewField(g.ground.Lawn)
	}
	sum := 0.0
	var reach *sight.Reach
	for _, c := range g.cert.Cells {
		key := probe{lawnName, head, g.claim.ThrowMM, c.Min}
		share, ok := p.shares[key]
		if !ok {
			if reach == nil {
				r := p.fields[lawnName].From(head, g.claim.ThrowMM, 0)
				reach = &r
			}
			share = seenAtoms(reach, c.Min, &g.cert) * float64(g.cert.AtomMM*g.cert.AtomMM) / 1e6 / p.lawnIn(lawnName, g, c.Min)
			p.shares[key] = share
		}
		sum += share * float64(c.Weight)
	}
	return sum
}

func (p *probes) lawnIn(lawnName string, g given, cell geom.Point) float64 {
	key := probe{ground: lawnName, cell: cell}
	if _, ok := p.lawns[key]; !ok {
		p.lawns[key] = geom.Intersection(g.ground.Lawn, rectangle(cell.X, cell.Y, cell.X+g.cert.CellMM, cell.Y+g.cert.CellMM)).AreaM2()
	}
	return p.lawns[key]
}

func seenAtoms(r *sight.Reach, cell geom.Point, c *layout.Certificate) (n float64) {
	for x := cell.X; x < cell.X+c.CellMM; x += c.AtomMM {
		for y := cell.Y; y < cell.Y+c.CellMM; y += c.AtomMM {
			if r.Sees(geom.Pt(x, y)) && r.Sees(geom.Pt(x+c.AtomMM, y)) && r.Sees(geom.Pt(x, y+c.AtomMM)) && r.Sees(geom.Pt(x+c.AtomMM, y+c.AtomMM)) {
				n++
			}
		}
	}
	return n
}

// slack allows for areas here being of regions rounded to the millimetre.
const slack = 1.001

// refuted reports whether a certificate is refuted by example: by heads that do
// with fewer than claimed, or by a head that wets more than its most.
func (p *proven) refuted(g given) bool {
	if len(p.heads) < g.claim.Heads && p.reaches(g) {
		return true
	}
	lawnName := "as it is"
	if g.ground.Lawn.AreaM2() > p.ground.Lawn.AreaM2() {
		lawnName = "houses removed"
	}
	for _, head := range slices.Concat(gridIn(g.ground.Lawn.Bounds(), 900), p.heads, g.ground.Exceptions) {
		if legal(g.ground, head) && p.probes.wets(lawnName, g, head) > slack*float64(g.cert.Most) {
			return true
		}
	}
	return false
}

// reaches reports whether the known heads reach the target claimed.
func (p *proven) reaches(g given) bool {
	field := sight.NewField(g.ground.Lawn)
	var reaches []sight.Reach
	for _, h := range p.heads {
		if legal(g.ground, h) {
			reaches = append(reaches, field.From(h, g.claim.ThrowMM, 0))
		}
	}
	return sight.CoveredM2(reaches) >= float64(g.claim.TargetPPM)/1e6*g.ground.Lawn.AreaM2()
}

// clone copies what mutations write to.
func (g given) clone() given {
	g.ground.Obstacles = slices.Clone(g.ground.Obstacles)
	g.cert.Cells, g.cert.Blockers = slices.Clone(g.cert.Cells), slices.Clone(g.cert.Blockers)
	return g
}

// mutations change a case, mostly so as to claim more.
var mutations = []func(*rand.Rand, *yard, *given){
	func(r *rand.Rand, _ *yard, g *given) { // some weights more
		for i := range g.cert.Cells {
			if r.IntN(3) == 0 {
				g.cert.Cells[i].Weight += 1 + g.cert.Cells[i].Weight*r.Int64N(100)/100
			}
		}
	},
	func(r *rand.Rand, _ *yard, g *given) { // one weight much more
		c := &g.cert.Cells[r.IntN(len(g.cert.Cells))]
		c.Weight *= 1 + r.Int64N(30)
	},
	func(r *rand.Rand, _ *yard, g *given) { // a cell elsewhere
		c := &g.cert.Cells[r.IntN(len(g.cert.Cells))]
		c.Min = c.Min.Add(geom.Pt(g.cert.CellMM*(r.Int64N(5)-2), g.cert.CellMM*(r.Int64N(5)-2)))
	},
	func(r *rand.Rand, _ *yard, g *given) { // cells taken away
		g.cert.Cells = slices.DeleteFunc(g.cert.Cells, func(layout.CertificateCell) bool { return r.IntN(10) == 0 })
	},
	func(r *rand.Rand, _ *yard, g *given) { // more heads
		g.claim.Heads += 1 + r.IntN(2)
	},
	func(r *rand.Rand, _ *yard, g *given) { // an easier target
		g.claim.TargetPPM -= r.Int64N(150_000)
	},
	func(r *rand.Rand, _ *yard, g *given) { // a longer throw
		g.claim.ThrowMM += r.Int64N(1500)
	},
	func(r *rand.Rand, _ *yard, g *given) { // a shorter throw: true as well
		g.claim.ThrowMM -= r.Int64N(500)
	},
	func(r *rand.Rand, _ *yard, g *given) { // a blocker end elsewhere
		if len(g.cert.Blockers) > 0 {
			b := &g.cert.Blockers[r.IntN(len(g.cert.Blockers))]
			b.A = b.A.Add(geom.Pt(r.Int64N(2001)-1000, r.Int64N(2001)-1000))
		}
	},
	func(r *rand.Rand, y *yard, g *given) { // a blocker more
		p := gridIn(y.parcel.Bounds(), 500)
		g.cert.Blockers = append(g.cert.Blockers, geom.Segment{A: p[r.IntN(len(p))], B: p[r.IntN(len(p))]})
	},
	func(_ *rand.Rand, y *yard, g *given) { // the houses removed, and what was hidden by them
		g.ground.Lawn, g.ground.Obstacles, g.cert.Blockers = y.parcel, g.ground.Obstacles[:1], nil
	},
	func(r *rand.Rand, _ *yard, g *given) { // heads anywhere
		g.ground.Obstacles[r.IntN(len(g.ground.Obstacles))].ClearMM = r.Int64N(300)
	},
	func(r *rand.Rand, y *yard, g *given) { // one spot more
		p := gridIn(y.parcel.Bounds(), 100)
		g.ground.Exceptions = append(slices.Clone(g.ground.Exceptions), p[r.IntN(len(p))])
	},
	func(r *rand.Rand, _ *yard, g *given) { // finer or coarser atoms
		g.cert.AtomMM = g.cert.CellMM / []int64{4, 8, 16}[r.IntN(3)]
	},
}

// forged returns a mutated case. As a forger would, it makes the certificate
// fit the claim, and the most as great as the claim allows.
func (p *proven) forged(t *testing.T, r *rand.Rand) given {
	g := p.given.clone()
	for range 1 + r.IntN(3) {
		mutations[r.IntN(len(mutations))](r, &p.yard, &g)
	}
	g.cert.Heads, g.cert.TargetPPM, g.cert.ThrowMM = g.claim.Heads, g.claim.TargetPPM, g.claim.ThrowMM
	report, err := proof.Verify(context.Background(), g.ground, g.claim, &g.cert, proof.Settings{Boxes: 1})
	require.NoError(t, err)
	if room := report.SumWeight - report.DryWeight - 1; room > 0 && g.claim.Heads > 1 {
		g.cert.Most = room / int64(g.claim.Heads-1)
	}
	return g
}

// outcome counts what became of forged certificates.
type outcome struct{ accepted, refuted, neither int }

// try checks a forged certificate against examples.
func (p *proven) try(t *testing.T, r *rand.Rand, o *outcome) {
	g := p.forged(t, r)
	report, err := proof.Verify(context.Background(), g.ground, g.claim, &g.cert, proof.Settings{Boxes: 3000})
	require.NoError(t, err)
	switch refuted := p.refuted(g); {
	case report.Accepted:
		o.accepted++
		assert.False(t, refuted, "accepted, though there is an example against it")
	case refuted:
		o.refuted++
	default:
		o.neither++
	}
}

func TestForgedIsNotAcceptedAgainstExamples(t *testing.T) {
	all, err := found()
	require.NoError(t, err)
	var o outcome
	for i := range all {
		r := rand.New(rand.NewPCG(uint64(i), 1))
		for range 50 {
			all[i].try(t, r, &o)
		}
	}
	t.Logf("%+v", o)
	assert.Greater(t, min(o.accepted, o.refuted), 20)
}

func FuzzForged(f *testing.F) {
	for seed := range uint64(3) {
		f.Add(seed, seed)
	}
	f.Fuzz(func(t *testing.T, which, seed uint64) {
		all, err := found()
		require.NoError(t, err)
		var o outcome
		all[which%uint64(len(all))].try(t, rand.New(rand.NewPCG(seed, which)), &o)
	})
}
