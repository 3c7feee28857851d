// Package sector places fixed-arc heads: each waters one sector of one radius,
// evenly over its arc, blocked by buildings and walls but not by paving.
//
// # What is asked
//
// The fewest heads whose sectors reach the coverage target and whose water
// lies as evenly as the uniformity target demands; then the most coverage and
// the least overspray. Fewest is found by search and not proven: the bound
// that comes with a placement is on coverage alone.
//
// # Settings of a head
//
// A head stands on one of the given spots, its radius is one of a few steps
// between fully turned down and full throw, its left stop is a whole degree of
// bearing and its sweep a multiple of 5°. Of these only sectors that throw no
// more than the permitted share of what they wet off the lawn are used. What
// lies around a spot is measured along 720 rays, so that a sector's wetted
// area and overspray are differences of two running sums.
//
// # Water
//
// The lawn is sampled at the centres of square cells. The rate along a bearing
// follows a radial profile, scaled so that its integral over the whole sector
// in the open is the head's flow. All depths are whole numbers, so that adding
// a head and taking it away leaves no trace and every machine finds the same.
//
// DU_lq is the mean of the driest quarter over the mean of all. The mean of the
// driest quarter is the greatest value, over all levels t, of
//
//	t − 4·mean(max(0, t − depth))
//
// reached where t is the upper end of that quarter (R. T. Rockafellar and
// S. Uryasev, Optimization of conditional value-at-risk, Journal of Risk 2,
// 2000). For a fixed t it is a sum over cells, so a move is judged by the cells
// it touches alone, and never better than it is.
package sector
