// Package takeoff lists what a design needs: parts, pipe and its cut list,
// digging, paving, labour; then prices it, for a lot and for a batch.
//
// Every line names the features it comes from, so that any number can be traced:
// heads "H1", pipe runs "P1", trench runs "POC–H1", junctions "T1", valves "Z1"
// and the point of connection "POC".
//
// How a network becomes parts:
//
//   - A pipe run is cut where an elbow is; pieces are measured from centre to
//     centre of the fittings. A piece longer than a stick is joined by couplings,
//     one less than the sticks it is made of.
//   - Where three pipes meet there is a tee, where more meet one for each pipe
//     beyond two. A tee may be turned and any of its pipes may be the branch: it
//     is laid so that the fewest elbows are needed.
//   - A head stands on a swing joint, screwed into a threaded elbow at the end of
//     a pipe and into a threaded tee on the way.
//   - Where sizes differ, the fittings are those of the widest pipe and a reducer
//     leads to each of the others.
//   - At the point of connection stand, each screwed to the next, a shut-off
//     valve, the backflow preventer that the local code asks for (its kind is not
//     chosen here), a tee for blowing out in winter, a union and an adapter.
//   - Heads that carry their own valve share one control cable along the pipes.
//     Other heads are on zones, with a valve each at the point of connection.
package takeoff
