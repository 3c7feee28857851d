package hydraulic

import (
	"fmt"
	"math"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// Plan is what a network is drawn up from: the pipe in the ground, and what lies
// before and behind it.
type Plan struct {
	Trench   layout.Network // its pipes; each leads away from the point of connection
	Heads    []layout.Head
	Model    layout.HeadModel   // of every head
	Models   []layout.HeadModel // of each head, where they differ; else nil
	Source   Curve              // where the supply was measured
	Feed     []Device           // from there to the point of connection, in order
	Rise     layout.Length      // of the point of connection above where the supply was measured
	AtHead   []Device           // between the end of the pipe and every head, such as its valve
	Heights  []layout.SpotHeight
	Formula  Formula
	Fittings FittingTable // empty means [DefaultFittings]
	Sizes    []PipeSize   // besides the built-in ones, and before them
}

// Device is something on the way of the water.
type Device struct {
	Label   string
	Kind    Kind
	Element Element
}

// Labels of the first node and of the one that the trench begins at.
const (
	SourceLabel = "source"
	POCLabel    = "POC"
)

// Draw makes the network of a plan, with an emitter for every head and, in the
// pipes, the ells that their bends call for and the tees that they part at. The
// second result gives the node of each head, -1 for one that no pipe ends at.
func Draw(p Plan) (Network, []int, error) {
	d := drawing{plan: &p, at: make(map[geom.Point]int),
		net: Network{Source: p.Source, Formula: p.Formula, Fittings: p.Fittings}}
	z := HeightAt(p.Heights, p.Trench.POC)
	d.net.Nodes = []Node{{Label: SourceLabel, At: p.Trench.POC, Elevation: z - p.Rise}}
	poc := d.devices(0, POCLabel, Node{At: p.Trench.POC, Elevation: z}, p.Feed)
	if p.Rise != 0 && poc == 0 {
		return Network{}, nil, fmt.Errorf("a point of connection that is higher than the source needs something between the two")
	}
	d.at[p.Trench.POC] = poc
	if err := d.pipes(); err != nil {
		return Network{}, nil, err
	}
	return d.net, d.heads(), nil
}

type drawing struct {
	plan *Plan
	net  Network
	at   map[geom.Point]int // node by place
}

// devices puts devices behind a node, and returns the last node, which gets the
// label; without devices that is the first.
func (d *drawing) devices(from int, label string, like Node, devices []Device) int {
	for k, v := range devices {
		like.Label = fmt.Sprintf("%s behind %s", label, v.Label)
		if k == len(devices)-1 {
			like.Label = label
		}
		from = d.link(from, like, Link{Label: v.Label, Kind: v.Kind, Element: v.Element})
	}
	return from
}

// link adds a node and the link into it.
func (d *drawing) link(from int, to Node, l Link) int {
	l.From, l.To = from, len(d.net.Nodes)
	d.net.Nodes = append(d.net.Nodes, to)
	d.net.Links = append(d.net.Links, l)
	return l.To
}

// pipes adds the pipes, whatever their order.
func (d *drawing) pipes() error {
	pipes := d.plan.Trench.Pipes
	for _, p := range pipes {
		if len(p.Path) < 2 {
			return fmt.Errorf("pipe %s has no path", p.Label)
		}
		end := p.Path[len(p.Path)-1]
		if _, taken := d.at[end]; taken {
			return fmt.Errorf("pipe %s ends where another does", p.Label)
		}
		d.at[end] = len(d.net.Nodes)
		d.net.Nodes = append(d.net.Nodes, Node{Label: p.To, At: end, Elevation: HeightAt(d.plan.Heights, end)})
	}
	joints := newJoints(pipes)
	for k, p := range pipes {
		size, ok := d.size(p)
		if !ok {
			return fmt.Errorf("pipe %s: nothing is known of %s pipe of %s", p.Label, p.Material, p.Size)
		}
		from, ok := d.at[p.Path[0]]
		if !ok {
			return fmt.Errorf("pipe %s begins where no pipe ends", p.Label)
		}
		d.net.Links = append(d.net.Links, Link{Label: p.Label, Kind: KindPipe, From: from, To: d.at[p.Path[len(p.Path)-1]],
			Element: Pipe{Size: size, Length: p.Length, Fittings: joints.fittings(k)}})
	}
	return nil
}

func (d *drawing) size(p layout.PipeRun) (PipeSize, bool) {
	for _, s := range d.plan.Sizes {
		if s.Material == p.Material && s.Nominal == p.Size {
			return s, true
		}
	}
	return SizeOf(p.Material, p.Size)
}

// heads sets every head behind its devices at the node where its pipe ends.
func (d *drawing) heads() []int {
	out := make([]int, len(d.plan.Heads))
	for k, h := range d.plan.Heads {
		i, ok := d.at[h.At]
		if !ok {
			out[k] = -1
			continue
		}
		like := Node{At: h.At, Elevation: d.net.Nodes[i].Elevation}
		if len(d.plan.AtHead) > 0 && d.net.Nodes[i].Label == h.Label {
			d.net.Nodes[i].Label = h.Label + " inlet"
		}
		devices := make([]Device, len(d.plan.AtHead))
		for j, v := range d.plan.AtHead {
			devices[j] = Device{h.Label + " " + v.Label, v.Kind, v.Element}
		}
		out[k] = d.devices(i, h.Label, like, devices)
		d.net.Nodes[out[k]].Emitter = TableEmitter{d.plan.model(k)}
	}
	return out
}

func (p *Plan) model(head int) layout.HeadModel {
	if p.Models == nil {
		return p.Model
	}
	return p.Models[head]
}

// joints is how pipes meet.
type joints struct {
	pipes []layout.PipeRun
	into  map[geom.Point]int   // the pipe that ends at a place
	out   map[geom.Point][]int // the pipes that begin there
}

func newJoints(pipes []layout.PipeRun) joints {
	j := joints{pipes, make(map[geom.Point]int), make(map[geom.Point][]int)}
	for k, p := range pipes {
		j.into[p.Path[len(p.Path)-1]] = k
		j.out[p.Path[0]] = append(j.out[p.Path[0]], k)
	}
	return j
}

// fittings counts what the water passes from the beginning of a pipe up to its
// end: at its beginning, where it parts from others, a tee, straight through for
// the straightest of them and through the branch for the rest, and otherwise
// whatever turns the corner; then an ell for each bend.
func (j joints) fittings(k int) []FittingCount {
	path := j.pipes[k].Path
	count := make(map[Fitting]int)
	before, follows := j.into[path[0]]
	siblings := j.out[path[0]]
	switch {
	case len(siblings) > 1 && follows && j.straightest(before, siblings) == k:
		count[TeeRun]++
	case len(siblings) > 1:
		count[TeeBranch]++
	case follows:
		bend(count, j.turn(before, k))
	}
	for i := 1; i+1 < len(path); i++ {
		bend(count, turn(path[i-1], path[i], path[i+1]))
	}
	var out []FittingCount
	for _, f := range []Fitting{TeeRun, TeeBranch, Ell90, Ell45} {
		if count[f] > 0 {
			out = append(out, FittingCount{f, count[f]})
		}
	}
	return out
}

// Bends are made of ells of 45° and 90°, the nearest that fit; less than half
// of the smaller the pipe gives by itself.
const (
	slightBend = 22.5
	sharpBend  = 67.5
	backBend   = 112.5
)

func bend(count map[Fitting]int, degrees float64) {
	if degrees >= sharpBend {
		count[Ell90]++
	}
	if degrees >= backBend || degrees >= slightBend && degrees < sharpBend {
		count[Ell45]++
	}
}

// straightest returns the pipe that turns least from the one before, the first
// of equals; none that turns by a bend counts.
func (j joints) straightest(before int, pipes []int) int {
	best, least := -1, float64(sharpBend)
	for _, k := range pipes {
		if t := j.turn(before, k); t < least {
			best, least = k, t
		}
	}
	return best
}

// turn returns the degrees by which one pipe turns from the one before.
func (j joints) turn(before, k int) float64 {
	a, b := j.pipes[before].Path, j.pipes[k].Path
	return turn(a[len(a)-2], b[0], b[1])
}

func turn(a, b, c geom.Point) float64 {
	u, v := b.Sub(a), c.Sub(b)
	return math.Abs(math.Atan2(float64(u.Cross(v)), float64(u.Dot(v)))) * 180 / math.Pi
}
