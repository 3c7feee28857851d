package layout

import "fmt"

// Cents is money in hundredths of the currency of a price list or a tariff.
type Cents int64

// String writes c with two decimals.
func (c Cents) String() string {
	sign := ""
	if c < 0 {
		sign, c = "-", -c
	}
	return fmt.Sprintf("%s%d.%02d", sign, c/100, c%100)
}

// Units returns c in units of the currency.
func (c Cents) Units() float64 { return float64(c) / 100 }
