package schedule

import "lotwright/layout"

// Published water budgets count gallons per inch and square foot as 0.62, where
// the units give 0.6234. Their figures come out only with theirs.
const budgetGallonsPerInchSquareFoot = 0.62

// budgetGallons is a depth on an area as the budgets count it.
func budgetGallons(d Depth, areaM2 float64) layout.Volume {
	squareFeet := areaM2 / (layout.MetresPerFoot * layout.MetresPerFoot)
	return layout.Gallons(budgetGallonsPerInchSquareFoot * d.Inches() * squareFeet)
}

// Water-budget factors of the ordinances of California type (Ventura, Gridley).
const (
	AdjustmentResidential = 0.55 // most that a residential landscape may use of ET0
	AdjustmentOther       = 0.45
	EfficiencyOverhead    = 0.75 // least of spray and rotor heads
	EfficiencyDrip        = 0.81 // least
)

// MaximumAppliedWater is the allowance of an ordinance of California type for a
// period: ET0·0.62·(factor·area + (1 − factor)·special area), where the
// special area (edible plants, play) is part of the area.
func MaximumAppliedWater(et0 Depth, factor, areaM2, specialM2 float64) layout.Volume {
	return budgetGallons(et0, factor*areaM2+(1-factor)*specialM2)
}

// EstimatedTotalWaterUse is what the same ordinances reckon one planting uses:
// ET0·0.62·plant factor/efficiency·area.
func EstimatedTotalWaterUse(et0 Depth, plantFactor, efficiency, areaM2 float64) layout.Volume {
	return budgetGallons(et0, plantFactor/efficiency*areaM2)
}
