package assemble

import (
	"math"
	"time"

	"lotwright/importer"
	"lotwright/layout"
)

// unit is a property and what one of its unit is in the unit of the result.
type unit struct {
	property string
	factor   float64
}

// sign is which numbers a property may hold.
type sign bool

const (
	positive sign = false // above zero
	anySign  sign = true
)

// sameQuantity is the relative difference within which two statements of one
// quantity, in different units, agree: they are rounded figures.
const sameQuantity = 0.01

// quantity returns what the features say of one quantity, whichever unit they
// say it in; the least of several that agree but for rounding. Numbers out of
// range and statements that differ are errors, and count as given.
func (b *builder) quantity(features []importer.Feature, allowed sign, units ...unit) (value float64, ok bool) {
	for _, x := range features {
		for _, u := range units {
			v, given := x.Properties.Get(u.property)
			if !given {
				continue
			}
			if allowed == positive && !(v > 0) || math.IsNaN(v) || math.IsInf(v, 0) {
				b.findOf(x, importer.Fault("property.out_of_range", "%s is %g, it must be above zero", u.property, v))
				return 0, true
			}
			if v *= u.factor; ok && math.Abs(v-value) > sameQuantity*math.Abs(value) {
				b.findOf(x, importer.Fault("property.conflict", "%s contradicts another statement of the same quantity", u.property))
				return 0, true
			}
			if !ok || v < value {
				value, ok = v, true
			}
		}
	}
	return value, ok
}

// addSupply reads the measurements of the water, from whichever features of
// the lot carry them.
func (b *builder) addSupply() {
	s := &b.lot.Supply
	s.StaticPressure = b.pressure("static_pressure")
	s.HeadPressure = b.pressure("head_pressure")
	flow, hasFlow := b.quantity(b.all(), positive, unit{"flow_gpm", layout.LitresPerGallon}, unit{"flow_lpm", 1})
	held := b.pressure("flow_pressure")
	switch {
	case hasFlow && held != nil:
		s.FlowTest = &layout.FlowTest{Flow: layout.Flow(flow), Pressure: *held}
	case hasFlow:
		// A bare flow is what the open tap gives: the flow at no pressure.
		s.FlowTest = &layout.FlowTest{Flow: layout.Flow(flow)}
		b.find(importer.Warning("supply.open_flow", "the flow was taken as that of the open tap, at no pressure; flow_pressure_psi would say at which pressure it was held"))
	case held != nil:
		b.find(importer.Warning("supply.incomplete", "a flow pressure without its flow was left out"))
	}
	s.Bucket = b.bucket()
}

// all returns every feature of the lot that may tell of its water, the parcel
// first: not heads, whose flow is their own.
func (b *builder) all() []importer.Feature {
	out := []importer.Feature{b.parcel.feature}
	for _, x := range b.features {
		if x.Layer != layout.LayerHead {
			out = append(out, x)
		}
	}
	return out
}

func (b *builder) pressure(name string) *layout.Pressure {
	v, ok := b.quantity(b.all(), positive, unit{name + "_psi", layout.KPaPerPSI}, unit{name + "_kpa", 1}, unit{name + "_bar", layout.KPaPerBar})
	if !ok {
		return nil
	}
	p := layout.Pressure(v)
	return &p
}

func (b *builder) bucket() *layout.BucketTest {
	volume, hasVolume := b.quantity(b.all(), positive, unit{"bucket_gal", layout.LitresPerGallon}, unit{"bucket_l", 1})
	seconds, hasTime := b.quantity(b.all(), positive, unit{"bucket_s", 1})
	if hasVolume != hasTime {
		b.find(importer.Warning("supply.incomplete", "a bucket test needs both a volume and bucket_s; it was left out"))
	}
	if !hasVolume || !hasTime {
		return nil
	}
	return &layout.BucketTest{Volume: layout.Volume(volume), Time: time.Duration(seconds * float64(time.Second))}
}
