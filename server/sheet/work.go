package sheet

import (
	"fmt"

	"lotwright/layout"
	"lotwright/layout/paper"
)

// step is one line of the order of work, with the cautions that belong to it.
type step struct {
	title, words string
	cautions     []string
}

// orderOfWork sets the steps with a box to tick before each.
func (f *flow) orderOfWork(d *layout.Design) {
	f.band(false)
	steps := steps(d, f.settings.Units)
	f.heading("Order of work", f.stepHeight(steps[0]))
	for i, s := range steps {
		f.step(i+1, s)
	}
}

const (
	boxSide     = 9.5
	stepIndent  = 18.0
	cautionSize = 10.2
	cautionPad  = 16.0 // for the sign before a caution
	stepGap     = 5.0
)

// stepHeight is the room of a step that is not broken.
func (f *flow) stepHeight(s step) float64 {
	_, width := f.column()
	lines := len(wrapped(s.title, width-stepIndent, bodySize, true, mostLines)) + len(wrapped(s.words, width-stepIndent, bodySize, false, mostLines))
	for _, c := range s.cautions {
		lines += len(wrapped(c, width-stepIndent-cautionPad, cautionSize, false, mostLines))
	}
	return float64(lines)*bodyLeading + stepGap
}

// step sets a step, unbroken where a column can hold it.
func (f *flow) step(n int, s step) {
	f.need(f.stepHeight(s))
	left, _ := f.column()
	f.page.Rect(paper.Box{Left: left + 1, Top: f.y + 1, Right: left + 1 + boxSide, Bottom: f.y + 1 + boxSide}, paper.Look{Fill: white, Stroke: black, Width: 1})
	f.indented(fmt.Sprintf("%d. %s", n, s.title), stepIndent, bodySize, true)
	f.indented(s.words, stepIndent, bodySize, false)
	for _, c := range s.cautions {
		f.caution(c)
	}
	f.y += stepGap
}

// caution sets a warning behind a triangle.
func (f *flow) caution(words string) {
	f.need(bodyLeading)
	left, _ := f.column()
	drawCaution(f.page, paper.At(left+stepIndent+6, f.y+6.5))
	f.indented(words, stepIndent+cautionPad, cautionSize, false)
}

// drawCaution draws a triangle with a stroke and a dot in it.
func drawCaution(p *paper.Page, c paper.Vec) {
	p.Rings([][]paper.Vec{{c.Add(paper.At(0, -6)), c.Add(paper.At(6.2, 5)), c.Add(paper.At(-6.2, 5))}}, paper.Look{Fill: white, Stroke: black, Width: 1.1})
	p.Line(c.Add(paper.At(0, -2.6)), c.Add(paper.At(0, 1.4)), paper.Look{Stroke: black, Width: 1.3})
	p.Circle(c.Add(paper.At(0, 3.2)), 0.8, paper.Look{Fill: black})
}

func paperLabel(x, y float64, words string) paper.Label {
	return paper.Label{At: paper.At(x, y), Words: words, Size: bodySize}
}

// steps is the order of work of a lot. Figures are common practice, no source,
// except: a test of at least an hour before backfill and flushing before heads go
// on, as city standards ask (American Fork §15.01.840 D); protection of trenches
// from 5 ft, spoil 2 ft off (29 CFR 1926.651(j), 1926.652(a)); limits of air
// pressure, the design of record.
func steps(d *layout.Design, u Units) []step {
	out := []step{
		{"Locate utilities", "Some working days ahead, call the public locating service (811 in the United States) and wait until all owners of lines have marked or cleared. Photograph the marks.",
			[]string{"Private lines are not marked: gas to a grill or pool, outdoor lighting, drains, old sprinkler pipe. Ask the owner. Dig by hand beside every mark."}},
		{"Settle the connection", connectionWords(d),
			[]string{"Backflow: drinking water must be protected from what stands in the pipe. Which assembly the law asks for is not chosen here: confirm it, its height and permit with local code and a licensed person."}},
		{"Stake", "Check two sides of the lot with the tape. Set a labelled stake at every head and junction by the stake-out table, then lay out the trench with paint or string. Where the ground differs from the plan, stop and ask.", nil},
		digStep(d, u),
	}
	if d.Network.PavingCrossings > 0 {
		out = append(out, step{"Cross the paving", fmt.Sprintf("%s under paving, %s in all. Bore or wash under where it can be done; else cut. Put the pipe in a sleeve.", crossings(d.Network.PavingCrossings), u.length(d.Network.PavingCrossingLength)),
			[]string{"Cutting concrete or stone sets free silica dust, which scars the lungs: cut wet or with extraction, and wear a fitted respirator, eye and ear protection."}})
	}
	return append(out, closingSteps(u)...)
}

func crossings(n int) string {
	if n == 1 {
		return "One crossing"
	}
	return fmt.Sprintf("%d crossings", n)
}

func connectionWords(d *layout.Design) string {
	words := "Find the shut-off and close it. Measure the static pressure and compare it with what the design was given."
	if d.Network.POCAssumed {
		words = "The place of the connection is assumed: settle it with the owner, and ask for a new sheet if it moves. " + words
	}
	return words
}

func digStep(d *layout.Design, u Units) step {
	words := "Lift the sod in strips and keep it moist. Dig each run to the depth in the trench table; put the soil on one side only. Keep the floor even and free of stones."
	if depth := depthWords(d, u); depth != "" {
		words += " Here:" + depth[1:] + "."
	}
	return step{"Dig", words, []string{"Trench walls fall in without warning. Nobody goes below the edge of an unprotected trench or pit " +
		u.choose("5 ft", "1.5 m") + " deep or more, nor of a shallower one in loose or wet soil. Keep soil and machines " + u.choose("2 ft", "60 cm") + " back from the edge."}}
}

// closingSteps are those after digging, alike on every lot.
func closingSteps(u Units) []step {
	return []step{
		{"Lay, glue and cure", "Cut square by the cut list, take off burrs, try the joint dry. Prime, cement, push home with a quarter turn and hold. Keep dirt out of open ends. Leave joints alone for as long as the can says for size and temperature.",
			[]string{"Primer and cement give off fumes that burn and dull the senses: open air, gloves, no flame or spark."}},
		{"Test under pressure", "Cap the risers, fill slowly and let the air out at the far end. Hold the pressure of the supply for at least an hour with all joints in sight: nothing may drip, the gauge may not fall.",
			[]string{"Test with water, never with air: air under pressure bursts pipe into splinters."}},
		{"Flush", "Before any head goes on: open the risers zone by zone and let the water run for about 3 minutes, and on until it is clear. End with the riser farthest from the valve.", nil},
		{"Set the heads", "Dig each hole " + u.choose("13 in", "33 cm") + " deep. Join the head by a swing joint, plumb, its top " + u.choose("1/2 in", "13 mm") +
			" above finished grade. Firm the soil round it.", nil},
		{"Cables and box", "Lay the control cable beside the pipe with slack at every turn; join only inside a box, with watertight joints. Set the valve box level with the grass on gravel, clear of the pipe.",
			[]string{"Electricity: switch off and lock out before touching a controller's supply. Work on mains is for a licensed electrician."}},
		{"Backfill", "Draw the pipe and what is off its plan into this sheet first. Fine soil round the pipe, then lifts of about " + u.choose("6 in", "15 cm") +
			", each tamped; sod back on top and watered in.", nil},
		{"Set throws and arcs", "Run one zone at a time. Set each head by the table of heads until water meets the edge of the lawn and no paving, wall or window.", nil},
		{"Test and hand over", "Run every zone for its time; look for leaks, dry spots and heads that do not rise or sink. Write the pressure of the farthest head on this sheet. Set the controller by the run-time table, show the owner the shut-off, and leave this sheet with them.",
			[]string{"Blowing out in autumn: at most 80 psi (550 kPa) of air in rigid PVC, 50 psi (340 kPa) in PE, one zone at a time with an outlet open, eye protection, nobody near the heads."}},
	}
}
