package certify

import (
	"context"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// Site is the ground the proof is about.
type Site struct {
	Lawn    geom.Region
	Ground  Standing
	ThrowMM int64
	Target  float64      // τ
	Heads   int          // the number to prove: that fewer cannot do
	Least   int          // should that fail, the smallest number still worth proving; 0: none is
	Likely  []geom.Point // places where heads would wet much, to begin with

	// Doubtful are places that stay dry where too few heads stand: good places
	// for weight. They matter only where all of the lawn is to be reached.
	Doubtful []geom.Point
}

// Settings limit the effort in work; zero values mean the defaults.
type Settings struct {
	Boxes  int // boxes looked at
	Pivots int
}

// Defaults of the effort: enough for nearly every lot up to 900 m².
const (
	DefaultBoxes  = 3000
	DefaultPivots = 2500
)

// Result is what the search for a proof came to.
type Result struct {
	Certificate *layout.Certificate // for Site.Heads or, should that fail, for as many as could be proven; nil: none was found

	// Relaxation is the value of the packing program at the end, for the price
	// of dry lawn it ended with: about the most that weights on its grid prove.
	Relaxation float64
	// Stands are where the program stands heads, most of a head first: good
	// places to look for fewer.
	Stands []Stand

	Boxes  int
	Pivots int
	Rounds int
}

// Stand is a place for a head, and how much of a head the relaxation stands
// there.
type Stand struct {
	At    geom.Point
	Share float64
}

// The coarsest grid is a glance: it proves most claims that have something to
// spare, for a fraction of the effort, and is given up soon. With more than the
// default effort to spend there is nothing to save.
const (
	glanceMM    = 2048 // side of its cells
	glanceBoxes = 450  // at the most,
	glanceShare = 4    // and this part of all boxes
)

// Prove tries to certify that fewer than site.Heads heads cannot reach the
// target. Running out of effort is a result without a certificate.
//
//  1. Weights are looked for on the coarsest grid.
//  2. If none prove the claim, but nearly do, a finer grid is tried, from the
//     boxes and the price that the one before ended with. After a glance there
//     is always a second look.
//  3. If no grid will do, the last one is asked for a smaller number, down to
//     site.Least.
func Prove(ctx context.Context, site Site, s Settings) (Result, error) {
	if s.Boxes == 0 {
		s.Boxes = DefaultBoxes
	}
	if s.Pivots == 0 {
		s.Pivots = DefaultPivots
	}
	var sum Result
	if site.Heads < 2 {
		return sum, nil
	}
	var last *prover
	for _, form := range formsFor(site, s.Boxes) {
		g, left := form(site.Lawn), s.without(sum)
		glance := g.cellMM >= glanceMM
		if glance {
			left.Boxes = min(glanceBoxes, left.Boxes/glanceShare)
		}
		p := newProver(site, g, left)
		if last != nil {
			p.follow(last)
		}
		if err := p.run(ctx, site.Heads); err != nil {
			return Result{}, err
		}
		sum.take(p.result)
		last = p
		if sum.Certificate != nil || !glance && !p.nearly() || s.without(sum) == (Settings{}) {
			break
		}
	}
	return sum, last.lower(ctx, &sum)
}

// formsFor returns the grids to try, coarse to fine. Where all of the lawn is
// to be reached weight need not be spread: squares standing for points hold
// more.
func formsFor(site Site, boxes int) []func(geom.Region) *grid {
	whole := targetPPM(site.Target) == million
	switch {
	case whole && len(site.Doubtful) > 0:
		return []func(geom.Region) *grid{func(g geom.Region) *grid { return newFineSquares(g, 512, site.Doubtful) }}
	case whole:
		return []func(geom.Region) *grid{
			func(g geom.Region) *grid { return newSquares(g, 512) },
			func(g geom.Region) *grid { return newSquares(g, 256) },
		}
	}
	forms := []func(geom.Region) *grid{
		func(g geom.Region) *grid { return newGrid(g, sizes{cellMM: glanceMM, atomMM: 256}) },
		func(g geom.Region) *grid { return newGrid(g, sizes{cellMM: 1024, atomMM: 128}) },
		func(g geom.Region) *grid { return newGrid(g, sizes{cellMM: 512, atomMM: 64}) },
		func(g geom.Region) *grid { return newGrid(g, sizes{cellMM: 256, atomMM: 32}) },
	}
	if boxes > DefaultBoxes {
		return forms[1:]
	}
	return forms
}

// without returns the effort that is left.
func (s Settings) without(done Result) Settings {
	if done.Boxes >= s.Boxes || done.Pivots >= s.Pivots {
		return Settings{}
	}
	return Settings{Boxes: s.Boxes - done.Boxes, Pivots: s.Pivots - done.Pivots}
}

// take adds what one grid came to.
func (r *Result) take(s Result) {
	r.Certificate, r.Relaxation, r.Stands = s.Certificate, s.Relaxation, s.Stands
	r.Boxes, r.Pivots, r.Rounds = r.Boxes+s.Boxes, r.Pivots+s.Pivots, r.Rounds+s.Rounds
}
