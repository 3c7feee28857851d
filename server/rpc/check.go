package rpc

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"lotwright/layout"
	pb "lotwright/proto/lotwright/v1"
)

// Bounds on what settings and supplies may say: far outside anything built,
// and near enough for the arithmetic behind to stay finite.
const (
	mostLength   layout.Length   = 1_000   // m
	mostPressure layout.Pressure = 10_000  // kPa
	mostFlow     layout.Flow     = 100_000 // L/min
	mostVolume   layout.Volume   = 100_000 // L
	mostTime                     = 24 * time.Hour
	mostFactor                   = 1_000
	mostSpeed                    = 100 // m/s
	mostPrice                    = 1e6 // a metre
)

// How much a request is told of at once: so many violations, and so many bytes
// in one and in all. They stand three times in the headers of a gRPC error, of
// which many clients take 8 KiB.
const (
	mostViolations     = 20
	mostViolationBytes = 400
	mostTold           = 2000
)

// checker gathers what is wrong with the fields of a request, by their paths.
type checker struct {
	violations []violation
	told       int  // bytes
	full       bool // nothing more is told
	pieces     int  // of the lot
}

func (c *checker) add(field, format string, args ...any) {
	v := violation{clipped(field), clipped(fmt.Sprintf(format, args...))}
	c.told += len(v.field) + len(v.text)
	if c.full = c.full || len(c.violations) == mostViolations || c.told > mostTold; !c.full {
		c.violations = append(c.violations, v)
	}
}

// clipped cuts off what is too long to be told.
func clipped(s string) string {
	if len(s) <= mostViolationBytes {
		return s
	}
	return strings.ToValidUTF8(s[:mostViolationBytes], "") + "…"
}

// err is nil when nothing was found.
func (c *checker) err() error {
	if len(c.violations) == 0 {
		return nil
	}
	return invalidFields(c.violations)
}

// within reports v as wrong unless it lies from least to most; NaN never does.
func (c *checker) within(field string, v, least, most float64, unit string) {
	if !(v >= least && v <= most) {
		c.add(field, "got %v, want %v to %v%s", v, least, most, unit)
	}
}

// above is within for quantities that must not be zero.
func (c *checker) above(field string, v, most float64, unit string) {
	if !(v > 0 && v <= most) {
		c.add(field, "got %v, want above 0 and up to %v%s", v, most, unit)
	}
}

// optional turns a value that may be missing into a quantity and checks it.
func optional[Q ~float64](v *float64, check func(float64)) *Q {
	if v == nil {
		return nil
	}
	check(*v)
	q := Q(*v)
	return &q
}

func (c *checker) length(field string, metres *float64) *layout.Length {
	return optional[layout.Length](metres, func(v float64) { c.within(field, v, 0, mostLength.Metres(), " m") })
}

func (c *checker) share(field string, v *float64) *float64 {
	return optional[float64](v, func(v float64) { c.above(field, v, 1, "") })
}

func (c *checker) factor(field string, v *float64) *float64 {
	return optional[float64](v, func(v float64) { c.within(field, v, 1, mostFactor, "") })
}

// speed is in metres a second.
func (c *checker) speed(field string, v *float64) *float64 {
	return optional[float64](v, func(v float64) { c.above(field, v, mostSpeed, " m/s") })
}

// mostWord is far longer than the name of any size or material.
const mostWord = 100 // bytes

// word is the name of a size or a material.
func (c *checker) word(field, v string) string {
	if len(v) > mostWord {
		c.add(field, "got %d bytes, want at most %d", len(v), mostWord)
	}
	return v
}

// lossPoint checks a point of a curve; its fields begin with prefix.
func (c *checker) lossPoint(prefix string, lpm, kPa float64) LossPoint {
	c.within(prefix+"flow_lpm", lpm, 0, mostFlow.LPM(), " L/min")
	c.within(prefix+"loss_kpa", kPa, 0, mostPressure.KPa(), " kPa")
	return LossPoint{layout.Flow(lpm), layout.Pressure(kPa)}
}

func (c *checker) pipePrice(prefix string, p PipePrice) PipePrice {
	if c.word(prefix+"size", p.Size) == "" {
		c.add(prefix+"size", "got nothing, want a nominal size such as 3/4in")
	}
	c.within(prefix+"price_per_m", p.PerMetre, 0, mostPrice, "")
	return p
}

// sense adds what is wrong with settings that are well formed. prefix is what
// their fields begin with.
func (c *checker) sense(whole, prefix string, s Settings, check func(Settings) error) {
	if len(c.violations) > 0 {
		return // of parts that cannot be read nothing more is said
	}
	var f *SettingFault
	switch err := check(s); {
	case err == nil:
	case errors.As(err, &f) && f.Setting != "":
		c.add(prefix+f.Setting, "%s", f.Text)
	default:
		c.add(whole, "%v", err)
	}
}

// settings reads settings and checks that they make sense.
func (s *Server) settings(c *checker, path string, m *pb.Settings) Settings {
	out := c.settings(path, m)
	c.sense(path, path+".", out, s.options.Check)
	return out
}

// loss is a pressure that may be zero.
func (c *checker) loss(field string, kPa *float64) *layout.Pressure {
	return optional[layout.Pressure](kPa, func(v float64) { c.within(field, v, 0, mostPressure.KPa(), " kPa") })
}

func (c *checker) pressure(field string, kPa *float64) *layout.Pressure {
	return optional[layout.Pressure](kPa, func(v float64) { c.above(field, v, mostPressure.KPa(), " kPa") })
}

// bucketTime turns seconds into a duration once they are known to fit.
func (c *checker) bucketTime(field string, seconds float64) time.Duration {
	c.above(field, seconds, mostTime.Seconds(), " s")
	if !(seconds <= mostTime.Seconds()) {
		return 0
	}
	return time.Duration(math.Round(seconds * float64(time.Second)))
}

// supplyFields names the parts of a supply as the caller knows them.
type supplyFields struct{ head, static, test string }

// together checks that the parts of a supply belong together. With alone, it
// must be complete by itself; otherwise what is missing may come from the
// settings.
func (c *checker) together(f supplyFields, s layout.Supply, alone bool) {
	tested := s.FlowTest != nil || s.Bucket != nil
	switch {
	case s.HeadPressure != nil && (s.StaticPressure != nil || tested):
		c.add(f.head, "given beside a measured supply, want one or the other")
	case alone && tested && s.StaticPressure == nil:
		c.add(f.test, "given without %s", f.static)
	case alone && s.StaticPressure != nil && !tested:
		c.add(f.static, "given without a test of the flow")
	case s.FlowTest != nil && s.StaticPressure != nil && s.FlowTest.Pressure >= *s.StaticPressure:
		c.add(f.test, "got %v held while water ran, want less than the static pressure, %v", s.FlowTest.Pressure, *s.StaticPressure)
	}
}
