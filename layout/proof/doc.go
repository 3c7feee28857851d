// Package proof checks a certificate that fewer than a number of heads cannot
// reach the target coverage of a lawn. It knows nothing of how certificates
// are found: it takes the ground, the claim and the certificate, shares no
// geometry with the search, and decides in whole numbers.
//
// # The argument
//
// Let A be the area of the lawn. Suppose N heads at legal places reach the
// share τ of it. Put any weight on the lawn, in all W. What the heads leave
// dry is at most (1−τ)·A of lawn and holds at most K, the most weight that so
// much lawn can hold; what one head wets holds at most M. So W ≤ K + N·M, and
// a certificate with (Heads−1)·M < W − K shows that Heads−1 are too few.
//
// # Which way each number is rounded
//
// The argument holds for any weight on the lawn, so the even spread that the
// certificate asks for need not be met to the last digit; it must only be the
// same weight in W, K and M. The checker settles on whole weights of its own,
// one for each atom, in units of a small fraction of the certificate's:
//
//   - The lawn in an atom is measured in exact fractions and rounded down, to
//     1/256 mm². The lawn in a cell is taken as the sum over its atoms, so it
//     is not overestimated either.
//   - An atom weighs its cell's weight times its share of the cell's lawn,
//     rounded down. W is the sum of these whole numbers: exact.
//   - M is checked against sums of the same whole numbers: exact. An atom of
//     which any part may be wetted counts in full.
//   - No part of a cell holds more weight on an area than the cell's weight
//     over its (underestimated) lawn, since every atom's weight was rounded
//     down and every atom's lawn is no smaller than measured. Filling the area
//     (1−τ)·A, rounded up, with the densest cells first, and rounding the
//     share of the last one up, cannot underestimate K.
//
// # What one head can wet
//
// All legal places lie in the lawn's bounding box. The box is cut in two again
// and again. A box is done with when no legal place is in it, or when the
// atoms that may be wetted from it weigh at most M. Three facts make testing
// the corners of a box enough:
//
//   - The points nearer to an obstacle's edge than its clearance form a convex
//     set. If it holds the four corners of a box it holds the box.
//   - Take a head h off the line of a blocker. The points whose line of sight
//     to h meets the blocker are those beyond its line within the wedge that
//     h sees it in: a convex set. If it holds the corners of an atom it holds
//     the atom.
//   - Likewise, the heads from which a blocker hides a given point form a
//     convex set. So a blocker that hides the corners of an atom from the
//     corners of a box, which all lie on one side of its line, hides all of the
//     atom from all of the box.
//
// A blocker is an open segment without a point of the lawn's interior. A line
// of sight that crosses it is not in the lawn, unless it crosses at a point of
// the outline without leaving the lawn: at one of finitely many corners, or
// while running along an edge. From one head, the points so seen lie on
// finitely many lines; they have no area and no weight. For the same reason an
// atom that no more than touches the throw's circle or a shadow's rim is dry.
//
// What holds inside the lawn holds on its outline: every box is closed, so one
// that has lawn inside it holds the head on the outline too, and if it was
// dropped for a clearance, the head does not keep that clearance either.
//
// A head is taken to wet all of the lawn that it sees within its throw. One
// that wets less, as near to it or in a sector, is covered by the same proof;
// one whose throw crosses paving is not.
package proof
