package takeoff

import (
	"cmp"
	"slices"
	"strings"

	"lotwright/layout"
)

// Item names what a line is about. Names are part of the file formats.
type Item string

// The items, in the order they are listed.
const (
	Head              Item = "head"               // by model
	SwingJoint        Item = "swing_joint"        // by its thread
	FlexRiser         Item = "flex_riser"         // by its thread, instead of swing joints
	Pipe              Item = "pipe"               // sticks, by size, material and length
	Coupling          Item = "coupling"           // by pipe size, as are the fittings that follow
	Tee               Item = "tee"                //
	ThreadedTee       Item = "threaded_tee"       // by pipe size and thread
	ThreadedElbow     Item = "threaded_elbow"     // by pipe size and thread
	Elbow45           Item = "elbow_45"           //
	Elbow90           Item = "elbow_90"           //
	Reducer           Item = "reducer"            // by both pipe sizes
	Cap               Item = "cap"                //
	MaleAdapter       Item = "male_adapter"       //
	Clamp             Item = "clamp"              // of insert fittings, for pipe that is not glued
	Union             Item = "union"              // threaded
	Nipple            Item = "nipple"             // threaded
	ShutOffValve      Item = "shutoff_valve"      //
	BackflowPreventer Item = "backflow_preventer" // its kind is for local code and a licensed practice to say
	PressureRegulator Item = "pressure_regulator" // where the supply is above the heads' band
	BlowOutFitting    Item = "blowout_fitting"    // tee with a capped air connection
	ZoneValve         Item = "zone_valve"         //
	ValveBox          Item = "valve_box"          //
	ControlCable      Item = "control_cable"      // shared, to heads with valves of their own
	ControlWire       Item = "control_wire"       // single, to zone valves
	WireJoint         Item = "wire_joint"         // watertight
	Cement            Item = "cement"             //
	Primer            Item = "primer"             //
	ThreadTape        Item = "thread_tape"        //
	ThreadSealant     Item = "thread_sealant"     // metal on metal only
	Sleeve            Item = "sleeve"             // by its size
	SawCut            Item = "saw_cut"            // of paving
	PavingRemoved     Item = "paving_removed"     //
	PavingPatch       Item = "paving_patch"       //
	Trench            Item = "trench"             // by surface
	TrenchSpoil       Item = "trench_spoil"       // as it lies in the ground
	LooseSpoil        Item = "loose_spoil"        // the same, dug up
	Sod               Item = "sod"                // cut in strips and laid again
	Backfill          Item = "backfill"           // in lifts, tamped
	PipeWater         Item = "pipe_water"         // what the pipes hold
	Labour            Item = "labour"             // by surface of the trench
)

// kind says what is counted of an item, and whether it is paid for: trench,
// spoil and water are measured, but what they cost is in the labour.
type kind struct {
	item  Item
	unit  Unit
	free  bool
	order int
}

var kinds = func() map[Item]kind {
	list := []kind{
		{item: Head, unit: Each}, {item: SwingJoint, unit: Each}, {item: FlexRiser, unit: Each},
		{item: Pipe, unit: Each}, {item: Coupling, unit: Each}, {item: Tee, unit: Each},
		{item: ThreadedTee, unit: Each}, {item: ThreadedElbow, unit: Each},
		{item: Elbow45, unit: Each}, {item: Elbow90, unit: Each}, {item: Reducer, unit: Each},
		{item: Cap, unit: Each}, {item: MaleAdapter, unit: Each}, {item: Clamp, unit: Each}, {item: Union, unit: Each}, {item: Nipple, unit: Each},
		{item: ShutOffValve, unit: Each}, {item: BackflowPreventer, unit: Each}, {item: PressureRegulator, unit: Each}, {item: BlowOutFitting, unit: Each},
		{item: ZoneValve, unit: Each}, {item: ValveBox, unit: Each},
		{item: ControlCable, unit: Metre}, {item: ControlWire, unit: Metre}, {item: WireJoint, unit: Each},
		{item: Cement, unit: Litre}, {item: Primer, unit: Litre},
		{item: ThreadTape, unit: Metre}, {item: ThreadSealant, unit: Litre},
		{item: Sleeve, unit: Metre}, {item: SawCut, unit: Metre},
		{item: PavingRemoved, unit: SquareMetre}, {item: PavingPatch, unit: CubicMetre},
		{item: Trench, unit: Metre, free: true}, {item: TrenchSpoil, unit: CubicMetre, free: true},
		{item: LooseSpoil, unit: CubicMetre, free: true}, {item: Sod, unit: SquareMetre}, {item: Backfill, unit: CubicMetre},
		{item: PipeWater, unit: Litre, free: true}, {item: Labour, unit: Hour},
	}
	out := make(map[Item]kind, len(list))
	for i, k := range list {
		k.order = i
		out[k.item] = k
	}
	return out
}()

// Line is one row of a take-off.
type Line struct {
	Item     Item
	Size     string // sizes in the order of the item's comment; a model for heads, a surface for trench and labour
	Quantity Quantity
	Unit     Unit
	Features []string // what it comes from, each once
	Note     string   // what was assumed, if anything
}

// Free reports whether the line is only a measurement, which nothing is paid for.
func (l Line) Free() bool { return kinds[l.Item].free }

// List is the take-off of a lot.
type List struct {
	Lot    string
	Lines  []Line
	Pieces []Piece       // of pipe, before long ones are divided
	Cuts   []CutPlan     // by material and size
	Notes  []layout.Note // what is left out, and why
}

// tally gathers lines.
type tally struct {
	lines []Line
	index map[lineKey]int
}

type lineKey struct {
	item Item
	size string
}

func newTally() *tally { return &tally{index: make(map[lineKey]int)} }

// add puts a quantity, in the item's unit, on its line.
func (t *tally) add(item Item, size string, q Quantity, features ...string) *Line {
	key := lineKey{item, size}
	i, ok := t.index[key]
	if !ok {
		i = len(t.lines)
		t.index[key] = i
		t.lines = append(t.lines, Line{Item: item, Size: size, Unit: kinds[item].unit})
	}
	l := &t.lines[i]
	l.Quantity += q
	l.Features = append(l.Features, features...)
	return l
}

// count adds n parts.
func (t *tally) count(item Item, size string, n int, features ...string) {
	if n > 0 {
		t.add(item, size, Quantity(n)*1000, features...)
	}
}

// sorted returns the lines by item, then size, with their features in order.
func (t *tally) sorted() []Line {
	for i := range t.lines {
		f := t.lines[i].Features
		slices.SortFunc(f, compareFeatures)
		t.lines[i].Features = slices.Compact(f)
	}
	slices.SortFunc(t.lines, compareLines)
	return t.lines
}

func compareLines(a, b Line) int {
	return cmp.Or(cmp.Compare(kinds[a.Item].order, kinds[b.Item].order), compareSizes(a.Size, b.Size))
}

// compareSizes orders by nominal size where there is one, then by text.
func compareSizes(a, b string) int {
	x, _ := nominal(a)
	y, _ := nominal(b)
	return cmp.Or(cmp.Compare(x, y), cmp.Compare(a, b))
}

// compareFeatures orders labels of features, runs of trench by their ends.
func compareFeatures(a, b string) int {
	return slices.CompareFunc(strings.Split(a, runDash), strings.Split(b, runDash), layout.CompareLabels)
}
