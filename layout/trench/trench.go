package trench

import (
	"context"
	"errors"
	"fmt"
	"math"

	"lotwright/layout"
)

// Settings say what digging costs and how it is done. Prices are relative to a
// metre of trench in plain soil. The zero value takes the defaults.
type Settings struct {
	PavingFactor   float64       // price of a metre under paving, at least 1; 0 means [DefaultPavingFactor]
	RootZoneFactor float64       // price of a metre through tree roots, at least 1; 0 means [DefaultRootZoneFactor]
	PavingCrossing layout.Length // price of each crossing of paving beside its metres; 0 means [DefaultPavingCrossing], negative means none
	Clearance      layout.Length // from buildings; 0 means [DefaultClearance], negative means none
	Depth          layout.Length // of every run; 0 means [DefaultDepth]
	PavingDepth    layout.Length // of runs under paving, if that is deeper; 0: the same
}

// Defaults. The prices are common practice, no source; the depth is the middle
// of the 8–12 in usual where lines are blown out before winter.
const (
	DefaultPavingFactor                 = 8.0
	DefaultRootZoneFactor               = 3.0
	DefaultPavingCrossing layout.Length = 4 // setting up a saw or a bore
	DefaultClearance      layout.Length = 0.30
	DefaultDepth          layout.Length = 10 * layout.MetresPerInch
)

// Limits of what settings may ask for, far beyond any use, so that prices add
// up within int64.
const (
	maxFactor               = 1e4
	maxLength layout.Length = 1e4
)

func (s Settings) withDefaults() (Settings, error) {
	s.PavingFactor = orDefault(s.PavingFactor, DefaultPavingFactor)
	s.RootZoneFactor = orDefault(s.RootZoneFactor, DefaultRootZoneFactor)
	s.PavingCrossing = max(0, orDefault(s.PavingCrossing, DefaultPavingCrossing))
	s.Clearance = max(0, orDefault(s.Clearance, DefaultClearance))
	s.Depth = orDefault(s.Depth, DefaultDepth)
	return s, errors.Join(
		checkRange("PavingFactor", s.PavingFactor, 1, maxFactor),
		checkRange("RootZoneFactor", s.RootZoneFactor, 1, maxFactor),
		checkRange("PavingCrossing", s.PavingCrossing, 0, maxLength),
		checkRange("Clearance", s.Clearance, 0, maxLength),
		checkRange("Depth", s.Depth, 0, maxLength),
		checkRange("PavingDepth", s.PavingDepth, 0, maxLength),
	)
}

// deepen gives the runs under paving at least a depth.
func deepen(runs []layout.TrenchRun, depth layout.Length) {
	for i := range runs {
		if runs[i].Surface == layout.SurfacePaving {
			runs[i].Depth = max(runs[i].Depth, depth)
		}
	}
}

func orDefault[T ~float64](v, def T) T {
	if v == 0 {
		return def
	}
	return v
}

func checkRange[T ~float64](name string, v, least, most T) error {
	if v >= least && v <= most {
		return nil
	}
	if math.IsNaN(float64(v)) {
		return fmt.Errorf("trench settings: %s is not a number", name)
	}
	return fmt.Errorf("trench settings: %s is %g, want %g to %g", name, float64(v), float64(least), float64(most))
}

// Route returns the trench network that joins the heads to the point of
// connection; see the package comment for how. Pipes and PipeLength are left
// to [Pipes].
//
// Labels of heads name the ends of runs; a head without one goes by its place
// in the list. A head that no trench can get to is listed in Unreached. An
// error means settings that make no sense, a lot without a parcel, or ctx done.
func Route(ctx context.Context, lot *layout.Lot, heads []layout.Head, s Settings) (layout.Network, error) {
	s, err := s.withDefaults()
	if err != nil {
		return layout.Network{}, fmt.Errorf("lot %s: %w", lot.ID, err)
	}
	g := newGround(lot, s)
	if len(g.parcel) == 0 {
		return layout.Network{}, fmt.Errorf("lot %s: trench: the parcel is empty", lot.ID)
	}
	var net layout.Network
	if lot.Source != nil {
		net.POC = *lot.Source
	} else {
		net.POC, net.POCAssumed = assumedPOC(lot, g), true
	}
	c, err := newChart(ctx, g, lot.Sleeves, gather(net.POC, heads))
	if err != nil {
		return layout.Network{}, fmt.Errorf("lot %s: trench: %w", lot.ID, err)
	}
	routes := c.refined()
	net.SpanningTreeLength = metres(c.length(routes))
	c.improved(newTree(c, routes)).describe(&net, s.Depth)
	deepen(net.Runs, s.PavingDepth)
	return net, nil
}
