package winter

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// Settings say what a design does not. The zero value works, but without
// [Settings.Inside] no volume is known.
type Settings struct {
	// Inside is the inside diameter of pipe of a material and nominal size.
	Inside func(material, size string) (layout.Length, bool)
	// Height is the height of the ground; nil where it was not surveyed.
	Height func(geom.Point) layout.Length
}

// Air limits, and where blowing usually begins (M. Higgins, Colorado State
// University, as quoted by gardenguides.com, page 100407).
var (
	MostAirRigidPVC     = layout.PSI(80)
	MostAirPolyethylene = layout.PSI(50)
	LeastAir            = layout.PSI(40)
)

const (
	// heightStep tells zones apart by height. A judgement.
	heightStep layout.Length = 0.5
	// lowBy is how far a place must lie below its neighbours to be listed as a
	// low point: less is within the unevenness of a trench. A judgement.
	lowBy layout.Length = 0.05
	// litresPerCubicFoot is exact, from the foot.
	litresPerCubicFoot = layout.MetresPerFoot * layout.MetresPerFoot * layout.MetresPerFoot * litresPerCubicMetre
	// atmosphereKPa is the standard atmosphere.
	atmosphereKPa       = 101.325
	litresPerCubicMetre = 1000
)

// CubicFeetPerMinute is a flow in cfm, as compressors are rated.
func CubicFeetPerMinute(f layout.Flow) float64 { return f.LPM() / litresPerCubicFoot }

// Sheet is the winter and spring sheet of a lot.
type Sheet struct {
	LotID  string
	Zones  []Zone // in the order to blow them
	Sizes  []Size // the pipe by material and size
	Volume layout.Volume
	// Unknown lists pipes whose bore is not known; their water is not counted.
	Unknown []string

	Limits   []Limit // by material
	AirLimit layout.Pressure
	// Displaced is the least flow of air at the pressure in the pipe: that of
	// the water of the thirstiest zone. FreeAir is the same as compressors are
	// rated, at the air limit and sea level.
	Displaced, FreeAir layout.Flow

	LowPoints   []LowPoint // places where pipe holds water unless it can drain
	HeightKnown bool

	Static  *layout.Pressure // all valves shut; nil where it was not measured
	StartUp []HeadCheck      // what each head should show in spring

	OrderReason string
	Drain       []Step
	Autumn      []Step
	Spring      []Step
	Cautions    []Step
}

// Step is something to do or to heed, and where it comes from.
type Step struct{ Text, Source string }

// Zone is one zone, and the water in the pipe on its way.
type Zone struct {
	Number int
	Heads  []string
	Valve  string // where it stands; empty where it is not known
	Flow   layout.Flow
	Way    layout.Length // of pipe, from the point of connection to its farthest head
	Height layout.Length // of its highest head above the point of connection; 0 where not surveyed

	OnWay layout.Volume // water in all pipe on its way
	Left  layout.Volume // of that, what zones blown before leave
	// Minutes is how long the water left takes to run out at the zone's own flow.
	Minutes float64
}

// Size is all pipe of one material and size.
type Size struct {
	Material, Size string
	Length         layout.Length
	PerMetre       layout.Volume // water in a metre of it
	Volume         layout.Volume
}

// Limit is the most air pressure pipe of a material may bear. Assumed is set
// where the material has no published limit and got the lowest.
type Limit struct {
	Material string
	Most     layout.Pressure
	Assumed  bool
}

// LowPoint is a place on a pipe lower than the pipe on all sides.
type LowPoint struct {
	Name string // of the tee or head there, or of the pipe
	At   geom.Point
	// Height is above the point of connection.
	Height layout.Length
}

// HeadCheck is what a head should show in spring.
type HeadCheck struct {
	Zone     int
	Head     string
	Pressure layout.Pressure
	Throw    layout.Length
	ArcStart float64 // degrees clockwise from north
	ArcSweep float64 // degrees
}

// Plan draws up the sheet of a design.
func Plan(d *layout.Design, s Settings) *Sheet {
	p := newPipework(d, s)
	out := &Sheet{LotID: d.LotID, HeightKnown: s.Height != nil}
	out.Sizes, out.Unknown = p.sizes()
	for _, size := range out.Sizes {
		out.Volume += size.Volume
	}
	out.setAir(d)
	out.Zones = p.zones()
	for _, z := range out.Zones {
		out.Displaced = max(out.Displaced, z.Flow)
	}
	out.FreeAir = out.Displaced * layout.Flow((out.AirLimit.KPa()+atmosphereKPa)/atmosphereKPa)
	out.LowPoints = p.lowPoints()
	out.checkHeads(d)
	out.write()
	return out
}

// setAir sets the limits of the materials in use, in their order.
func (out *Sheet) setAir(d *layout.Design) {
	var materials []string
	for _, p := range d.Network.Pipes {
		materials = append(materials, p.Material)
	}
	slices.Sort(materials)
	out.AirLimit = MostAirRigidPVC
	for _, m := range slices.Compact(materials) {
		l := limitOf(m)
		out.Limits = append(out.Limits, l)
		out.AirLimit = min(out.AirLimit, l.Most)
	}
}

// limitOf tells the material by how its name begins.
func limitOf(material string) Limit {
	switch {
	case strings.HasPrefix(material, "PVC"):
		return Limit{Material: material, Most: MostAirRigidPVC}
	case strings.HasPrefix(material, "PE"), strings.HasPrefix(material, "HDPE"):
		return Limit{Material: material, Most: MostAirPolyethylene}
	}
	return Limit{Material: material, Most: min(MostAirRigidPVC, MostAirPolyethylene), Assumed: true}
}

// checkHeads lists what the heads should show.
func (out *Sheet) checkHeads(d *layout.Design) {
	if d.Water != nil && d.Water.Known {
		static := d.Water.Static
		out.Static = &static
	}
	for _, h := range d.Heads {
		out.StartUp = append(out.StartUp, HeadCheck{Zone: h.Zone, Head: h.Label, Pressure: h.Pressure, Throw: h.Throw,
			ArcStart: h.ArcStart, ArcSweep: h.ArcSweep})
	}
	slices.SortStableFunc(out.StartUp, func(a, b HeadCheck) int { return cmp.Compare(a.Zone, b.Zone) })
}

// pipework is the pipe of a design, prepared to be followed to the tap.
type pipework struct {
	d       *layout.Design
	s       Settings
	byLabel map[string]int
	into    map[end]int // the pipe that ends at a place, by zone
	litres  []float64   // a metre of each pipe; NaN where its bore is not known
}

type end struct {
	zone int
	name string
}

func newPipework(d *layout.Design, s Settings) *pipework {
	p := &pipework{d: d, s: s, byLabel: map[string]int{}, into: map[end]int{}}
	for i, pipe := range d.Network.Pipes {
		p.byLabel[pipe.Label] = i
		p.into[end{pipe.Zone, pipe.To}] = i
		p.litres = append(p.litres, p.perMetre(pipe))
	}
	return p
}

func (p *pipework) perMetre(pipe layout.PipeRun) float64 {
	if p.s.Inside != nil {
		if d, ok := p.s.Inside(pipe.Material, pipe.Size); ok {
			return math.Pi / 4 * d.Metres() * d.Metres() * litresPerCubicMetre
		}
	}
	return math.NaN()
}

// volume is the water in a pipe; none where its bore is not known.
func (p *pipework) volume(i int) layout.Volume {
	if math.IsNaN(p.litres[i]) {
		return 0
	}
	return layout.Volume(p.litres[i] * p.d.Network.Pipes[i].Length.Metres())
}

// sizes adds the pipe up by material and size, and lists those of unknown bore.
func (p *pipework) sizes() (out []Size, unknown []string) {
	for i, pipe := range p.d.Network.Pipes {
		if math.IsNaN(p.litres[i]) {
			unknown = append(unknown, pipe.Label)
			continue
		}
		k := slices.IndexFunc(out, func(s Size) bool { return s.Material == pipe.Material && s.Size == pipe.Size })
		if k < 0 {
			k = len(out)
			out = append(out, Size{Material: pipe.Material, Size: pipe.Size, PerMetre: layout.Volume(p.litres[i])})
		}
		out[k].Length += pipe.Length
		out[k].Volume += p.volume(i)
	}
	slices.SortFunc(out, func(a, b Size) int {
		return cmp.Or(cmp.Compare(a.Material, b.Material), cmp.Compare(a.PerMetre, b.PerMetre), cmp.Compare(a.Size, b.Size))
	})
	return out, unknown
}

// way lists the pipes from a head to the point of connection.
func (p *pipework) way(h layout.Head) (pipes []int) {
	i, ok := p.byLabel[h.Pipe]
	for ok && !slices.Contains(pipes, i) {
		pipes = append(pipes, i)
		i, ok = p.above(p.d.Network.Pipes[i])
	}
	return pipes
}

// above is the pipe that feeds another: of its own zone, or of all.
func (p *pipework) above(pipe layout.PipeRun) (int, bool) {
	for _, zone := range []int{pipe.Zone, 0} {
		if i, ok := p.into[end{zone, pipe.From}]; ok {
			return i, true
		}
	}
	return 0, false
}

// zones lists the zones in the order to blow them.
func (p *pipework) zones() (out []Zone) {
	pipes := map[int][]int{} // on the way of each zone
	for _, h := range p.d.Heads {
		k := slices.IndexFunc(out, func(z Zone) bool { return z.Number == h.Zone })
		if k < 0 {
			k = len(out)
			out = append(out, Zone{Number: h.Zone, Valve: p.valve(h.Zone), Height: layout.Length(math.Inf(-1))})
		}
		p.join(&out[k], h, pipes)
	}
	slices.SortFunc(out, func(a, b Zone) int {
		return cmp.Or(cmp.Compare(math.Round(float64(b.Height/heightStep)), math.Round(float64(a.Height/heightStep))),
			cmp.Compare(b.Way, a.Way), cmp.Compare(a.Number, b.Number))
	})
	empty := make([]bool, len(p.litres))
	for k := range out {
		for _, i := range pipes[out[k].Number] {
			out[k].OnWay += p.volume(i)
			if !empty[i] {
				out[k].Left += p.volume(i)
				empty[i] = true
			}
		}
		if out[k].Flow > 0 {
			out[k].Minutes = out[k].Left.Litres() / out[k].Flow.LPM()
		}
	}
	return out
}

// join adds a head to its zone.
func (p *pipework) join(z *Zone, h layout.Head, pipes map[int][]int) {
	z.Heads = append(z.Heads, h.Label)
	z.Flow += h.Flow
	z.Height = max(z.Height, p.height(h.At))
	long := layout.Length(0)
	for _, i := range p.way(h) {
		long += p.d.Network.Pipes[i].Length
		if !slices.Contains(pipes[z.Number], i) {
			pipes[z.Number] = append(pipes[z.Number], i)
		}
	}
	z.Way = max(z.Way, long)
}

func (p *pipework) valve(zone int) string {
	if p.d.Water != nil {
		for _, z := range p.d.Water.Zones {
			if z.Number == zone {
				return z.Valve
			}
		}
	}
	return ""
}

// height is above the point of connection; 0 where the ground was not surveyed.
func (p *pipework) height(at geom.Point) layout.Length {
	if p.s.Height == nil {
		return 0
	}
	return p.s.Height(at) - p.s.Height(p.d.Network.POC)
}

// lowPoints lists the places where pipe follows the ground down and up again, or
// ends low, the lowest first.
func (p *pipework) lowPoints() (out []LowPoint) {
	if p.s.Height == nil {
		return nil
	}
	names, beside := map[geom.Point]string{}, map[geom.Point][]geom.Point{}
	for _, pipe := range p.d.Network.Pipes {
		for i, at := range pipe.Path {
			if names[at] == "" {
				names[at] = pipe.Label
			}
			if i > 0 {
				before := pipe.Path[i-1]
				beside[at], beside[before] = append(beside[at], before), append(beside[before], at)
			}
		}
	}
	for _, pipe := range p.d.Network.Pipes {
		if len(pipe.Path) > 0 {
			names[pipe.Path[0]], names[pipe.Path[len(pipe.Path)-1]] = pipe.From, pipe.To
		}
	}
	for at, neighbours := range beside {
		if p.lower(at, neighbours) {
			out = append(out, LowPoint{Name: names[at], At: at, Height: p.height(at)})
		}
	}
	slices.SortFunc(out, func(a, b LowPoint) int {
		return cmp.Or(cmp.Compare(a.Height, b.Height), a.At.Compare(b.At))
	})
	return out
}

// lower reports whether a place lies below its neighbours.
func (p *pipework) lower(at geom.Point, neighbours []geom.Point) bool {
	for _, n := range neighbours {
		if p.height(n)-p.height(at) < lowBy {
			return false
		}
	}
	return true
}
