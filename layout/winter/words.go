package winter

import "fmt"

// Sources of what the sheet says.
const (
	custom    = "common practice, no source"
	autumnLaw = "after 21 NCAC 23.0602(e)"
	springLaw = "after 21 NCAC 23.0510"
	airSource = "M. Higgins, Colorado State University, as quoted by gardenguides.com"
	ownFigure = "worked out from this design"
)

// write puts the figures into words.
func (out *Sheet) write() {
	out.OrderReason = "Highest ground first, then the longest way: the farthest zone empties the pipe it shares with nearer ones, " +
		"none that follows pushes water back into it, and what stays in a high branch runs down to zones still to come."
	if !out.HeightKnown {
		out.OrderReason = "The longest way first: the farthest zone empties the pipe it shares with nearer ones, and none that follows " +
			"pushes water back into it. Heights were not surveyed: if one zone lies clearly higher, begin there."
	}
	out.Drain, out.Autumn, out.Spring, out.Cautions = out.drain(), out.autumn(), spring(), out.cautions()
}

func (out *Sheet) drain() []Step {
	steps := []Step{
		{"The pipe between the shut-off and the backflow assembly, by its drain: no air gets there from the blow-out fitting.", custom},
		{"The backflow assembly: test cocks and shut-offs left half open once it is empty, as its instructions say.", custom},
		{"Everything above ground: hose bibs on this line, pressure regulator, filter bowl.", custom},
	}
	for _, l := range out.LowPoints {
		steps = append(steps, Step{fmt.Sprintf("The low point at %s, %.2f m (%.1f ft) against the point of connection: water gathers here after the air is off.",
			l.Name, l.Height.Metres(), l.Height.Feet()), ownFigure})
	}
	if !out.HeightKnown {
		steps = append(steps, Step{"Low points of the pipe: heights were not surveyed, so look for them on the ground.", ownFigure})
	}
	return steps
}

func (out *Sheet) autumn() []Step {
	return []Step{
		{"Before the first night below 32 °F (0 °C), shut the supply to the sprinklers at a place that does not freeze.", autumnLaw},
		{"Open the drains. Where the pipe falls to them on all its length, this may be enough; else go on with air.", autumnLaw},
		{"Couple the compressor, its valve shut, to the blow-out fitting behind the backflow assembly. No air through the assembly, and none through a pump.", custom},
		{fmt.Sprintf("Set the regulator of the compressor to no more than %v, read at the blow-out fitting; %v is where it usually begins.", out.AirLimit, LeastAir), airSource},
		{fmt.Sprintf("The compressor must give at least %.1f cfm at the pressure in the pipe: what the zones' own flow displaces. As free air at the limit and sea level that is %.0f cfm.",
			CubicFeetPerMinute(out.Displaced), CubicFeetPerMinute(out.FreeAir)), airSource + "; free air by Boyle's law"},
		{"Open the valve of the first zone at the controller, and only then let in the air, slowly.", custom},
		{"Go through the zones in the order of the table. Shut each one as soon as mist comes instead of water.", custom},
		{"Go through them a second time, shortly: what ran together meanwhile comes out.", custom},
		{"Shut off the air, open one more zone until the gauge shows none, and only then uncouple.", custom},
		{"Set the controller to off for the season, or to what it calls rain, and note the date.", custom},
	}
}

func spring() []Step {
	return []Step{
		{"Shut drains, test cocks and the blow-out fitting.", custom},
		{"Open the supply by a quarter turn and wait until the pipe is full, with the farthest zone running: water that rushes into air breaks pipe.", custom},
		{"Flush each zone, the end of the line open, until the water is clear.", springLaw},
		{"Read the static pressure at the point of connection, all valves shut, and hold it against the table.", springLaw},
		{"Read the working pressure at a head of each zone while it runs, and hold it against the table.", springLaw},
		{"Set throws and arcs to the table; no water on paving, walls or streets.", springLaw},
		{"Check the sensors and what stops the controller in rain.", springLaw},
		{"Look for leaks: wet ground along the trench, heads that weep, a meter that turns with all valves shut.", springLaw},
		{"Have the backflow assembly tested where the local code asks for it; by whom, the code says.", custom},
	}
}

func (out *Sheet) cautions() []Step {
	return []Step{
		{fmt.Sprintf("Compressed air can kill. Never more than %v here: 80 psi in rigid PVC, 50 psi in polyethylene, and no more than the weakest part in the line.", out.AirLimit), airSource},
		{"Eye protection for everybody near; nobody over a head, a valve box or the blow-out fitting while air is on.", custom},
		{"One zone at a time, and never air against closed valves.", custom},
		{"Stop when a zone is dry: heads without water run hot and wear.", custom},
		{"A compressor's tank holds its pressure after it is switched off: let it off before anything is uncoupled.", custom},
		{"Air never goes through a pump or a backflow assembly.", custom},
		{"Which backflow assembly is lawful, and who may open or test it, the local code and a licensed tester say.", custom},
	}
}
