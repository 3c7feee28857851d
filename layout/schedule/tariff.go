package schedule

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"lotwright/layout"
)

// BillingUnit is the unit in which a utility counts water.
type BillingUnit string

// The units.
const (
	UnitCCF  BillingUnit = "ccf"  // hundred cubic feet, also HCF: 748 gallons
	UnitKgal BillingUnit = "kgal" // thousand gallons
	UnitM3   BillingUnit = "m3"   // cubic metre
)

const (
	cubicFeetPerCCF = 100
	gallonsPerKgal  = 1000
	litresPerM3     = 1000
	litresPerFoot3  = litresPerM3 * layout.MetresPerFoot * layout.MetresPerFoot * layout.MetresPerFoot
)

// Volume is how much one unit is.
func (u BillingUnit) Volume() (layout.Volume, error) {
	switch u {
	case UnitCCF:
		return cubicFeetPerCCF * litresPerFoot3, nil
	case UnitKgal:
		return layout.Gallons(gallonsPerKgal), nil
	case UnitM3:
		return litresPerM3, nil
	}
	return 0, fmt.Errorf("billing unit %q is not known; known are ccf, kgal, m3", string(u))
}

// Tier is a price that holds up to a use in a month.
type Tier struct {
	UpTo  float64 // units a month; 0 in the last tier, which has no end
	Price float64 // a unit, in the tariff's currency
}

// Tariff is what a utility charges in a month.
type Tariff struct {
	Currency      string // as printed
	Unit          BillingUnit
	FixedPerMonth float64 // charged whether water is used or not
	Tiers         []Tier
	WholeUnits    bool // whole units only are billed, rounded down

	// OtherUse is what the house uses in a month beside the lawn. Water for the
	// lawn comes on top, so it is charged at the tiers above.
	OtherUse layout.Volume
}

// DefaultTariff is invented, in no real currency; good for comparing only.
func DefaultTariff() Tariff {
	return Tariff{
		Currency: "units of money (invented)", Unit: UnitCCF, FixedPerMonth: 15,
		Tiers: []Tier{{UpTo: 8, Price: 3}, {UpTo: 20, Price: 4.5}, {Price: 6}}, OtherUse: layout.Gallons(5000),
	}
}

// Cost is what a year's watering costs.
type Cost struct {
	Months   [monthsPerYear]layout.Cents // that the lawn adds to each month's bill
	Watering layout.Cents                // the sum of Months
	Fixed    layout.Cents                // of twelve months, the same with and without a lawn
}

// Year is the cost of the lawn's water month by month, on top of the other
// use: the bill with it less the bill without.
func (t Tariff) Year(lawn [monthsPerYear]layout.Volume) (Cost, error) {
	if err := t.validate(); err != nil {
		return Cost{}, err
	}
	var c Cost
	for m, v := range lawn {
		if !(v >= 0 && v <= maxBilled) {
			return Cost{}, fmt.Errorf("tariff: %v L in month %d; it must lie between 0 and %v", v.Litres(), m+1, maxBilled)
		}
		c.Months[m] = t.charge(t.OtherUse+v) - t.charge(t.OtherUse)
		c.Watering += c.Months[m]
	}
	c.Fixed = monthsPerYear * cents(t.FixedPerMonth)
	return c, nil
}

// Bill is one month's whole bill, fixed charge and other use included.
func (t Tariff) Bill(lawn layout.Volume) (layout.Cents, error) {
	if err := t.validate(); err != nil {
		return 0, err
	}
	if !(lawn >= 0 && lawn <= maxBilled) {
		return 0, fmt.Errorf("tariff: %v L; it must lie between 0 and %v", lawn.Litres(), maxBilled)
	}
	return cents(t.FixedPerMonth) + t.charge(t.OtherUse+lawn), nil
}

// Units is how many units a volume is billed as.
func (t Tariff) Units(v layout.Volume) (float64, error) {
	if err := t.validate(); err != nil {
		return 0, err
	}
	return t.units(v), nil
}

// unitForgiven is a share of a unit that rounding down forgives, so that ten
// units are not billed as nine for the last bit.
const unitForgiven = 1e-9

func (t Tariff) units(v layout.Volume) float64 {
	one, _ := t.Unit.Volume() // validated
	units := float64(v / one)
	if t.WholeUnits {
		return math.Floor(units + unitForgiven)
	}
	return units
}

// charge is the price of a volume, tier by tier, without the fixed charge.
func (t Tariff) charge(v layout.Volume) layout.Cents {
	units, from, sum := t.units(v), 0.0, 0.0
	for _, tier := range t.Tiers {
		end := units
		if tier.UpTo > 0 {
			end = min(units, tier.UpTo)
		}
		sum += max(0, end-from) * tier.Price
		from = max(from, end)
	}
	return cents(sum)
}

// cents rounds to hundredths, halves away from zero.
func cents(v float64) layout.Cents { return layout.Cents(math.Round(v * 100)) }

// Bounds far beyond any bill: judgements.
const (
	maxPrice  = 1e6
	maxBilled = layout.Volume(1e9)
)

func (t Tariff) validate() error {
	if _, err := t.Unit.Volume(); err != nil {
		return fmt.Errorf("tariff: %w", err)
	}
	if len(t.Tiers) == 0 {
		return errors.New("tariff: it needs at least one tier")
	}
	if !(t.FixedPerMonth >= 0 && t.FixedPerMonth <= maxPrice) {
		return fmt.Errorf("tariff: the fixed charge is %v; it must lie between 0 and %v", t.FixedPerMonth, maxPrice)
	}
	if !(t.OtherUse >= 0 && t.OtherUse <= maxBilled) {
		return fmt.Errorf("tariff: the other use is %v L a month; it must lie between 0 and %v", t.OtherUse.Litres(), maxBilled)
	}
	return t.validateTiers()
}

func (t Tariff) validateTiers() error {
	below := 0.0
	for i, tier := range t.Tiers {
		last := i == len(t.Tiers)-1
		switch {
		case !(tier.Price >= 0 && tier.Price <= maxPrice):
			return fmt.Errorf("tariff: the price of tier %d is %v; it must lie between 0 and %v", i+1, tier.Price, maxPrice)
		case last && tier.UpTo != 0:
			return fmt.Errorf("tariff: tier %d is the last and must have no end", i+1)
		case !last && !(tier.UpTo > below && tier.UpTo <= maxPrice):
			return fmt.Errorf("tariff: tier %d ends at %v; it must end above %v", i+1, tier.UpTo, below)
		}
		below = tier.UpTo
	}
	return nil
}

// ParseTiers reads tiers as "8@3.00,20@4.50,6.00": up to 8 units at 3.00, up to
// 20 at 4.50, all above at 6.00.
func ParseTiers(text string) ([]Tier, error) {
	var tiers []Tier
	for _, part := range strings.Split(text, ",") {
		upTo, price, found := strings.Cut(part, "@")
		if !found {
			upTo, price = "0", part
		}
		var tier Tier
		var err error
		if tier.UpTo, err = strconv.ParseFloat(strings.TrimSpace(upTo), 64); err != nil || found && !(tier.UpTo > 0) {
			return nil, fmt.Errorf("%q in the tiers %q is not a number of units", upTo, text)
		}
		if tier.Price, err = strconv.ParseFloat(strings.TrimSpace(price), 64); err != nil {
			return nil, fmt.Errorf("%q in the tiers %q is not a price", price, text)
		}
		tiers = append(tiers, tier)
	}
	return tiers, Tariff{Unit: UnitM3, Tiers: tiers}.validateTiers()
}
