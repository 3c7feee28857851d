package schedule_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lotwright/layout"
	"lotwright/layout/schedule"
)

func unit(t *testing.T, u schedule.BillingUnit) layout.Volume {
	v, err := u.Volume()
	require.NoError(t, err)
	return v
}

// TestBillingUnits: pwd.org's answers to questions (2 HCF are 1,496 gallons),
// the water-use page of lakearrowheadcsd.com (18 CCF are 13,464 gallons, 224 a
// day in 60 days), and 1 kgal in HCF.
func TestBillingUnits(t *testing.T) {
	ccf := unit(t, schedule.UnitCCF).Gallons()
	assert.InEpsilon(t, 1496, 2*ccf, 5e-4)
	assert.InEpsilon(t, 13464, 18*ccf, 5e-4)
	assert.InDelta(t, 224, 18*ccf/60, 0.5)
	assert.InDelta(t, 1.3368, unit(t, schedule.UnitKgal).Gallons()/ccf, 5e-5)
	assert.InDelta(t, 1000, unit(t, schedule.UnitM3).Litres(), 0)
	_, err := schedule.BillingUnit("barrel").Volume()
	assert.ErrorContains(t, err, "barrel")
}

func threeTiers() schedule.Tariff {
	return schedule.Tariff{
		Unit: schedule.UnitM3, FixedPerMonth: 7.5,
		Tiers: []schedule.Tier{{UpTo: 10, Price: 1}, {UpTo: 30, Price: 2}, {Price: 5}},
	}
}

// TestTiersByHand: 42.5 m³ are 10·1 + 20·2 + 12.5·5.
func TestTiersByHand(t *testing.T) {
	for volume, want := range map[layout.Volume]layout.Cents{0: 750, 4000: 1150, 10000: 1750, 30000: 5750, 42500: 750 + 11250} {
		got, err := threeTiers().Bill(volume)
		require.NoError(t, err)
		assert.Equal(t, want, got, "%v L", volume.Litres())
	}
}

// TestWholeUnits: some utilities bill whole units only, and carry the rest over
// (menlopark.org, question 663).
func TestWholeUnits(t *testing.T) {
	tariff := threeTiers()
	tariff.WholeUnits = true
	got, err := tariff.Bill(10999)
	require.NoError(t, err)
	assert.EqualValues(t, 1750, got)
	tariff.Unit = schedule.UnitKgal
	for n := range 1000 { // thousands of gallons, counted one by one
		sum := layout.Volume(0)
		for range n {
			sum += layout.Gallons(1000)
		}
		units, err := tariff.Units(sum)
		require.NoError(t, err)
		assert.InDelta(t, n, units, 0)
	}
}

// TestLawnComesOnTop: the house uses 8 m³; the lawn's first 2 are still in the
// first tier.
func TestLawnComesOnTop(t *testing.T) {
	tariff := threeTiers()
	tariff.OtherUse = 8000
	c, err := tariff.Year([12]layout.Volume{6: 12000})
	require.NoError(t, err)
	assert.EqualValues(t, 2*100+10*200, c.Months[6])
	assert.Equal(t, c.Months[6], c.Watering)
	assert.EqualValues(t, 12*750, c.Fixed)
}

func TestMoneyIsWritten(t *testing.T) {
	assert.Equal(t, "12.05", layout.Cents(1205).String())
	assert.Equal(t, "-0.07", layout.Cents(-7).String())
}

func TestParseTiers(t *testing.T) {
	tiers, err := schedule.ParseTiers("10@1, 30@2.00,5")
	require.NoError(t, err)
	assert.Equal(t, threeTiers().Tiers, tiers)
	for text, want := range map[string]string{
		"":           "not a price",
		"10@":        "not a price",
		"x@1,2":      "number of units",
		"0@1,2":      "number of units",
		"10@1":       "must have no end",
		"1,2":        "must end above",
		"10@1,5@1,2": "must end above 10",
		"NaN":        "price of tier 1",
		"-1":         "price of tier 1",
	} {
		_, err := schedule.ParseTiers(text)
		assert.ErrorContains(t, err, want, text)
	}
}

func TestBadTariffs(t *testing.T) {
	for want, spoil := range map[string]func(*schedule.Tariff){
		"billing unit": func(t *schedule.Tariff) { t.Unit = "" },
		"one tier":     func(t *schedule.Tariff) { t.Tiers = nil },
		"fixed charge": func(t *schedule.Tariff) { t.FixedPerMonth = math.NaN() },
		"other use":    func(t *schedule.Tariff) { t.OtherUse = -1 },
	} {
		tariff := threeTiers()
		spoil(&tariff)
		_, err := tariff.Year([12]layout.Volume{})
		assert.ErrorContains(t, err, want)
		_, err = tariff.Bill(0)
		assert.ErrorContains(t, err, want)
	}
	_, err := threeTiers().Year([12]layout.Volume{-1})
	assert.ErrorContains(t, err, "month 1")
	_, err = threeTiers().Bill(layout.Volume(math.NaN()))
	assert.Error(t, err)
	_, err = schedule.DefaultTariff().Bill(1000)
	assert.NoError(t, err)
}

// TestBillNeverFalls: more water never costs less, and never more than all of
// it at the highest price.
func TestBillNeverFalls(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tariff := threeTiers()
		tariff.WholeUnits = rapid.Bool().Draw(t, "whole")
		a := layout.Volume(rapid.Float64Range(0, 1e5).Draw(t, "a"))
		b := a + layout.Volume(rapid.Float64Range(0, 1e5).Draw(t, "more"))
		billA, err := tariff.Bill(a)
		require.NoError(t, err)
		billB, err := tariff.Bill(b)
		require.NoError(t, err)
		if billA > billB || float64(billB) > 750+500*b.Litres()/1000+1 {
			t.Fatalf("%v for %v, %v for %v", billA, a, billB, b)
		}
	})
}
