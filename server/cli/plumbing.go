package cli

import (
	"fmt"

	"lotwright/layout"
	"lotwright/layout/design"
	"lotwright/layout/hydraulic"
	"lotwright/server/rpc"
)

// plumbing is what lies between the place where the supply was measured and the
// heads, from flags with the files they name or from a request. Sizes and
// materials are words of the tables; an empty one asks for the default.
type plumbing struct {
	meter           string
	serviceLine     *layout.Length
	serviceSize     string
	serviceMaterial string
	backflow        *hydraulic.LossCurve
	pipeMaterial    string
	pipeSize        string
	prices          map[string]float64 // a metre, by nominal size; nil: the invented list
	pipeLoss        *float64
	velocityLimit   *hydraulic.Velocity
}

// settingFault says what is wrong with a setting, named as in a query.
func settingFault(setting, format string, args ...any) error {
	return &rpc.SettingFault{Setting: setting, Text: fmt.Sprintf(format, args...)}
}

// apply puts it into the settings; faults are a [*rpc.SettingFault].
func (p plumbing) apply(s *design.Settings) (err error) {
	if s.Meter = nominalSize(p.meter); s.Meter != "" {
		if _, ok := hydraulic.Meter(s.Meter); !ok {
			return settingFault("meter", "nothing is known of a meter of %s", s.Meter)
		}
	}
	if p.serviceLine != nil {
		line := design.ServiceLine{Material: orElse(p.serviceMaterial, hydraulic.PVCSch40), Size: nominalSize(orElse(p.serviceSize, "1in")), Length: *p.serviceLine}
		if _, ok := hydraulic.SizeOf(line.Material, line.Size); !ok {
			return settingFault("service_line", "nothing is known of a service line of %s, %s", line.Material, line.Size)
		}
		s.ServiceLine = line
	}
	if p.pipeLoss != nil {
		s.PipeLossShare = *p.pipeLoss
	}
	if p.velocityLimit != nil {
		if *p.velocityLimit <= 0 {
			return settingFault("velocity_limit", "%v m/s is no speed", float64(*p.velocityLimit))
		}
		s.VelocityLimit = *p.velocityLimit
	}
	s.Backflow = p.backflow
	s.Pipe, err = p.pipe()
	return err
}

// pipe lists the sizes to choose from.
func (p plumbing) pipe() (out []hydraulic.PricedSize, err error) {
	price := p.prices
	if price == nil {
		price = map[string]float64{}
		for _, size := range design.DefaultPipe() {
			price[size.Nominal] = size.PerMetre
		}
	}
	material := orElse(p.pipeMaterial, hydraulic.PVCSch40)
	sizes := hydraulic.SizesOf(material)
	for _, size := range sizes {
		per, wanted := price[size.Nominal]
		if p.pipeSize != "" {
			wanted = size.Nominal == nominalSize(p.pipeSize)
		}
		if wanted {
			out = append(out, hydraulic.PricedSize{PipeSize: size, PerMetre: per})
		}
	}
	switch {
	case len(sizes) == 0:
		return nil, settingFault("pipe_material", "nothing is known of %s", material)
	case len(out) == 0 && p.pipeSize != "":
		return nil, settingFault("pipe_size", "%s is not made of %s", nominalSize(p.pipeSize), material)
	case len(out) == 0:
		return nil, settingFault("pipe_prices", "no size of %s is in the list", material)
	}
	return out, nil
}

// genericBackflow is the curve of a kind named as on the command line.
func genericBackflow(word string) (*hydraulic.LossCurve, bool) {
	kinds := map[string]hydraulic.BackflowKind{"pressure-vacuum-breaker": hydraulic.PressureVacuumBreaker,
		"double-check": hydraulic.DoubleCheck, "reduced-pressure": hydraulic.ReducedPressure}
	curve, ok := hydraulic.GenericBackflow(kinds[word])
	return &curve, ok
}

// lossCurve makes a curve of points. The first may be at no flow: the pressure
// that opens the springs.
func lossCurve(points []hydraulic.LossPoint) (*hydraulic.LossCurve, error) {
	c := &hydraulic.LossCurve{}
	if len(points) > 0 && points[0].Flow == 0 {
		c.Offset, points = points[0].Loss, points[1:]
	}
	c.Points = points
	return c, c.Validate()
}

// requestPlumbing is that of a request to the service.
func requestPlumbing(r rpc.Settings) (p plumbing, err error) {
	p = plumbing{meter: r.Meter, serviceLine: r.ServiceLine, serviceSize: r.ServiceSize, serviceMaterial: r.ServiceMaterial,
		pipeMaterial: r.PipeMaterial, pipeSize: r.PipeSize, pipeLoss: r.PipeLoss, velocityLimit: (*hydraulic.Velocity)(r.VelocityLimit)}
	if b := r.Backflow; b != nil {
		if p.backflow, err = requestBackflow(*b); err != nil {
			return p, settingFault("backflow", "%v", err)
		}
	}
	for _, price := range r.PipePrices {
		if p.prices == nil {
			p.prices = map[string]float64{}
		}
		p.prices[nominalSize(price.Size)] = price.PerMetre
	}
	return p, nil
}

func requestBackflow(b rpc.Backflow) (*hydraulic.LossCurve, error) {
	if curve, ok := genericBackflow(b.Kind); ok {
		return curve, nil
	}
	var points []hydraulic.LossPoint
	for _, p := range b.Curve {
		points = append(points, hydraulic.LossPoint{Flow: p.Flow, Loss: p.Loss})
	}
	return lossCurve(points)
}
