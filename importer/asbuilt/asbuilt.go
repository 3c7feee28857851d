// Package asbuilt reads what was built of designs: the layers head and pipe that
// this program writes, edited in a mapping tool or with a receiver on the lot.
//
// A head is known by its property head, a pipe by its property pipe. A head may
// be moved, taken out, or added without a label; its throw and arc may be
// changed, a pipe's way, material and size. Features of other layers are left
// alone. What differs from the design by no more than the rounding of the file
// counts as designed.
package asbuilt

import (
	"cmp"
	"context"
	"errors"
	"math"
	"slices"

	"lotwright/importer"
	"lotwright/importer/geojson"
	"lotwright/importer/project"
	"lotwright/layout"
	"lotwright/layout/geom"
)

// SnapMM is how far a place may be off the designed one and still count as it:
// what rounding to seven decimals of a degree, as RFC 7946 advises at most, does.
const SnapMM = 10

// layerPipe is the output layer of pipe.
const layerPipe layout.Layer = "pipe"

// mostOff bounds how far from its lot anything built may be, in metres.
const mostOff = 2000

// throwRounding is how far a throw may be off the designed one and still count
// as it: throws are written to a millimetre or a thousandth of a foot.
const throwRounding layout.Length = 0.001

// Lot is what a file says was built on one lot.
type Lot struct {
	ID       string
	features []importer.Feature
}

// Read reads a file and returns its lots by id. What concerns the whole file is
// an [*importer.Refusal]; what concerns a lot comes with [Lot.AsBuilt].
func Read(ctx context.Context, src geojson.Source, limits importer.Limits) ([]Lot, error) {
	d, err := geojson.Open(ctx, src, limits)
	if err != nil {
		return nil, err
	}
	lots, err := collect(d)
	return lots, errors.Join(err, d.Close())
}

// built reports whether a layer tells what was built.
func built(l layout.Layer) bool { return l == layout.LayerHead || l == layerPipe }

// drawn reports whether a layer tells of a design how its heads stand and are
// joined.
func drawn(l layout.Layer) bool {
	return built(l) || l == layerTrench || l == layerValve || l == layerLot
}

// collect sorts what a document tells of designs by lot.
func collect(d *geojson.Document) (lots []Lot, err error) {
	system, err := systemOf(d)
	if err != nil {
		return nil, err
	}
	at := map[string]int{}
	for i := range d.Len() {
		x := d.Feature(i)
		if !drawn(x.Layer) {
			continue
		}
		undo(system, x.Geometry)
		k, known := at[x.Lot]
		if !known {
			k = len(lots)
			at[x.Lot] = k
			lots = append(lots, Lot{ID: x.Lot})
		}
		lots[k].features = append(lots[k].features, x)
	}
	return Told(d.Name(), lots)
}

// Told returns the lots of a file, by id, of which it tells what was built; that
// it tells of none is an [*importer.Refusal].
func Told(file string, lots []Lot) ([]Lot, error) {
	lots = slices.DeleteFunc(lots, func(l Lot) bool {
		return !slices.ContainsFunc(l.features, func(x importer.Feature) bool { return built(x.Layer) })
	})
	if len(lots) == 0 {
		r := importer.Refuse(-1, "asbuilt.empty", "the file holds no features of the layers head or pipe")
		r.Finding.File = file
		return nil, r
	}
	slices.SortFunc(lots, func(a, b Lot) int { return cmp.Compare(a.ID, b.ID) })
	return lots, nil
}

// systemOf is the coordinate system of a document.
func systemOf(d *geojson.Document) (project.System, error) {
	if d.CRS() == "" {
		return project.System{}, nil
	}
	system, ok := project.Lookup(d.CRS())
	if !ok {
		r := importer.Refuse(-1, "crs.unsupported", "the coordinate system %.80q is not known; send WGS 84 degrees", d.CRS())
		r.Finding.File = d.Name()
		return system, r
	}
	return system, nil
}

// undo turns the coordinates of a geometry into degrees, in place.
func undo(system project.System, g importer.Geometry) {
	if system.Degrees() {
		return
	}
	for _, part := range g.Parts {
		for _, line := range part {
			for k, p := range line {
				line[k] = system.LonLat(p)
			}
		}
	}
}

// AsBuilt returns what was built, in the lot's plane, held against the design.
// Findings of severity error say why it cannot be taken as it is.
func (l Lot) AsBuilt(plane project.Plane, designed *layout.Design) (layout.AsBuilt, []importer.Finding) {
	r := reader{plane: plane, designed: designed}
	for _, x := range l.features {
		if built(x.Layer) {
			r.feature(x)
		}
	}
	if _, bad := importer.FirstError(r.findings); !bad && len(r.built.Heads) == 0 {
		f := importer.Fault("asbuilt.no_heads", "the file has pipe of this lot but no head; all heads that stand belong in it")
		f.Lot = l.ID
		r.findings = append(r.findings, f)
	}
	importer.SortFindings(r.findings)
	return r.built, r.findings
}

// reader reads the features of one lot.
type reader struct {
	plane    project.Plane
	designed *layout.Design
	built    layout.AsBuilt
	findings []importer.Finding
}

func (r *reader) find(x importer.Feature, f importer.Finding) {
	r.findings = append(r.findings, f.Of(x))
}

func (r *reader) feature(x importer.Feature) {
	for _, f := range x.Findings {
		r.find(x, f)
	}
	if _, bad := importer.FirstError(x.Findings); bad || !r.near(x) {
		return
	}
	if x.Layer == layout.LayerHead {
		r.head(x)
		return
	}
	r.pipe(x)
}

// near reports whether a feature lies anywhere near its lot.
func (r *reader) near(x importer.Feature) bool {
	origin := r.plane.Origin()
	dLon, dLat := project.DegreesAround(origin[1], mostOff)
	for p := range x.Geometry.Positions {
		if !(math.Abs(p[0]-origin[0]) <= dLon && math.Abs(p[1]-origin[1]) <= dLat) {
			r.find(x, importer.Fault("asbuilt.far", "lies more than %d m from the lot", mostOff))
			return false
		}
	}
	return true
}

// line returns the positions of a geometry that is one line or one point.
func (r *reader) line(x importer.Feature, wanted string, types ...importer.GeometryType) ([]importer.Position, bool) {
	g := x.Geometry
	if !slices.Contains(types, g.Type) || len(g.Parts) != 1 || len(g.Parts[0]) != 1 || len(g.Parts[0][0]) == 0 {
		r.find(x, importer.Fault("asbuilt.geometry", "is not %s", wanted))
		return nil, false
	}
	return g.Parts[0][0], true
}

func (r *reader) head(x importer.Feature) {
	positions, ok := r.line(x, "one point", importer.Point, importer.MultiPoint)
	if !ok {
		return
	}
	b := layout.BuiltHead{Label: x.Properties.GetText("head"), At: r.plane.Point(positions[0])}
	designed := layout.Head{}
	i := slices.IndexFunc(r.designed.Heads, func(h layout.Head) bool { return h.Label == b.Label })
	if i >= 0 {
		designed = r.designed.Heads[i]
		b.At = snapped(b.At, designed.At)
	}
	var clear bool
	if b.Throw, clear = throwOf(x.Properties, designed.Throw); !clear {
		r.find(x, importer.Fault("property.conflict", "throw_m and throw_ft contradict each other; clear the one that was not measured"))
		return
	}
	if v, ok := x.Properties.Get("arc_start_deg"); ok {
		b.ArcStart = unless(v, designed.ArcStart, i >= 0)
	}
	if v, ok := x.Properties.Get("arc_sweep_deg"); ok {
		b.ArcSweep = unless(v, designed.ArcSweep, i >= 0)
	}
	if model := x.Properties.GetText("model"); model != designed.Model {
		b.Model = model
	}
	r.built.Heads = append(r.built.Heads, b)
}

// snapped is a place, or the designed one if it is that but for rounding.
func snapped(at, designed geom.Point) geom.Point {
	if at.Within(designed, SnapMM) {
		return designed
	}
	return at
}

// angleRounding is half the last decimal of a bearing as it is written.
const angleRounding = 0.0501

// unless is a value, or nothing if it is the designed one but for rounding.
func unless(v, designed float64, known bool) *float64 {
	if known && math.Abs(v-designed) <= angleRounding {
		return nil
	}
	return &v
}

// throwOf is the throw that was measured: of the two properties, which are both
// in the file, the one that is not as designed. It is not clear if neither is
// and they do not agree.
func throwOf(p importer.Properties, designed layout.Length) (throw *layout.Length, clear bool) {
	for _, unit := range []struct {
		name   string
		metres float64
	}{{"throw_m", 1}, {"throw_ft", layout.MetresPerFoot}} {
		v, ok := p.Get(unit.name)
		t := layout.Length(v * unit.metres)
		switch {
		case !ok || differ(t, designed) <= throwRounding:
		case throw == nil:
			throw = &t
		case differ(t, *throw) > throwRounding:
			return nil, false
		}
	}
	return throw, true
}

func differ(a, b layout.Length) layout.Length { return max(a-b, b-a) }

func (r *reader) pipe(x importer.Feature) {
	positions, ok := r.line(x, "one line", importer.LineString, importer.MultiLineString)
	if !ok {
		return
	}
	label := x.Properties.GetText("pipe")
	i := slices.IndexFunc(r.designed.Network.Pipes, func(p layout.PipeRun) bool { return p.Label == label })
	if i < 0 {
		r.find(x, importer.Fault("asbuilt.pipe_unknown", "pipe %q is not in the design", label))
		return
	}
	designed := r.designed.Network.Pipes[i]
	b := layout.BuiltPipe{Label: label}
	if path := r.plane.Line(positions); !sameWay(path, designed.Path) {
		b.Path = path
	}
	if material := x.Properties.GetText("material"); material != designed.Material {
		b.Material = material
	}
	if size := x.Properties.GetText("size"); size != designed.Size {
		b.Size = size
	}
	if b.Path != nil || b.Material != "" || b.Size != "" {
		r.built.Pipes = append(r.built.Pipes, b)
	}
}

// sameWay reports whether a path is the designed one but for rounding.
func sameWay(path, designed geom.Line) bool {
	return slices.EqualFunc(path, designed, func(p, q geom.Point) bool { return p.Within(q, SnapMM) })
}
