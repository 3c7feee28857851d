package design

import (
	"errors"
	"fmt"
	"time"

	"lotwright/layout"
	"lotwright/layout/sector"
	"lotwright/layout/sight"
	"lotwright/layout/uniformity"
)

// Rainfall simulates how the water of a design's heads lies on its lawn, those
// of one zone or, for zone 0, all of them as if every zone ran equally long. A
// variable-throw head is taken to water what it reaches evenly.
func Rainfall(lot *layout.Lot, d *layout.Design, s Settings, zone int) (*uniformity.Result, error) {
	if len(d.Heads) == 0 {
		return nil, errors.New("the design has no heads")
	}
	r := run{lot: lot, s: settingsOf(d, s).filled(), d: d}
	if d.HeadKind == layout.FixedArc {
		if r.s.Family == nil {
			return nil, errors.New("the settings name no family of heads with the nozzles of the design")
		}
		r.takeParts(d)
		for _, h := range d.Heads {
			r.arcs.nozzles = append(r.arcs.nozzles, sector.Nozzle{Throw: h.Throw})
		}
		r.openGround()
	} else {
		r.field = sight.NewFieldAcross(d.Irrigated, r.passable(), r.s.CrossPaving.Millimetres())
	}
	var running []uniformity.Sprinkler
	for _, h := range d.Heads {
		if h.Throw > 0 && (zone == 0 || h.Zone == zone) {
			running = append(running, r.sprinkler(h))
		}
	}
	return uniformity.Simulate(d.Irrigated, running, uniformity.Settings{})
}

// sprinkler is a head with what it sees.
func (r *run) sprinkler(h layout.Head) uniformity.Sprinkler {
	out := uniformity.Sprinkler{Head: h, LeastThrow: r.s.Head.LeastThrow}
	field := r.field
	if h.Kind == layout.FixedArc {
		field, out.LeastThrow, out.Profile = r.arcs.open, 0, profileOf(r.partOf(h).family)
	}
	view := field.From(h.At, h.Throw.Millimetres(), out.LeastThrow.Millimetres())
	out.View = &view
	return out
}

// CatchPrediction returns what a design says that cans should catch, in mm, when
// each zone runs for a time: of their own zone where the can names it, else of
// all. It fails when the heads cannot be simulated.
func CatchPrediction(lot *layout.Lot, d *layout.Design, s Settings, zones []int, runs time.Duration) (func(uniformity.Can) (mm float64, ok bool), error) {
	rain := map[int]*uniformity.Result{}
	for _, zone := range append([]int{0}, zones...) {
		r, err := Rainfall(lot, d, s, zone)
		if err != nil {
			return nil, fmt.Errorf("predicting the catch of zone %d: %w", zone, err)
		}
		rain[zone] = r
	}
	return func(can uniformity.Can) (float64, bool) {
		r, ok := rain[can.Zone]
		if !ok || can.At == nil {
			return 0, false
		}
		rate, ok := r.RateAt(*can.At)
		return rate.MMPerHour() * runs.Hours(), ok
	}, nil
}
