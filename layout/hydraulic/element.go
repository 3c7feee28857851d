package hydraulic

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"lotwright/layout"
)

// Element is what a link of a network is made of, and so what it loses: a
// [Pipe], [SquareLoss], [LossCurve] or [Regulator].
type Element interface {
	// check says what is wrong with the element, if anything.
	check(n *Network) error
	// law returns what the element loses; it has been checked.
	law(n *Network) law
	// limit is the most flow the element is known to pass, in m³/s.
	limit() float64
}

// Pipe is a length of pipe with the fittings in it.
type Pipe struct {
	Size     PipeSize
	Length   layout.Length
	Fittings []FittingCount // lengths from the network's table
}

func (p Pipe) check(n *Network) error {
	_, err := n.fittings().Length(p.Size.Nominal, p.Fittings)
	return errors.Join(err,
		insist(finite(p.Length) && p.Length >= 0, "a length of %v", p.Length),
		insist(finite(p.Size.Inside) && p.Size.Inside > 0, "an inside diameter of %v", p.Size.Inside),
		insist(finite(p.Size.C) && p.Size.C >= 0, "a Hazen–Williams coefficient of %v", p.Size.C),
		insist(finite(p.Size.Roughness) && p.Size.Roughness >= 0, "a roughness of %v", p.Size.Roughness))
}

// equivalent is the pipe's own length and that of its fittings.
func (p Pipe) equivalent(n *Network) layout.Length {
	fittings, _ := n.fittings().Length(p.Size.Nominal, p.Fittings)
	return p.Length + fittings
}

func (p Pipe) law(n *Network) law { return p.Size.friction(n.Formula, p.equivalent(n)) }
func (Pipe) limit() float64       { return math.Inf(1) }

// SquareLoss is what loses in proportion to the square of its flow: a meter or
// a valve. The zero value loses nothing.
type SquareLoss struct {
	Loss layout.Pressure // at the flow At
	At   layout.Flow
	Most layout.Flow // the most it may carry; 0 any
}

func (s SquareLoss) check(*Network) error {
	return errors.Join(
		insist(finite(s.Loss) && s.Loss >= 0, "a loss of %v", s.Loss),
		insist(finite(s.At) && (s.At > 0 || s == SquareLoss{}), "a loss given at a flow of %v", s.At),
		insist(finite(s.Most) && s.Most >= 0, "a greatest flow of %v", s.Most))
}

func (s SquareLoss) law(*Network) law {
	if s.Loss == 0 {
		return power{0, 2}
	}
	return power{headOf(s.Loss) / (cubicMetres(s.At) * cubicMetres(s.At)), 2}
}

func (s SquareLoss) limit() float64 { return orUnbounded(s.Most) }

// LossCurve is a loss given by points, such as that of a backflow assembly: the
// Offset opens its springs, and from there it runs in straight lines through
// the points. Beyond the last point nothing is known, and a solution that goes
// there says so. A curve with dips is to be given by its running maximum.
type LossCurve struct {
	Offset layout.Pressure // as flow begins
	Points []LossPoint     // by rising flow
	Judged bool            // a judgement, not a measured curve
}

// LossPoint is a point of a loss curve.
type LossPoint struct {
	Flow layout.Flow
	Loss layout.Pressure
}

// Validate says what is wrong with the curve, if anything.
func (c LossCurve) Validate() error { return c.check(nil) }

func (c LossCurve) check(*Network) error {
	if len(c.Points) == 0 {
		return errors.New("a loss curve without points")
	}
	before := LossPoint{0, c.Offset}
	if !finite(c.Offset) || c.Offset < 0 {
		return fmt.Errorf("an offset of %v", c.Offset)
	}
	for _, p := range c.Points {
		if !finite(p.Flow) || !finite(p.Loss) || p.Flow <= before.Flow || p.Loss < before.Loss {
			return fmt.Errorf("a loss curve that does not rise from %v at %v to %v at %v",
				before.Loss, before.Flow, p.Loss, p.Flow)
		}
		before = p
	}
	return nil
}

func (c LossCurve) law(*Network) law {
	out := chords{{0, headOf(c.Offset)}}
	for _, p := range c.Points {
		out = append(out, [2]float64{cubicMetres(p.Flow), headOf(p.Loss)})
	}
	return out
}

func (c LossCurve) limit() float64 { return cubicMetres(c.Points[len(c.Points)-1].Flow) }

// Regulator holds the pressure behind it down to Set, and loses nothing
// otherwise.
type Regulator struct{ Set layout.Pressure }

func (r Regulator) check(*Network) error {
	return insist(finite(r.Set) && r.Set > 0, "a regulator set to %v", r.Set)
}
func (Regulator) law(*Network) law { return power{0, 1} }
func (Regulator) limit() float64   { return math.Inf(1) }

// chords is a loss along straight lines between points of flow and head,
// continued beyond them so that a solver may pass there.
type chords [][2]float64

func (c chords) loss(q float64) (head, slope float64) {
	i, _ := slices.BinarySearchFunc(c, q, func(p [2]float64, q float64) int {
		if p[0] < q {
			return -1
		}
		return 1
	})
	i = min(max(i, 1), len(c)-1)
	a, b := c[i-1], c[i]
	slope = (b[1] - a[1]) / (b[0] - a[0])
	return a[1] + slope*(q-a[0]), slope
}

func orUnbounded(q layout.Flow) float64 {
	if q == 0 {
		return math.Inf(1)
	}
	return cubicMetres(q)
}

// insist returns nil if ok and otherwise an error of the given words.
func insist(ok bool, format string, args ...any) error {
	if ok {
		return nil
	}
	return fmt.Errorf(format, args...)
}

func finite[Q ~float64](v Q) bool { return !math.IsNaN(float64(v)) && !math.IsInf(float64(v), 0) }
