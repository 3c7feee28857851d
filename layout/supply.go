package layout

import "time"

// Supply is what was measured of the water at the lot. Unset parts are nil.
type Supply struct {
	StaticPressure *Pressure   // all taps shut
	FlowTest       *FlowTest   // a flow and the pressure it was held at
	Bucket         *BucketTest // a container filled against a watch, tap fully open
	HeadPressure   *Pressure   // gauge at the nozzle: bypasses every loss
}

// FlowTest is one working point of the supply.
type FlowTest struct {
	Flow     Flow
	Pressure Pressure // held while Flow ran
}

// BucketTest is a container filled from the fully open tap.
type BucketTest struct {
	Volume Volume
	Time   time.Duration
}

// Flow returns the measured flow; zero when the time is not positive.
func (b BucketTest) Flow() Flow {
	if b.Time <= 0 {
		return 0
	}
	return Flow(b.Volume.Litres() / b.Time.Minutes())
}

// Or returns s with every unset part taken from t. A lot's own measurements
// displace the general ones as a whole kind: a head pressure displaces the
// supply model and the other way round.
func (s Supply) Or(t Supply) Supply {
	if s.HeadPressure != nil {
		return Supply{HeadPressure: s.HeadPressure}
	}
	if s.StaticPressure == nil && s.FlowTest == nil && s.Bucket == nil {
		return t
	}
	if s.StaticPressure == nil {
		s.StaticPressure = t.StaticPressure
	}
	if s.FlowTest == nil && s.Bucket == nil {
		s.FlowTest, s.Bucket = t.FlowTest, t.Bucket
	}
	return s
}
