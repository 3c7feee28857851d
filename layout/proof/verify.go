package proof

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// Ground is the lawn and where heads may stand on it: in the lawn, no nearer
// to the outline of an obstacle than its clearance, or at one of the exceptions.
type Ground struct {
	Lawn       geom.Region
	Obstacles  []Obstacle
	Exceptions []geom.Point // spots on the middle line of strips too narrow for the clearances (contract 4.3)
}

// Obstacle is something heads keep clear of on both sides of its outline:
// paving, a building, the lot line.
type Obstacle struct {
	Outline geom.Region
	ClearMM int64 // least distance
}

// Claim is what is to be shown: at the throw, no placement of fewer heads
// reaches the target.
type Claim struct {
	Heads     int
	TargetPPM int64 // share of the lawn, in millionths
	ThrowMM   int64
}

// DefaultBoxes is the effort of a check if none is set.
const DefaultBoxes = 500_000

// Settings limit the effort in work; zero means the default.
type Settings struct {
	Boxes int // boxes of ground to examine
}

// Report is the outcome of a check. Weights are in the units of the
// certificate, rounded to the side on which the certificate proves less.
type Report struct {
	Accepted  bool
	Reason    string // why not
	Boxes     int    // of ground examined
	SumWeight int64  // on the lawn
	DryWeight int64  // the most that what may stay dry can hold
	Most      int64  // what no head wets more than; meaningful if accepted
}

// Verify decides whether the claim follows from the certificate. Errors are
// about the settings and the context; whatever is wrong with ground or
// certificate, and running out of effort, is a report of non-acceptance.
//
//  1. The certificate is about the claim, and well formed.
//  2. Its blockers run outside the lawn.
//  3. Its weights, laid out over the lawn, prove the claim if no head wets
//     more than it says.
//  4. No head does, wherever it may stand.
func Verify(ctx context.Context, g Ground, claim Claim, c *layout.Certificate, s Settings) (Report, error) {
	if s.Boxes < 0 {
		return Report{}, fmt.Errorf("settings of a check: %d boxes", s.Boxes)
	}
	if s.Boxes == 0 {
		s.Boxes = DefaultBoxes
	}
	v := verifier{certificate: c, search: search{budget: s.Boxes}}
	err := v.run(ctx, g, claim)
	v.report.Boxes = v.search.boxes
	var r refusal
	switch {
	case errors.As(err, &r):
		v.report.Reason = string(r)
		return v.report, nil
	case err != nil:
		return Report{}, fmt.Errorf("checking a proof: %w", err)
	}
	v.report.Accepted = true
	return v.report, nil
}

// verifier is one check under way.
type verifier struct {
	certificate *layout.Certificate
	blockers    []segment
	search      search
	report      Report
}

func (v *verifier) run(ctx context.Context, g Ground, claim Claim) error {
	if err := checkForm(claim, v.certificate); err != nil {
		return err
	}
	l, err := newLawn(g.Lawn)
	if err != nil {
		return refuse("lawn: %v", err)
	}
	if l.area2 <= 0 {
		return refuse("there is no lawn")
	}
	if err := v.takeBlockers(l); err != nil {
		return err
	}
	if err := v.weigh(l); err != nil {
		return err
	}
	return v.examine(ctx, l, g)
}

// takeBlockers makes sure that the blockers run outside the lawn, and adds the
// lawn's own edges.
func (v *verifier) takeBlockers(l *lawn) error {
	v.blockers = slices.Clone(l.edges)
	for _, b := range v.certificate.Blockers {
		s, err := segmentOf(b)
		switch {
		case err != nil:
			return refuse("blocker: %v", err)
		case s.a == s.b:
			return refuse("the blocker at %v has no length", s.a)
		case l.enteredBy(s):
			return refuse("the blocker %v runs through the lawn", s)
		}
		v.blockers = append(v.blockers, s)
	}
	return nil
}

// weigh lays out the weights and makes sure that they prove the claim if the
// most that a head wets is what the certificate says.
func (v *verifier) weigh(l *lawn) error {
	c := v.certificate
	laid, err := layOut(l, c)
	if err != nil {
		return err
	}
	dry := laid.dryWeight(l, c.TargetPPM)
	most := min(c.Most, maxSum) * fineness // no head wets more than all
	v.report.SumWeight, v.report.DryWeight, v.report.Most = laid.sum/fineness, (dry+fineness-1)/fineness, c.Most
	spare := laid.sum - dry - 1 // the most that all heads together may wet
	if spare < 0 || most > 0 && int64(c.Heads-1) > spare/most {
		return refuse("%d heads could wet %d each, and %d may stay dry, of a weight of %d", c.Heads-1, c.Most, v.report.DryWeight, v.report.SumWeight)
	}
	v.search.lawn, v.search.spread, v.search.most, v.search.throwMM = l, laid, most, c.ThrowMM
	return nil
}

// examine makes sure that no head wets more than the most, wherever it may
// stand.
func (v *verifier) examine(ctx context.Context, l *lawn, g Ground) error {
	capsules, err := capsulesOf(g.Obstacles)
	if err != nil {
		return err
	}
	v.search.begin(capsules, v.blockers)
	for _, at := range g.Exceptions {
		p, err := pointOf(at)
		if err != nil {
			return refuse("exception: %v", err)
		}
		if err := v.search.settlePoint(p); err != nil {
			return err
		}
	}
	return v.search.settle(ctx, l.bounds(), 0)
}

func capsulesOf(obstacles []Obstacle) (out []capsule, err error) {
	for _, o := range obstacles {
		if o.ClearMM < 0 || o.ClearMM > maxCoord {
			return nil, refuse("obstacle: a clearance of %d mm makes no sense", o.ClearMM)
		}
		edges, err := edgesOf(o.Outline)
		if err != nil {
			return nil, refuse("obstacle: %v", err)
		}
		for _, e := range edges {
			out = append(out, capsule{e, o.ClearMM})
		}
	}
	return out, nil
}
