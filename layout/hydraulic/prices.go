package hydraulic

import (
	"math"

	"lotwright/layout"
)

// PricedSize is a size of pipe and what a metre of it costs.
type PricedSize struct {
	PipeSize
	PerMetre float64 // in any one currency
}

// DefaultPrices is a price list of PVC Schedule 40 pipe for where the user has
// none: invented, in no real currency, and only good for comparing sizes.
func DefaultPrices() []PricedSize {
	perMetre := [...]float64{1.30, 1.70, 2.50, 3.40, 4.10, 5.60}
	var out []PricedSize
	for i, s := range SizesOf(PVCSch40) {
		out = append(out, PricedSize{s, perMetre[i]})
	}
	return out
}

// Cents returns what a length costs in hundredths, rounded up. A millionth is
// forgiven, so that a price is not pushed up by the last bit.
func (s PricedSize) Cents(l layout.Length) int64 {
	return int64(min(math.Ceil(100*s.PerMetre*l.Metres()-1e-6), beyondUse))
}
