package takeoff

import (
	"fmt"

	"lotwright/layout"
)

// Of returns the take-off of a design. A lot that was not designed needs
// nothing. An error means settings that make no sense, or a pipe size that is
// none.
func Of(d *layout.Design, s Settings) (List, error) {
	s, err := s.withDefaults()
	if err != nil {
		return List{}, err
	}
	list := List{Lot: d.LotID}
	if len(d.Heads) == 0 {
		return list, nil
	}
	job := &job{d: d, s: s, t: newTally()}
	if err := job.all(); err != nil {
		return List{}, fmt.Errorf("lot %s: take-off: %w", d.LotID, err)
	}
	if list.Cuts, err = plan(job.pieces, s); err != nil {
		return List{}, fmt.Errorf("lot %s: take-off: %w", d.LotID, err)
	}
	job.listPipe(list.Cuts)
	list.Pieces, list.Notes = job.pieces, job.notes
	list.Lines = job.t.sorted()
	return list, nil
}

// job is the take-off of one lot under way.
type job struct {
	d       *layout.Design
	s       Settings
	t       *tally
	pieces  []Piece
	sockets []socket
	threads []thread
	notes   []layout.Note
}

func (j *job) all() error {
	if err := j.checkSizes(); err != nil {
		return err
	}
	j.listHeads()
	j.cutRuns()
	for _, n := range nodesOf(j.d) {
		j.join(n)
	}
	j.connect()
	if j.fixed() {
		j.wire()
	} else {
		j.cable()
	}
	j.glue()
	j.screw()
	if err := j.dig(); err != nil {
		return err
	}
	j.fill()
	return nil
}

func (j *job) fixed() bool { return j.d.HeadKind == layout.FixedArc }

func (j *job) checkSizes() error {
	for _, p := range j.d.Network.Pipes {
		if _, ok := nominal(p.Size); !ok {
			return fmt.Errorf("pipe %s: size %q is not one such as 1 in, 1-1/4 in or 32 mm", p.Label, p.Size)
		}
	}
	return nil
}

// listHeads counts heads and what they stand on. Both threads of a swing joint
// are plastic.
func (j *job) listHeads() {
	riser := SwingJoint
	if j.s.FlexRisers {
		riser = FlexRiser
	}
	for _, h := range j.d.Heads {
		j.t.count(Head, h.Model, 1, h.Label)
		j.t.count(riser, j.s.HeadThread, 1, h.Label)
		j.threads = append(j.threads, thread{j.s.HeadThread, 2, false, []string{h.Label}})
	}
}

// cutRuns cuts the pipe runs into pieces and counts elbows and couplings.
func (j *job) cutRuns() {
	longest := j.s.sticksMM()[0]
	for _, p := range j.d.Network.Pipes {
		parts := stretches(p.Path)
		for i, part := range parts {
			piece := newPiece(p, i, len(parts), part.mm)
			if piece.MM == 0 {
				continue
			}
			j.pieces = append(j.pieces, piece)
			j.fitting(Coupling, p, piece.couplings(longest))
			j.elbow(p, part.end)
		}
	}
}

// fitting counts fittings with two sockets on a pipe.
func (j *job) fitting(item Item, p layout.PipeRun, n int) {
	j.t.count(item, p.Size, n, p.Label)
	j.socket(p, 2*n)
}

func (j *job) elbow(p layout.PipeRun, e elbows) {
	j.fitting(Elbow45, p, e.of45)
	j.fitting(Elbow90, p, e.of90)
}

// connect lists what stands at the point of connection, each screwed to the
// next. Female threads are joined by nipples.
func (j *job) connect() {
	size := widest(j.d.Network.Pipes, layout.POCLabel)
	if size == "" {
		return
	}
	parts := []Item{ShutOffValve, BackflowPreventer, BlowOutFitting, Union}
	if j.d.Regulated {
		parts = append(parts, PressureRegulator)
	}
	for _, part := range parts {
		j.t.count(part, size, 1, layout.POCLabel)
	}
	nipples := len(parts) - 1
	j.t.add(BackflowPreventer, size, 0).Note = "the kind is for local code and a licensed practice to say"
	j.t.count(Nipple, size, nipples, layout.POCLabel)
	j.threads = append(j.threads,
		thread{size, 1, !j.s.PlasticSupply, []string{layout.POCLabel}}, // supply and shut-off valve
		thread{size, 2 * nipples, true, []string{layout.POCLabel}},
		thread{size, 1, false, []string{layout.POCLabel}}) // union and adapter
	j.t.count(MaleAdapter, size, 1, layout.POCLabel)
	first := j.d.Network.Pipes[firstFrom(j.d.Network.Pipes, layout.POCLabel)]
	j.sockets = append(j.sockets, socket{first.Material, size, 1, layout.POCLabel})
	j.t.count(ValveBox, "", 1, layout.POCLabel)
	j.zoneValves(size, first.Material)
}

// zoneValves lists a valve for each zone of heads that carry none, with an
// adapter on both sides, tees from one to the next, and their boxes.
func (j *job) zoneValves(size, material string) {
	if !j.fixed() {
		return
	}
	zones := zonesOf(j.d)
	if len(zones) == 0 {
		j.notes = append(j.notes, layout.Note{Rule: "takeoff.valves_unknown", Severity: layout.SeverityWarning,
			Text: "zone valves, their boxes and wires are left out: without a measured flow the zones are not known"})
	}
	for i, z := range zones {
		label := zoneLabel(z)
		j.t.count(ZoneValve, size, 1, label)
		j.t.count(MaleAdapter, size, 2, label)
		j.threads = append(j.threads, thread{size, 2, false, []string{label}})
		j.sockets = append(j.sockets, socket{material, size, 2, label})
		if i > 0 {
			j.t.count(Tee, size, 1, label)
			j.sockets = append(j.sockets, socket{material, size, 3, label})
		}
	}
	per := max(1, j.s.ValvesPerBox)
	for i := 0; i < len(zones); i += per {
		j.t.count(ValveBox, "", 1, zoneLabel(zones[i]))
	}
}
