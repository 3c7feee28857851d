package rpc

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"lotwright/layout"
	pb "lotwright/proto/lotwright/v1"
)

// Parameters lists the query parameters of POST /v1/lots:design. They are the
// flags of the command line, with the same values. Where a flag names a file, its
// rows stand in the query: backflow=0gpm@3psi,25gpm@5psi (flow and loss),
// pipe_prices=3/4in@1.10,1in@1.60 (size and price a metre) and
// head_table=40psi/25ft/4gpm,55psi/30ft/4.7gpm (pressure, throw and flow) with
// head_name.
func Parameters() []string {
	return []string{
		"head_pressure", "static_pressure", "flow_test", "bucket",
		"coverage", "margin", "irrigate_beds", "least_strip", "edge_clearance", "building_clearance", "cross_paving",
		"paving_factor", "paving_crossing", "root_zone_factor", "trench_clearance", "trench_depth", "supply_allowance", "design_flow_share",
		"head", "head_table", "head_name", "spray_narrow_strips", "pressure_margin", "effort", "frost_depth", "paving_depth",
		"meter", "service_line", "service_size", "service_material", "backflow",
		"pipe_material", "pipe_size", "pipe_prices", "pipe_loss", "velocity_limit",
	}
}

// querySettings reads settings off a query. Every parameter must be known and
// stand once.
func querySettings(rawQuery string, check func(Settings) error) (Settings, error) {
	values, err := url.ParseQuery(rawQuery)
	var q query
	if err != nil {
		q.add("query", "%v", err)
		return Settings{}, q.err()
	}
	q.values = values
	q.checkNames()
	s := Settings{
		Supply:            q.supply(),
		CoverageTarget:    q.share("coverage"),
		Margin:            q.share("margin"),
		IrrigateBeds:      q.flag("irrigate_beds"),
		LeastStrip:        q.length("least_strip"),
		EdgeClearance:     q.length("edge_clearance"),
		BuildingClearance: q.length("building_clearance"),
		CrossPaving:       q.length("cross_paving"),
		PavingFactor:      q.factor("paving_factor"),
		PavingCrossing:    q.length("paving_crossing"),
		RootZoneFactor:    q.factor("root_zone_factor"),
		TrenchClearance:   q.length("trench_clearance"),
		TrenchDepth:       q.length("trench_depth"),
		SupplyAllowance:   q.loss("supply_allowance"),
		DesignFlowShare:   q.share("design_flow_share"),
		Head:              q.headTable(),
		HeadKind:          q.oneOf("head", slices.Sorted(maps.Values(headKinds))),
		SprayNarrowStrips: q.flag("spray_narrow_strips"),
		PressureMargin:    q.loss("pressure_margin"),
		Effort:            q.oneOf("effort", slices.Sorted(maps.Values(efforts))),
		FrostDepth:        q.length("frost_depth"),
		PavingDepth:       q.length("paving_depth"),
		Meter:             q.word("meter"),
		ServiceLine:       q.length("service_line"),
		ServiceSize:       q.word("service_size"),
		ServiceMaterial:   q.word("service_material"),
		Backflow:          q.backflow(),
		PipeMaterial:      q.word("pipe_material"),
		PipeSize:          q.word("pipe_size"),
		PipePrices:        q.pipePrices(),
		PipeLoss:          q.share("pipe_loss"),
		VelocityLimit:     q.velocity(),
	}
	q.sense("query", "", s, check)
	return s, q.err()
}

// query reads parameters; what is wrong with them is gathered under their names.
type query struct {
	checker
	values url.Values
}

func (q *query) checkNames() {
	var names []string
	for name := range q.values {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		switch {
		case !slices.Contains(Parameters(), name):
			q.add(name, "no such parameter; there are %s", strings.Join(Parameters(), ", "))
		case len(q.values[name]) > 1:
			q.add(name, "given %d times", len(q.values[name]))
		}
	}
}

// parsed reads a parameter that may be missing.
func parsed[T any](q *query, name string, parse func(string) (T, error)) *T {
	texts := q.values[name]
	if len(texts) == 0 {
		return nil
	}
	v, err := parse(texts[0])
	if err != nil {
		q.add(name, "%v", err)
		return nil
	}
	return &v
}

func (q *query) length(name string) *layout.Length {
	return q.checker.length(name, (*float64)(parsed(q, name, layout.ParseLength)))
}

func (q *query) pressure(name string) *layout.Pressure {
	return q.checker.pressure(name, (*float64)(parsed(q, name, layout.ParsePressure)))
}

func (q *query) loss(name string) *layout.Pressure {
	return q.checker.loss(name, (*float64)(parsed(q, name, layout.ParsePressure)))
}

func (q *query) share(name string) *float64 {
	return q.checker.share(name, parsed(q, name, parseShare))
}

func (q *query) factor(name string) *float64 {
	return q.checker.factor(name, parsed(q, name, parseNumber))
}

func (q *query) flag(name string) bool {
	v := parsed(q, name, parseFlag)
	return v != nil && *v
}

func (q *query) text(name string) string { return orEmpty(q.values[name]) }

func orEmpty(texts []string) string {
	if len(texts) == 0 {
		return ""
	}
	return texts[0]
}

func (q *query) word(name string) string { return q.checker.word(name, q.text(name)) }

// oneOf reads one of a few words, of which the empty one is that of a parameter
// that is not there.
func (q *query) oneOf(name string, words []string) string {
	if _, there := q.values[name]; there && (q.text(name) == "" || !slices.Contains(words, q.text(name))) {
		q.add(name, "got %q, want one of %s", clipped(q.text(name)), strings.Join(words[1:], ", "))
		return ""
	}
	return q.text(name)
}

// velocity is a number of feet a second, as the flag is.
func (q *query) velocity() *float64 {
	v := parsed(q, "velocity_limit", parseNumber)
	if v != nil {
		*v *= layout.MetresPerFoot
	}
	return q.checker.speed("velocity_limit", v)
}

// rows reads a table that stands in the query.
func (q *query) rows(name string, row func(at, text string)) {
	if _, there := q.values[name]; !there {
		return
	}
	rows := strings.Split(q.text(name), ",")
	if len(rows) > mostRows {
		q.add(name, "got %d rows, want at most %d", len(rows), mostRows)
		return
	}
	for i, text := range rows {
		row(fmt.Sprintf("%s[%d]", name, i), text)
	}
}

// backflow is the word for a kind, or a curve.
func (q *query) backflow() *Backflow {
	if _, there := q.values["backflow"]; !there {
		return nil
	}
	text := q.text("backflow")
	if text != "" && slices.Contains(slices.Collect(maps.Values(backflowKinds)), text) {
		return &Backflow{Kind: text}
	}
	b := &Backflow{}
	q.rows("backflow", func(at, text string) {
		p, err := layout.ParseFlowTest(text)
		if err != nil {
			q.add(at, "%q is neither a kind of assembly nor a flow and its loss such as 10gpm@4psi", clipped(text))
			return
		}
		b.Curve = append(b.Curve, q.lossPoint(at+".", p.Flow.LPM(), p.Pressure.KPa()))
	})
	return b
}

func (q *query) pipePrices() (out []PipePrice) {
	q.rows("pipe_prices", func(at, text string) {
		size, price, _ := strings.Cut(text, "@")
		v, err := parseNumber(price)
		if err != nil {
			q.add(at, "%q is not a size and its price a metre such as 3/4in@1.10", clipped(text))
			return
		}
		out = append(out, q.pipePrice(at+".", PipePrice{size, v}))
	})
	return out
}

// headTable is the user's own head.
func (q *query) headTable() *layout.HeadModel {
	m := &pb.HeadModel{Name: cmp.Or(q.text("head_name"), "head table")}
	before := len(q.violations)
	q.rows("head_table", func(at, text string) {
		row, err := parseHeadRow(text)
		if err != nil {
			q.add(at, "%v", err)
		}
		m.Rows = append(m.Rows, row)
	})
	if _, there := q.values["head_table"]; !there || len(q.violations) > before {
		if _, named := q.values["head_name"]; named && !there {
			q.add("head_name", "given without head_table")
		}
		return nil
	}
	return q.headModel("head_table", m)
}

// parseHeadRow reads a pressure, a throw and a flow.
func parseHeadRow(text string) (*pb.PerformanceRow, error) {
	parts := strings.Split(text, "/")
	if len(parts) != 3 {
		return nil, notA(clipped(text), "pressure, throw and flow such as 40psi/25ft/4gpm")
	}
	pressure, err := layout.ParsePressure(parts[0])
	throw, err2 := layout.ParseLength(parts[1])
	flow, err3 := layout.ParseFlow(parts[2])
	return &pb.PerformanceRow{PressureKpa: pressure.KPa(), ThrowM: throw.Metres(), FlowLpm: flow.LPM()}, errors.Join(err, err2, err3)
}

func (q *query) supply() layout.Supply {
	before := len(q.violations)
	s := layout.Supply{
		HeadPressure:   q.pressure("head_pressure"),
		StaticPressure: q.pressure("static_pressure"),
		FlowTest:       parsed(q, "flow_test", layout.ParseFlowTest),
		Bucket:         parsed(q, "bucket", layout.ParseBucketTest),
	}
	if t := s.FlowTest; t != nil {
		q.above("flow_test", t.Flow.LPM(), mostFlow.LPM(), " L/min")
		q.within("flow_test", t.Pressure.KPa(), 0, mostPressure.KPa(), " kPa")
	}
	if b := s.Bucket; b != nil {
		q.above("bucket", b.Volume.Litres(), mostVolume.Litres(), " L")
		q.above("bucket", b.Time.Seconds(), mostTime.Seconds(), " s")
	}
	if s.FlowTest != nil && s.Bucket != nil {
		q.add("bucket", "given beside flow_test, want one of the two")
	}
	if len(q.violations) == before { // of parts that cannot be read nothing more is said
		q.together(supplyFields{"head_pressure", "static_pressure", testName(s)}, s, true)
	}
	return s
}

func testName(s layout.Supply) string {
	if s.Bucket != nil {
		return "bucket"
	}
	return "flow_test"
}

func parseNumber(s string) (float64, error) {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return 0, notA(s, "number")
	}
	return v, nil
}

// parseShare reads 0.97 or 97%.
func parseShare(s string) (float64, error) {
	number, percent := strings.CutSuffix(s, "%")
	v, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return 0, notA(s, "share such as 0.97 or 97%")
	}
	if percent {
		v /= 100
	}
	return v, nil
}

func parseFlag(s string) (bool, error) {
	switch s {
	case "true":
		return true, nil
	case "false":
		return false, nil
	}
	return false, notA(s, "value true or false")
}

// notA is the error of a text that is not what is wanted.
func notA(s, want string) error { return fmt.Errorf("%q is not a %s", s, want) }
