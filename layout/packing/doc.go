// Package packing solves packing linear programs
//
//	maximise Σ_j y_j   with   Σ_j a_ij·y_j ≤ b_i,   0 ≤ y_j ≤ u_j,   a_ij ≥ 0
//
// that grow while they are being solved: rows come in when they turn out to be
// violated, bounds move, right-hand sides are switched off and on again. Such
// programs bound covering problems from below, whether rows stand for columns
// of a finite set or for places in a plane.
//
// The method is the bounded dual simplex with the bound-flipping ratio test
// (Maros 2003) and exact dual steepest edge pricing. It starts from the trivial
// basis, every y at its upper bound, goes on from wherever it stands after a
// change, and can be cut short at any time with something usable. Costs are
// jittered by a millionth to break ties; whoever draws conclusions from y must
// check them in integers.
package packing
