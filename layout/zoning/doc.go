// Package zoning groups heads that run together onto the fewest valves within
// the design flow, and of such groupings takes one with short pipe (contract
// 4.10).
//
// # What is minimised
//
//  1. The number of zones. Heads of different [Class] never share a valve, so
//     each class is a bin packing problem of its own: heads are packed into
//     valves of the design flow.
//  2. The pipe: the sum over zones of the length of the zone's own tree, which
//     joins its heads to the tap. In a [Trench] that is the trench it runs in,
//     counted once a zone; otherwise the minimum spanning tree under
//     [Settings].Distance.
//  3. The sum of the squares of the zones' flows, in whole millilitres per
//     minute: the smaller, the more even.
//
// What is still equal falls to the first in the order of labels. Labels are in
// natural order (H2 before H10), and nothing depends on the order of the heads.
//
// # How
//
// Flows are counted in whole microlitres per minute. Packing heads into valves is
// cutting pieces from sticks of one length, and layout/cutting does it: exactly,
// unless it runs out of steps; then [Result].Bound may stay below the number of
// zones. Up to 25 heads that was never seen.
//
// A class of up to [Settings].ExactHeads heads is then divided in the best way
// of all by a program over its subsets. A larger one starts from that
// packing, and from heads taken round the tap or along the trench; single heads
// are moved and exchanged, small groups of zones divided anew in the best way,
// and the whole shaken from a fixed seed. It never gets worse than where it
// started.
package zoning
