// Package uniformity works out how evenly water lies on a lawn: statistics on
// readings, whether caught in cans or computed, and a simulator that computes
// them for a layout of heads.
//
// # The model
//
// A fixed-arc head throws its flow over a sector. Along every bearing the
// application rate follows a radial [Profile], a function of the distance as a
// share of the throw; it is scaled so that its integral over the whole sector on
// open ground is the head's flow. Wind, slope and the fall of pressure along
// the pipe are not modelled.
//
// Buildings and walls take water away and give none back: where the head can
// see the ground the rate is what it would be in the open, and the share that
// would have landed behind a blocker is counted as blocked. It runs down the
// wall; spreading it over the rest of the sector would flatter the result.
//
// A variable-throw head controls its own throw bearing by bearing: its flow is
// spread evenly over what it reaches, and nothing is blocked.
//
// Rates are those of all heads together, as if every zone ran equally long. To
// weigh zones by run time, scale the flows of their heads.
//
// # The grid
//
// The lawn is sampled at the centres of square cells. The choice of cells moves
// the result (by 0.03 of DU_lq in the published example checked here), so the
// cell size is part of it.
//
// # Catch cans
//
// [ParseCans] reads what cans on the lawn caught, [CatchTest.Assess] gives the
// same statistics of it, with the precipitation rate and what the published
// guides for such tests would object to, and [CatchTest.Compare] sets it beside
// a simulation, can by can. A line of cans from a head tells its throw
// ([CatchTest.WettedRadius]).
package uniformity
