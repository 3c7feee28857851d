package drawing

import (
	"fmt"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/paper"
)

func rectangle(x0, y0, x1, y1 int64) geom.Region {
	return geom.Region{{{geom.Pt(x0, y0), geom.Pt(x1, y0), geom.Pt(x1, y1), geom.Pt(x0, y1)}}}
}

// arcHead is a fixed-arc head with its sector as wetted outline.
func arcHead(n int, x, y int64, start, sweep float64) layout.Head {
	const throw = 4500.0
	h := layout.Head{
		Label: fmt.Sprintf("H%d", n), At: geom.Pt(x, y), Kind: layout.FixedArc, Model: "spray",
		Throw: 4.5, ArcStart: start, ArcSweep: sweep, Pressure: layout.PSI(30), Flow: layout.GPM(3.7 * sweep / 360), Zone: 1 + n/6,
	}
	for _, v := range sector(paper.At(0, 0), throw, start, sweep) {
		h.Wetted = append(h.Wetted, geom.Vec{X: float64(x) + v.X, Y: float64(y) - v.Y})
	}
	return h
}

// everything is a hand-drawn lot, 24 by 30 m, on which all that a plan can show
// occurs, with 14 fixed-arc heads.
func everything() (*layout.Lot, *layout.Design) {
	controller := geom.Pt(9100, 13000)
	lot := &layout.Lot{
		ID:         "LK-99",
		Parcel:     rectangle(0, 0, 24000, 30000),
		Building:   rectangle(9000, 9000, 20000, 18000),
		Hardscape:  geom.Region{rectangle(14000, 0, 19000, 9000)[0], rectangle(10000, 18000, 14000, 21000)[0]},
		Water:      rectangle(14000, 22000, 20000, 26000),
		Wall:       rectangle(0, 27900, 10000, 28000),
		Bed:        rectangle(9000, 7800, 13000, 9000),
		NoDig:      rectangle(0, 28500, 24000, 30000),
		RootZone:   geom.Region{{{geom.Pt(3000, 3000), geom.Pt(5500, 3000), geom.Pt(5500, 5500), geom.Pt(3000, 5500)}}},
		Sleeves:    []geom.Line{{geom.Pt(13500, 2500), geom.Pt(19500, 2500)}},
		Controller: &controller,
	}
	lawn := geom.Difference(lot.Parcel, geom.Union(lot.Building, lot.Hardscape, lot.Water, lot.Wall, lot.Bed))
	narrow := rectangle(13000, 7800, 14000, 9000)
	d := &layout.Design{
		LotID: lot.ID, Status: layout.StatusDesigned, HeadKind: layout.FixedArc,
		Proof: layout.Proof{Kind: layout.ProofContinuous, Bound: 13}, Coverage: 0.9781, CoverageTarget: 0.97,
		Throw: layout.Feet(15), Pressure: layout.PSI(30), HeadFlow: layout.GPM(3.7), Regulated: true,
		ParcelArea: 720, Irrigated: geom.Difference(lawn, narrow), Narrow: narrow, Dry: rectangle(20000, 20000, 24000, 24000),
		IrrigatedArea: 520.6, NarrowArea: 1.2, DryArea: 11.4, OversprayArea: 4.2,
		Network: layout.Network{
			POC: geom.Pt(20000, 12000), POCAssumed: true, TrenchLength: 83.2, SpanningTreeLength: 88, PavingCrossings: 1, PavingCrossingLength: 4, PipeLength: 91,
			Unreached: []layout.Note{{Rule: "trench.unreached", Severity: layout.SeverityWarning, Text: "H14: no trench gets there without crossing ground that must not be dug"}},
		},
		Notes: []layout.Note{
			{Rule: "poc.assumed", Severity: layout.SeverityInfo, Text: "No source given: the point of connection is assumed on the building's street side."},
			{Rule: "supply.regulated", Severity: layout.SeverityWarning, Text: "The pressure at the heads is above their rated band: fit a regulator."},
		},
	}
	spots := []struct {
		x, y         int64
		start, sweep float64
	}{
		{200, 200, 0, 90}, {4500, 200, 270, 180}, {9000, 200, 270, 180}, {13700, 200, 270, 90}, {200, 5000, 0, 180}, {4500, 5000, 0, 360},
		{13500, 7000, 180, 150}, {200, 9500, 0, 180}, {8600, 9500, 180, 180}, {200, 14000, 0, 180}, {19300, 200, 0, 90}, {23800, 200, 270, 90},
		{23800, 4500, 180, 180}, {23800, 27000, 180, 180},
	}
	for i, s := range spots {
		d.Heads = append(d.Heads, arcHead(i+1, s.x, s.y, s.start, s.sweep))
	}
	d.Heads[5].Pinned = true
	run := func(from, to string, surface layout.Surface, path ...geom.Point) {
		d.Network.Runs = append(d.Network.Runs, layout.TrenchRun{From: from, To: to, Surface: surface, Path: path, Depth: 0.254})
	}
	run("POC", "T1", layout.SurfaceSoil, d.Network.POC, geom.Pt(20600, 11500), geom.Pt(20600, 2500))
	run("T1", "H13", layout.SurfaceSoil, geom.Pt(20600, 2500), d.Heads[12].At)
	run("T1", "H12", layout.SurfaceSoil, geom.Pt(20600, 2500), d.Heads[11].At)
	run("T1", "T2", layout.SurfaceSoil, geom.Pt(20600, 2500), geom.Pt(19500, 2500))
	run("T1", "T2", layout.SurfaceSleeve, geom.Pt(19500, 2500), geom.Pt(13500, 2500))
	run("T1", "T2", layout.SurfaceSoil, geom.Pt(13500, 2500), geom.Pt(9500, 2700))
	run("T2", "H3", layout.SurfaceSoil, geom.Pt(9500, 2700), d.Heads[2].At)
	run("T2", "H6", layout.SurfaceSoil, geom.Pt(9500, 2700), d.Heads[5].At)
	run("H13", "H7", layout.SurfaceSoil, d.Heads[12].At, geom.Pt(19000, 6000))
	run("H13", "H7", layout.SurfacePaving, geom.Pt(19000, 6000), geom.Pt(14000, 6800))
	run("H13", "H7", layout.SurfaceSoil, geom.Pt(14000, 6800), d.Heads[6].At)
	return lot, d
}

// hostileID is a lot id that would run a script where it is not escaped.
const hostileID = `<img src=x onerror=alert(1)>"&'` + "\x00\u202e]]>"
