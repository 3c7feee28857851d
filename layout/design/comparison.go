package design

import (
	"fmt"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// Figures are what a design is compared by.
type Figures struct {
	Heads         int
	Coverage      float64
	DryArea       float64 // m²
	OversprayArea float64 // m²
	Uniformity    *layout.Uniformity
	LeastPressure layout.Pressure // of any head
	TrenchLength  layout.Length
	PipeLength    layout.Length
}

// Shift is a head that stands off its stake.
type Shift struct {
	Label           string
	Designed, Built geom.Point
	By              layout.Length
	Beyond          bool // farther than the tolerance
}

// SettingChange is a head that is set otherwise than designed.
type SettingChange struct {
	Label                      string
	ThrowDesigned, Throw       layout.Length
	ArcDesigned, Arc           [2]float64 // start and sweep, degrees
	PressureDesigned, Pressure layout.Pressure
}

// Comparison sets what was built beside the design.
type Comparison struct {
	Before, After Figures
	Tolerance     layout.Length

	Moved   []Shift // by designed order, however little
	Added   []string
	Missing []string
	Set     []SettingChange

	// NewlyDry was to be watered and is not; NewlyWet the other way round.
	NewlyDry, NewlyWet         geom.Region
	NewlyDryArea, NewlyWetArea float64 // m²
}

func figuresOf(d *layout.Design) Figures {
	f := Figures{Heads: len(d.Heads), Coverage: d.Coverage, DryArea: d.DryArea, OversprayArea: d.OversprayArea,
		Uniformity: d.Uniformity, TrenchLength: d.Network.TrenchLength, PipeLength: d.Network.PipeLength}
	for i, h := range d.Heads {
		if i == 0 || h.Pressure < f.LeastPressure {
			f.LeastPressure = h.Pressure
		}
	}
	return f
}

// compare sets the heads as they stand beside the designed ones, and adds a
// remark on each that is beyond the tolerance, added or missing.
func (a *audit) compare() *Comparison {
	c := &Comparison{Before: figuresOf(a.designed), After: figuresOf(a.d), Tolerance: DefaultShiftTolerance}
	for i, h := range a.heads {
		if _, known := a.before[h.Label]; !known {
			c.Added = append(c.Added, h.Label)
			a.remark("audit.added", layout.SeverityInfo, h.At, fmt.Sprintf("%s is not in the design", h.Label))
			continue
		}
		a.compareHead(c, a.designed.Heads[a.likeness[i]], h)
	}
	for _, h := range a.designed.Heads {
		if !slices.ContainsFunc(a.heads, func(b layout.Head) bool { return b.Label == h.Label }) {
			c.Missing = append(c.Missing, h.Label)
			a.remark("audit.missing", layout.SeverityError, h.At, fmt.Sprintf("%s was to stand here and does not", h.Label))
		}
	}
	c.NewlyDry = withoutScraps(geom.Difference(a.d.Dry, a.designed.Dry))
	c.NewlyWet = withoutScraps(geom.Difference(a.designed.Dry, a.d.Dry))
	c.NewlyDryArea, c.NewlyWetArea = c.NewlyDry.AreaM2(), c.NewlyWet.AreaM2()
	return c
}

// compareHead sets one head beside the designed one.
func (a *audit) compareHead(c *Comparison, before, now layout.Head) {
	if now.At != before.At {
		by := layout.Length(now.At.DistanceMM(before.At) / geom.MillimetresPerMetre)
		c.Moved = append(c.Moved, Shift{Label: now.Label, Designed: before.At, Built: now.At, By: by, Beyond: by > c.Tolerance})
		if by > c.Tolerance {
			a.remark("audit.moved", layout.SeverityWarning, now.At, fmt.Sprintf("%s stands %v off its stake; up to %v passes", now.Label, by, c.Tolerance))
		}
	}
	change := SettingChange{Label: now.Label, ThrowDesigned: before.Throw, Throw: now.Throw,
		ArcDesigned: [2]float64{before.ArcStart, before.ArcSweep}, Arc: [2]float64{now.ArcStart, now.ArcSweep},
		PressureDesigned: before.Pressure, Pressure: now.Pressure}
	if change.Throw != change.ThrowDesigned || change.Arc != change.ArcDesigned {
		c.Set = append(c.Set, change)
	}
}
