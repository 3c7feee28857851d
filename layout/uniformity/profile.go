package uniformity

import (
	"fmt"
	"math"
)

// Profile is the application rate of a head along a bearing: relative rates at
// given shares of the throw, straight lines between. Only its shape counts; the
// head's flow sets the scale. The zero Profile stands for [Cone].
type Profile struct {
	Name   string
	Points []ProfilePoint // from share 0 to share 1, strictly rising
}

// ProfilePoint is one corner of a profile.
type ProfilePoint struct {
	Share float64 // of the throw, 0 at the head and 1 at full throw
	Rate  float64 // relative, not negative
}

// Cone falls in a straight line from its peak at the head to nothing at full
// throw: the shape for which spacing rules are worked out (R. von Bernuth and
// B. Mecham, Defining the Run Time Multiplier, example 1).
func Cone() Profile {
	return Profile{"cone", []ProfilePoint{{0, 1}, {1, 0}}}
}

// Even has the same rate from the head to full throw.
func Even() Profile {
	return Profile{"even", []ProfilePoint{{0, 1}, {1, 1}}}
}

// Dome is full near the head and falls away ever faster: an invented shape for
// a head at its proper pressure.
func Dome() Profile {
	return Profile{"dome", []ProfilePoint{{0, 1}, {0.4, 0.95}, {0.7, 0.7}, {0.9, 0.3}, {1, 0}}}
}

// Ring is light near the head and heavy towards full throw, as when pressure is
// too low to break the stream up: the shape is invented, that there is one is
// taught (University of Maryland, course unit on sprinkler pressure).
func Ring() Profile {
	return Profile{"ring", []ProfilePoint{{0, 0.4}, {0.6, 0.4}, {0.85, 1}, {1, 0}}}
}

// GenericProfiles lists the built-in shapes.
func GenericProfiles() []Profile { return []Profile{Cone(), Even(), Dome(), Ring()} }

// Validate says what is wrong with a profile, if anything.
func (p Profile) Validate() error {
	n := len(p.Points)
	if n == 0 {
		return nil
	}
	if n == 1 || p.Points[0].Share != 0 || p.Points[n-1].Share != 1 {
		return fmt.Errorf("profile %q must run from share 0 to share 1 of the throw", p.Name)
	}
	wet := false
	for i, pt := range p.Points {
		if i > 0 && !(pt.Share > p.Points[i-1].Share) {
			return fmt.Errorf("profile %q point %d: shares must rise from point to point", p.Name, i+1)
		}
		if !(pt.Rate >= 0) || math.IsInf(pt.Rate, 1) {
			return fmt.Errorf("profile %q point %d: rate %v is negative or not finite", p.Name, i+1, pt.Rate)
		}
		wet = wet || pt.Rate > 0
	}
	if !wet {
		return fmt.Errorf("profile %q has no water in it", p.Name)
	}
	return nil
}

// radial is a profile prepared for many look-ups.
type radial []stretch

// stretch is the line rate = base + slope·share, up to a share of the throw.
type stretch struct{ upTo, base, slope float64 }

func (p Profile) radial() radial {
	if len(p.Points) == 0 {
		p = Cone()
	}
	var out radial
	for i, b := range p.Points[1:] {
		a := p.Points[i]
		slope := (b.Rate - a.Rate) / (b.Share - a.Share)
		out = append(out, stretch{upTo: b.Share, base: a.Rate - float64(slope*a.Share), slope: slope})
	}
	return out
}

// at returns the relative rate at a share of the throw from 0 to 1, never less
// than 0 by rounding. The product is rounded before the sum, the same on every
// machine.
func (r radial) at(share float64) float64 {
	i := 0
	for i < len(r)-1 && share > r[i].upTo {
		i++
	}
	return max(0, r[i].base+float64(r[i].slope*share))
}

// volume returns ∫ rate·s ds from the given share to full throw: the water on
// one radian of arc, for a throw of 1.
func (r radial) volume(from float64) float64 {
	sum := 0.0
	for _, s := range r {
		if to := s.upTo; to > from {
			squares, cubes := float64(to*to)-float64(from*from), float64(to*to*to)-float64(from*from*from)
			sum += float64(s.base*squares/2) + float64(s.slope*cubes/3)
			from = to
		}
	}
	return sum
}
