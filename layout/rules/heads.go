package rules

import (
	"fmt"
	"math"
	"strings"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// namedSpray takes fixed-arc heads whose model is called a spray.
func namedSpray(h layout.Head) bool {
	return h.Kind == layout.FixedArc && strings.Contains(strings.ToLower(h.Model), "spray")
}

// measureSlack forgives the rounding of places to the grid.
const measureSlack = 0.002 // m

func headsFromPaving(in *Input, r Rule) ([]Finding, string) {
	return headsFrom(in, r, in.Lot.Hardscape, "paving"), ""
}

func headsFromBuildings(in *Input, r Rule) ([]Finding, string) {
	return headsFrom(in, r, geom.Union(in.Lot.Building, in.Lot.Wall), "a building or wall"), ""
}

// headsFrom lists the heads nearer to something than the limit.
func headsFrom(in *Input, r Rule, things geom.Region, name string) (out []Finding) {
	if len(things) == 0 {
		return nil
	}
	for _, h := range in.Design.Heads {
		d := things.DistanceMM(h.At) / geom.MillimetresPerMetre
		if things.Has(h.At) {
			d = 0
		}
		if d < r.limit()-measureSlack {
			out = append(out, found(r, h.Label, &h.At, d, fmt.Sprintf("%s stands %s from %s; at least %s is asked for",
				h.Label, lengthText(d), name, lengthText(r.limit()))))
		}
	}
	return out
}

// spacings returns the distance from each head to the nearest other one; +Inf
// for a head alone. Neighbours count whatever valve they are on.
func spacings(heads []layout.Head) []float64 {
	out := make([]float64, len(heads))
	for i, h := range heads {
		out[i] = math.Inf(1)
		for k, o := range heads {
			if k != i {
				out[i] = min(out[i], h.At.DistanceMM(o.At)/geom.MillimetresPerMetre)
			}
		}
	}
	return out
}

// spaced goes through the fixed-arc heads that have a neighbour.
func spaced(in *Input, f func(h layout.Head, spacing float64)) string {
	var heads []layout.Head
	for _, h := range in.Design.Heads {
		if h.Kind == layout.FixedArc {
			heads = append(heads, h)
		}
	}
	if len(heads) == 0 && len(in.Design.Heads) > 0 {
		return "variable-throw heads follow the lawn's edge and have no one radius; ask how the rule is read for them"
	}
	for i, d := range spacings(heads) {
		if !math.IsInf(d, 1) {
			f(heads[i], d)
		}
	}
	return ""
}

func spacingOffRadius(in *Input, r Rule) (out []Finding, unseen string) {
	unseen = spaced(in, func(h layout.Head, spacing float64) {
		off := spacing/h.Throw.Metres() - 1
		if math.Abs(off) > r.limit() {
			out = append(out, found(r, h.Label, &h.At, math.Abs(off), fmt.Sprintf(
				"%s stands %s from the next head, %+.0f %% off its radius of %s; ±%.0f %% is permitted",
				h.Label, lengthText(spacing), 100*off, lengthText(h.Throw.Metres()), 100*r.limit())))
		}
	})
	return out, unseen
}

func spacingOfRadius(in *Input, r Rule) (out []Finding, unseen string) {
	unseen = spaced(in, func(h layout.Head, spacing float64) {
		share := spacing / h.Throw.Metres()
		if spacing > h.Throw.Metres()*r.limit()+measureSlack {
			out = append(out, found(r, h.Label, &h.At, share, fmt.Sprintf(
				"%s stands %s from the next head, %.0f %% of its radius of %s; %.0f %% is permitted",
				h.Label, lengthText(spacing), 100*share, lengthText(h.Throw.Metres()), 100*r.limit())))
		}
	})
	return out, unseen
}

// hardGround is paving and buildings.
func hardGround(in *Input) geom.Region { return geom.Union(in.Lot.Hardscape, in.Lot.Building) }

func overspray(in *Input, r Rule) (out []Finding, unseen string) {
	hard := hardGround(in)
	for _, h := range in.Design.Heads {
		if a := geom.Intersection(h.Overspray, hard).AreaM2(); a > r.limit() {
			out = append(out, found(r, h.Label, &h.At, a, fmt.Sprintf("%s wets %s of hard ground; %s is permitted",
				h.Label, areaText(a), areaText(r.limit()))))
		}
	}
	return out, ""
}

// wetted is what a head wets, as drawn.
func wetted(h layout.Head) geom.Region {
	var ring geom.Ring
	for _, v := range h.Wetted {
		ring = append(ring, v.Round())
	}
	return geom.Normalize([]geom.Ring{ring})
}

// leastWetM2 is the area under which water somewhere does not count: what is
// wetted is drawn to 5 mm. A judgement.
const leastWetM2 = 0.1

func wetNearPaving(in *Input, r Rule) (out []Finding, unseen string) {
	if len(in.Lot.Hardscape) == 0 {
		return nil, ""
	}
	near, err := geom.Buffer(in.Lot.Hardscape, layout.Length(r.limit()).Millimetres(), geom.RoundJoin)
	if err != nil {
		return nil, err.Error()
	}
	for _, h := range in.Design.Heads {
		if a := geom.Intersection(wetted(h), near).AreaM2(); a > leastWetM2 {
			out = append(out, found(r, h.Label, &h.At, a, fmt.Sprintf("%s wets %s within %s of paving",
				h.Label, areaText(a), lengthText(r.limit()))))
		}
	}
	return out, ""
}

// inStrips goes through the heads that a filter takes and that wet narrow strips.
func inStrips(in *Input, r Rule, takes func(layout.Head) bool, f func(h layout.Head, areaM2 float64)) string {
	if in.Strips == nil {
		return "narrow strips were not worked out"
	}
	strips, err := in.Strips(layout.Length(r.limit()))
	if err != nil {
		return err.Error()
	}
	for _, h := range in.Design.Heads {
		if !takes(h) {
			continue
		}
		if a := geom.Intersection(wetted(h), strips).AreaM2(); a > leastWetM2 {
			f(h, a)
		}
	}
	return ""
}

func sprayInStrips(in *Input, r Rule) (out []Finding, unseen string) {
	unseen = inStrips(in, r, in.Spray, func(h layout.Head, a float64) {
		out = append(out, found(r, h.Label, &h.At, a, fmt.Sprintf("%s, a spray, waters %s of strips narrower than %s between paving",
			h.Label, areaText(a), lengthText(r.limit()))))
	})
	return out, unseen
}

func oversprayInStrips(in *Input, r Rule) (out []Finding, unseen string) {
	beyond := func(h layout.Head) bool { return h.OversprayArea > leastWetM2 }
	unseen = inStrips(in, r, beyond, func(h layout.Head, a float64) {
		out = append(out, found(r, h.Label, &h.At, h.OversprayArea, fmt.Sprintf(
			"%s waters a strip narrower than %s and throws on %s beyond the lawn", h.Label, lengthText(r.limit()), areaText(h.OversprayArea))))
	})
	return out, unseen
}

// slopeBase is the least distance between spot heights that a slope is read
// from: nearer ones tell of a step or a wall. A judgement.
const slopeBase = 1000 // mm

func slopes(in *Input, r Rule) (out []Finding, unseen string) {
	if len(in.Lot.Heights) < 2 {
		return nil, "heights were not surveyed"
	}
	told := map[[2]int]bool{}
	for i, a := range in.Lot.Heights {
		k := nearestHeight(in.Lot.Heights, i)
		if k < 0 || told[[2]int{min(i, k), max(i, k)}] {
			continue
		}
		told[[2]int{min(i, k), max(i, k)}] = true
		b := in.Lot.Heights[k]
		s := math.Abs((b.Height - a.Height).Metres()) * geom.MillimetresPerMetre / a.At.DistanceMM(b.At)
		if s > r.limit() {
			out = append(out, found(r, "", &a.At, s, fmt.Sprintf("the ground falls by %.0f %% here; up to %.0f %% is permitted", 100*s, 100*r.limit())))
		}
	}
	return out, ""
}

// nearestHeight is the spot height nearest to another, not nearer than the base
// of a slope; −1 if there is none.
func nearestHeight(heights []layout.SpotHeight, i int) int {
	best, nearest := -1, math.Inf(1)
	for k, h := range heights {
		if d := h.At.DistanceMM(heights[i].At); k != i && d >= slopeBase && d < nearest {
			best, nearest = k, d
		}
	}
	return best
}

// rateOf is what a head applies on its sector, in mm/h.
func rateOf(h layout.Head) float64 {
	sector := math.Pi * h.Throw.Metres() * h.Throw.Metres() * h.ArcSweep / fullCircle
	return h.Flow.LPM() * minutesPerHour / sector
}

const (
	fullCircle     = 360
	minutesPerHour = 60
)

func matchedRates(in *Input, r Rule) (out []Finding, unseen string) {
	type span struct{ low, high layout.Head }
	zones, last := map[int]span{}, 0
	for _, h := range in.Design.Heads {
		if h.Kind != layout.FixedArc || h.Throw <= 0 || h.ArcSweep <= 0 {
			continue
		}
		z, ok := zones[h.Zone]
		if !ok || rateOf(h) < rateOf(z.low) {
			z.low = h
		}
		if !ok || rateOf(h) > rateOf(z.high) {
			z.high = h
		}
		zones[h.Zone], last = z, max(last, h.Zone)
	}
	for number := 0; number <= last; number++ {
		z, ok := zones[number]
		if !ok {
			continue
		}
		if ratio := rateOf(z.high) / rateOf(z.low); ratio > r.limit() {
			out = append(out, found(r, fmt.Sprintf("zone %d", number), &z.high.At, ratio, fmt.Sprintf(
				"in zone %d %s applies %.1f mm/h (%.2f in/h) and %s %.1f mm/h (%.2f in/h), %.2f times as much; %.2f times is permitted",
				number, z.low.Label, rateOf(z.low), inches(rateOf(z.low)), z.high.Label, rateOf(z.high), inches(rateOf(z.high)), ratio, r.limit())))
		}
	}
	return out, ""
}

func inches(mm float64) float64 { return mm / (layout.MetresPerInch * geom.MillimetresPerMetre) }

func irrigatedArea(in *Input, r Rule) ([]Finding, string) {
	if a := in.Design.IrrigatedArea; a > r.limit() {
		return []Finding{found(r, "", nil, a, fmt.Sprintf("%s are irrigated; %s is permitted", areaText(a), areaText(r.limit())))}, ""
	}
	return nil, ""
}
