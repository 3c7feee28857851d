package sheet

import (
	"fmt"
	"slices"
	"strings"

	"lotwright/layout"
	"lotwright/layout/drawing"
	"lotwright/layout/geom"
	"lotwright/layout/stakeout"
)

// stakes is the stake-out of a lot and the corners it tapes from.
type stakes struct {
	stakeout.Result
	poc   *stakeout.Along // where the point of connection is on a wall or a lot line
	marks []drawing.Place
}

// stakeOut finds two tapes to every head and junction, and to the point of
// connection, unless that lies on a side and one tape along it will do. Without an
// outline there is nothing to tape from.
func stakeOut(lot *layout.Lot, d *layout.Design, u Units) (stakes, error) {
	targets := stakeTargets(d)
	if lot == nil || len(targets) == 0 {
		return stakes{}, nil
	}
	sees, err := stakeout.Past(geom.Union(lot.Building, lot.Wall))
	if err != nil {
		return stakes{}, err
	}
	corners := stakeout.References(lot.Building, lot.Parcel)
	var out stakes
	if len(d.Network.Runs) > 0 {
		poc := stakeout.Named{Name: layout.POCLabel, At: d.Network.POC}
		if a, ok := stakeout.OnSide(poc, corners, u.graduation(), lot.Building, lot.Parcel); ok {
			out.poc = &a
		} else {
			targets = append(targets, poc)
		}
	}
	if out.Result, err = stakeout.Table(targets, corners, stakeout.Settings{Graduation: u.graduation(), Sees: sees}); err != nil {
		return stakes{}, err
	}
	out.mark(out.References...)
	if out.poc != nil {
		out.WorstError = max(out.WorstError, out.poc.Error)
		out.mark(out.poc.From, out.poc.To)
	}
	return out, nil
}

// mark has corners named on the plan.
func (s *stakes) mark(corners ...stakeout.Named) {
	for _, n := range corners {
		place := drawing.Place{Name: n.Name, At: n.At}
		if !slices.Contains(s.marks, place) {
			s.marks = append(s.marks, place)
		}
	}
}

// pocRow tells where on its side the point of connection is.
func (s stakes) pocRow(g stakeout.Graduation) [][]string {
	if s.poc == nil {
		return nil
	}
	return [][]string{{s.poc.Target.Name, s.poc.From.Name, g.Text(s.poc.Marks), "toward " + s.poc.To.Name, "", "on the line"}}
}

func stakeTargets(d *layout.Design) []stakeout.Named {
	var out []stakeout.Named
	for _, h := range d.Heads {
		out = append(out, stakeout.Named{Name: h.Label, At: h.At})
	}
	for _, j := range drawing.Junctions(d) {
		out = append(out, stakeout.Named{Name: j.Name, At: j.At})
	}
	return out
}

// stakeTable sets the stake-out with how to read it, and what cannot be staked.
func (f *flow) stakeTable(s stakes) {
	g := f.settings.Units.graduation()
	if rows := slices.Concat(s.pocRow(g), stakeRows(s.Rows, g)); len(rows) > 0 {
		f.table(Table{
			Title: "Stake-out",
			Note: "Pull both tapes level, with 0 at the corner named. The stake goes where they cross, on the side given when you stand at the " +
				"first corner and look to the second. A name with * is a stake already set. Corners B are of buildings, L of the lot. " +
				"A place on the line is on the wall or lot line between both corners: one tape finds it. Rounding leaves a stake at most " + f.settings.Units.small(s.WorstError) + " off.",
			Head:  []string{"Stake", "From", "Tape", "From", "Tape", "Side"},
			Align: []Align{AlignLeft, AlignLeft, AlignRight, AlignLeft, AlignRight},
			Rows:  rows,
		})
	}
	if len(s.Missed) == 0 {
		return
	}
	t := Table{Title: "Not to be staked by tapes: scale these from the plan", Head: []string{"Place", "Why"}}
	for _, m := range s.Missed {
		t.Rows = append(t.Rows, []string{m.Target.Name, m.Reason})
	}
	f.table(t)
}

func stakeRows(rows []stakeout.Row, g stakeout.Graduation) (out [][]string) {
	from := func(t stakeout.Tape) string {
		if t.Stake {
			return t.From.Name + " *"
		}
		return t.From.Name
	}
	for _, r := range rows {
		out = append(out, []string{r.Target.Name, from(r.First), g.Text(r.First.Marks), from(r.Second), g.Text(r.Second.Marks), string(r.Side)})
	}
	return out
}

// headTable lists what each head is set to.
func headTable(d *layout.Design, u Units) Table {
	t := Table{Title: "Heads",
		Head:  []string{"Head", "Zone", "Arc", "From", "Throw", "Pressure", "Flow"},
		Align: []Align{AlignLeft, AlignRight, AlignRight, AlignRight, AlignRight, AlignRight, AlignRight}}
	variable := false
	for _, h := range d.Heads {
		arc, from := "edge", "–"
		if h.Kind == layout.FixedArc {
			arc, from = fmt.Sprintf("%.0f°", h.ArcSweep), fmt.Sprintf("%.0f°", h.ArcStart)
		} else {
			variable = true
		}
		zone := "–"
		if h.Zone > 0 {
			zone = fmt.Sprint(h.Zone)
		}
		t.Rows = append(t.Rows, []string{h.Label, zone, arc, from, u.length(h.Throw), u.pressure(h.Pressure), u.flow(h.Flow)})
	}
	if variable {
		t.Note = "Arc \"edge\": set the throw bearing by bearing to the edge of the lawn, at most the throw given."
	} else if len(d.Heads) > 0 {
		t.Note = "Arcs run clockwise from a bearing, north being 0°."
	}
	return t
}

// zoneTable lists what runs together and where its valve is. Where every zone is a
// head and all valves are in one place there is nothing to list.
func zoneTable(d *layout.Design, u Units) Table {
	t := Table{Title: "Zones", Head: []string{"Zone", "Heads", "Valve at", "Flow", "Pressure"},
		Align: []Align{AlignRight, AlignLeft, AlignLeft, AlignRight, AlignRight},
		Note:  "The pressure is that at the head of the zone that gets the least."}
	if d.Water == nil || len(d.Water.Zones) == 0 || len(d.Water.Zones) == len(d.Heads) && valvePlace(d) != "" {
		return Table{}
	}
	for _, z := range d.Water.Zones {
		t.Rows = append(t.Rows, []string{fmt.Sprint(z.Number), strings.Join(z.Heads, " "), z.Valve, u.flow(z.Flow), u.pressure(z.Pressure)})
	}
	return t
}

// valvePlace returns where all valves are; empty where they are apart, or not
// placed.
func valvePlace(d *layout.Design) string {
	if d.Water == nil || len(d.Water.Zones) == 0 {
		return ""
	}
	place := d.Water.Zones[0].Valve
	for _, z := range d.Water.Zones {
		if z.Valve != place {
			return ""
		}
	}
	return place
}

// trenchTable lists the runs of trench.
func trenchTable(d *layout.Design, u Units) Table {
	t := Table{Title: "Trench", Head: []string{"Run", "From", "To", "Surface", "Length", "Depth"}, Sums: 1,
		Align: []Align{AlignLeft, AlignLeft, AlignLeft, AlignLeft, AlignRight, AlignRight}}
	for i, r := range d.Network.Runs {
		t.Rows = append(t.Rows, []string{runName(i), r.From, r.To, surfaceWords(r.Surface), u.length(r.Length), u.depth(r.Depth)})
	}
	if len(t.Rows) > 0 {
		t.Rows = append(t.Rows, []string{"", "", "", "Total", u.length(d.Network.TrenchLength), ""})
	}
	return t
}

func surfaceWords(s layout.Surface) string {
	if s == layout.SurfacePaving {
		return "under paving"
	}
	if s == layout.SurfaceSleeve {
		return "in sleeve"
	}
	return string(s)
}

// pipeTable lists the runs of pipe.
func pipeTable(d *layout.Design, u Units) Table {
	t := Table{Title: "Pipe", Head: []string{"Pipe", "From", "To", "Size", "Length", "Flow"}, Sums: 1,
		Align: []Align{AlignLeft, AlignLeft, AlignLeft, AlignLeft, AlignRight, AlignRight}}
	for _, p := range d.Network.Pipes {
		size := p.Size
		if size == "" {
			size = "–"
		}
		t.Rows = append(t.Rows, []string{p.Label, p.From, p.To, size, u.length(p.Length), u.flow(p.Flow)})
	}
	if len(t.Rows) > 0 {
		t.Rows = append(t.Rows, []string{"", "", "", "Total", u.length(d.Network.PipeLength), ""})
	}
	return t
}

// notes sets the reason of a lot that is not designed and every remark, whole.
func (f *flow) notes(in Lot, unnamed int) {
	remarks := drawing.Remarks(in.Lot, in.Design)
	if in.Design.Reason != "" {
		remarks = append([]string{drawing.StatusWords(in.Design.Status) + ": " + in.Design.Reason}, remarks...)
	}
	if unnamed > 0 {
		remarks = append(remarks, fmt.Sprintf("%s left out of the plan for want of room.", drawing.Counted(unnamed, "label")))
	}
	if len(remarks) == 0 {
		return
	}
	f.band(false)
	f.heading("Notes", 2*bodyLeading)
	for _, words := range remarks {
		f.item("•", words)
	}
}

// item writes a paragraph behind a mark.
func (f *flow) item(mark, words string) {
	const indent = 14.0
	f.need(bodyLeading)
	left, _ := f.column()
	f.page.Text(paperLabel(left, f.y+bodySize, mark))
	f.indented(words, indent, bodySize, false)
	f.y += 2
}
