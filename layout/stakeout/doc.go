// Package stakeout tells how to find each head, junction and valve on the
// ground with two tapes: two distances from two permanent points, and the side
// of the line between them.
//
// # References
//
// [References] takes corners of buildings and of the lot that can be found again
// for years: those that stick out by at least [LeastTurnDeg], at least
// [LeastSpacing] from one another. They are named B1, B2… on buildings and L1,
// L2… on the lot line, clockwise round each outline.
//
// # Which two
//
// Two references serve a target if both tapes are long enough, neither is
// shorter than [LeastTape], both references can be seen from it, and the circles
// round them cross at 30° to 150° there. The pair is the better, the less an
// error in the tapes moves the place. The error of a tape is part fixed and part
// in proportion to its length, equal at 10 m (a judgement), and it grows with the
// slant of the crossing; so pairs are judged by the longer tape plus 10 m, divided
// by the sine of the angle of crossing.
//
// A crew should not have to walk to a new corner for every stake. Any pair that
// is at most a fifth worse than the best ([Tolerated]) will do. References are
// taken greedily: those of the pair that serves most targets not served yet for
// each reference it adds, and so on until all are served; what turns out to be
// needless is given up again. Each target then gets the best pair of references
// that were taken.
//
// What two permanent points do not serve, in a passage beside the house or far
// from any corner, is taped in a second round with the help of stakes that stand
// by then, as few as possible, and so on as long as any more can be staked.
//
// # Rounding
//
// Distances are level, and rounded to the quarter inch or the centimetre. The
// place that the rounded distances lead to is worked out for every target, and
// how far it lies from where the target should be is reported as its Error. Tapes
// from a stake start where its own rounded distances have put it.
package stakeout
