// Package hydraulic works out what pressure and flow reach the heads, and what
// pipe brings them there at the least cost.
//
// # Network
//
// A [Network] is a tree: a source, links that lose pressure ([Pipe],
// [SquareLoss], [LossCurve], [Regulator]), and nodes that draw water, either a
// fixed demand or what an emitter takes at its pressure. [Draw] makes one of a
// trench network and its heads. [Solve] finds the flows and pressures to
// a billionth of a metre of head; [Network.Budget] lists where the pressure
// goes; [INP] writes the same network for EPANET, so that others can check.
//
// # One solution
//
// Every link loses more head the more it carries, every emitter takes more the
// higher its pressure, and the source holds less the more is drawn. Such a tree
// has one solution: the flows of the emitters that minimise a strictly convex
// function, the sum over links of the integral of their loss, over emitters of
// the integral of their pressure and of their height, less that of the source.
// (Collins et al. 1978 call it the content of the network.) Newton's method on
// it costs one sweep up and one down the tree a step; a step that goes too far
// is cut by bisection, so the content falls at every step.
//
// # Throw
//
// A head throws as far as its own pressure drives it, after all losses. [Settle]
// gives the pressure, throw and flow of each head, running alone or in a zone.
// That depends on where the heads stand, and where they stand on the throw:
// bringing the two together is for who places the heads.
//
// # Units
//
// Metres, cubic metres a second and metres of head inside; [layout] quantities
// at the edge.
package hydraulic
