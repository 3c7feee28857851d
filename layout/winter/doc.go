// Package winter works out how a lot's pipe is blown out before frost and filled
// again in spring: how much water stands in it, what air it may bear, which zone
// is blown when, what must drain by itself, and what to look for in spring.
//
// # Volumes
//
// The water in a pipe is its inside area times its length; for a diameter in
// inches that is 0.0408·d² gallons a foot. Pipe of a bore that is not known is
// listed and not counted.
//
// # Order
//
// Zones on the highest ground come first, in steps of half a metre, then those
// with the longest way from the point of connection, then by number. On its way
// the farthest zone empties the pipe it shares with nearer ones, and none that
// follows pushes water back into it; water left in a high branch runs down to
// zones that are still to come. Common practice, no source.
//
// # Air
//
// The limits are 80 psi in rigid PVC and 50 psi in polyethylene (M. Higgins,
// Colorado State University, as quoted by gardenguides.com). The air stands in
// all pipe up to the valves, so the lowest limit of any pipe holds for the lot.
// The least flow of air is that of the zone's water: cfm = gpm/7.5 in the same
// quote. It is bare displacement at the pressure in the pipe, and compressors
// are rated in free air, of which more is needed, by Boyle's law.
package winter
