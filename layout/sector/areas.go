package sector

import (
	"fmt"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// What is narrower than the least radius, yet too little to be watered by heads
// of its own, stays with the open lawn: corners that opening rounds off, and
// pieces narrower or smaller than this. Judgements.
const (
	leastStripMM = 600
	leastStripM2 = 3
)

// Strips returns the parts of the lawn narrower than the least radius: there even
// half a circle along the edge throws across the strip. They are what opening the
// lawn by half that radius takes away.
func Strips(lawn geom.Region, leastRadius layout.Length) (geom.Region, error) {
	wide, err := geom.Opened(lawn, leastRadius.Millimetres()/2)
	if err != nil {
		return nil, fmt.Errorf("finding strips narrower than %v: %w", leastRadius, err)
	}
	var strips geom.Region
	for _, piece := range geom.Difference(lawn, wide) {
		core, err := geom.Opened(geom.Region{piece}, leastStripMM/2)
		if err != nil {
			return nil, fmt.Errorf("finding strips narrower than %v: %w", leastRadius, err)
		}
		for _, strip := range core {
			if strip.AreaM2() >= leastStripM2 {
				strips = append(strips, strip)
			}
		}
	}
	return geom.Union(strips), nil
}

// Unwetted returns the polygons of a region of which permitted sectors leave more
// than a share dry, wherever the heads stand. Its lawn decides what is overspray.
func Unwetted(site Site, s Settings, of geom.Region, share float64) (out geom.Region, err error) {
	p, err := newProblem(site, s.filled())
	if err != nil {
		return nil, fmt.Errorf("finding what heads cannot wet: %w", err)
	}
	for _, poly := range of {
		cells, dry := 0, 0
		for c, at := range p.grid.at {
			if (geom.Region{poly}).Has(at) {
				if cells++; !p.reachable[c] {
					dry++
				}
			}
		}
		if float64(dry) > share*float64(cells) {
			out = append(out, poly)
		}
	}
	return out, nil
}
