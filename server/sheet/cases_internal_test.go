package sheet

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lotwright/importer/assemble"
	"lotwright/layout"
	"lotwright/layout/design"
	"lotwright/layout/geom"
)

// settings are those of most tests; both sizes and systems are tried where it
// matters.
var settings = Settings{Date: time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC), Job: "Test batch"}

var metricSettings = Settings{Size: A4, Units: Metric, Date: settings.Date}

func rectangle(x0, y0, x1, y1 int64) geom.Region {
	return geom.Region{{{geom.Pt(x0, y0), geom.Pt(x1, y0), geom.Pt(x1, y1), geom.Pt(x0, y1)}}}
}

// here is a plane at a longitude and latitude, good enough for an index map.
type here struct{ lon, lat float64 }

func (h here) LonLat(x, y float64) (lon, lat float64) {
	return h.lon + x/1000/85_000, h.lat + y/1000/111_000
}

// yard is a hand-drawn lot of 20 m by 10 m with a house of 8 m by 4 m, four
// heads, a trench under a path and two sizes of pipe.
func yard(id string) Lot {
	lot := &layout.Lot{ID: id, Plane: here{-93, 45}, Parcel: rectangle(0, 0, 20000, 10000), Building: rectangle(6000, 3000, 14000, 7000), Hardscape: rectangle(9000, 0, 11000, 3000)}
	d := &layout.Design{
		LotID: id, Plane: lot.Plane, Status: layout.StatusDesigned, HeadKind: layout.VariableThrow, Coverage: 0.9812, CoverageTarget: 0.97,
		Proof: layout.Proof{Kind: layout.ProofContinuous, Bound: 4}, Throw: layout.Feet(30), Pressure: layout.PSI(55), HeadFlow: layout.GPM(4.7),
		ParcelArea: 200, Irrigated: geom.Difference(lot.Parcel, geom.Union(lot.Building, lot.Hardscape)), IrrigatedArea: 162, DryArea: 3,
		Dry:     rectangle(0, 0, 1000, 3000),
		Network: layout.Network{POC: geom.Pt(14000, 5000), PavingCrossings: 1, PavingCrossingLength: 2},
		Notes:   []layout.Note{{Severity: layout.SeverityInfo, Text: "the pressure is that at the heads"}},
	}
	for i, at := range []geom.Point{geom.Pt(3000, 2000), geom.Pt(3000, 8000), geom.Pt(17000, 8000), geom.Pt(17000, 2000)} {
		d.Heads = append(d.Heads, layout.Head{Label: fmt.Sprintf("H%d", i+1), At: at, Kind: layout.VariableThrow, Throw: layout.Feet(30),
			ArcSweep: 360, Pressure: layout.PSI(55), Flow: layout.GPM(4.7), Zone: i + 1})
	}
	tee := geom.Pt(15000, 2000)
	trench(d, "POC", "T1", layout.SurfaceSoil, d.Network.POC, tee)
	trench(d, "T1", "H4", layout.SurfaceSoil, tee, d.Heads[3].At)
	trench(d, "H4", "H3", layout.SurfaceSoil, d.Heads[3].At, d.Heads[2].At)
	trench(d, "T1", "H1", layout.SurfaceSoil, tee, geom.Pt(11000, 2000))
	trench(d, "T1", "H1", layout.SurfacePaving, geom.Pt(11000, 2000), geom.Pt(9000, 2000))
	trench(d, "T1", "H1", layout.SurfaceSoil, geom.Pt(9000, 2000), d.Heads[0].At)
	trench(d, "H1", "H2", layout.SurfaceSoil, d.Heads[0].At, d.Heads[1].At)
	d.Network.Runs[4].Depth = 18 * layout.MetresPerInch
	d.Network.Pipes = []layout.PipeRun{
		{Label: "P1", From: "POC", To: "T1", Size: "1 in", Length: 3.2, Flow: layout.GPM(4.7)},
		{Label: "P2", From: "T1", To: "H1", Size: "3/4 in", Length: 12, Flow: layout.GPM(4.7)},
	}
	d.Network.PipeLength = 15.2
	return Lot{Lot: lot, Design: d}
}

// trench digs a run.
func trench(d *layout.Design, from, to string, s layout.Surface, path ...geom.Point) {
	l := layout.Length(geom.Line(path).LengthMM() / geom.MillimetresPerMetre)
	d.Network.Runs = append(d.Network.Runs, layout.TrenchRun{From: from, To: to, Surface: s, Path: path, Length: l, Depth: 10 * layout.MetresPerInch})
	d.Network.TrenchLength += l
}

// manyHeads is a lot of 60 m by 40 m with n fixed-arc heads on a lattice.
func manyHeads(n int) Lot {
	lot := &layout.Lot{ID: "many", Parcel: rectangle(0, 0, 60000, 40000), Building: rectangle(50000, 30000, 58000, 38000)}
	d := &layout.Design{LotID: lot.ID, Status: layout.StatusDesigned, Irrigated: lot.Parcel, Coverage: 1, CoverageTarget: 0.97,
		Network: layout.Network{POC: geom.Pt(50000, 34000)}}
	last := d.Network.POC
	for i := range n {
		h := layout.Head{Label: fmt.Sprintf("H%d", i+1), At: geom.Pt(2000+int64(i%10)*4800, 2000+int64(i/10)*5200), Kind: layout.FixedArc,
			Throw: 4.5, ArcStart: float64(i*35%360) + 5, ArcSweep: 90, Pressure: layout.PSI(30), Flow: layout.GPM(0.9), Zone: 1 + i/12}
		d.Heads = append(d.Heads, h)
		from := "POC"
		if i > 0 {
			from = d.Heads[i-1].Label
		}
		trench(d, from, h.Label, layout.SurfaceSoil, last, h.At)
		last = h.At
	}
	return Lot{Lot: lot, Design: d}
}

// infeasible is a lot that got no design.
func infeasible() Lot {
	in := yard("A-7")
	in.Design = &layout.Design{LotID: "A-7", Status: layout.StatusInfeasible, Reason: "the supply holds 16.0 psi at the head, the least rated is 40.0 psi"}
	return in
}

// refused is a lot whose outline could not be read.
func refused() Lot {
	return Lot{Design: layout.Refused("A-8", "parcel: ring 1 crosses itself near (12.4, 33.9)", []layout.Note{{Severity: layout.SeverityError, Text: "parcel: 1 ring left out"}})}
}

// hostileIDs are ids that would break a careless page.
var hostileIDs = []string{
	"", "   ", "WWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWW",
	"two\nlines\tand a tab", "מגרש שבע", "قطعة ٧", "地块 7", "🏡🏡🏡🏡🏡🏡🏡🏡🏡", "a\x00b\u202ec\xff", "(\\) Tj ET", "<b>&amp;</b>", "e\u0301\u0301\u0301\u0301",
}

// surveyed designs some of the smaller surveyed lots, in turn with variable-throw
// and fixed-arc heads.
func surveyed(t *testing.T, n int) (out []Lot) {
	const mostM2 = 700
	batch, err := assemble.Open(context.Background(), []assemble.Input{{Path: "../../testdata/reference/lots_A.geojson"}}, assemble.Options{})
	require.NoError(t, err)
	defer batch.Close()
	pressure, rotor := layout.PSI(55), layout.GenericRotor()
	for i := 0; i < batch.Len() && len(out) < n; i++ {
		lot := batch.Lot(i).Lot
		require.NotNil(t, lot)
		if lot.Parcel.AreaM2() > mostM2 {
			continue
		}
		s := design.Settings{Supply: layout.Supply{HeadPressure: &pressure}, Effort: design.Effort{Boxes: -1, SectorMoves: 5000}}
		if len(out)%2 == 1 {
			s.Family = &rotor
		}
		d, err := design.Run(context.Background(), lot, s)
		require.NoError(t, err)
		out = append(out, Lot{Lot: lot, Design: d})
	}
	require.Len(t, out, n)
	return out
}
