package rpc

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"lotwright/layout"
)

// Parameters lists the query parameters of POST /v1/lots:design. They are the
// flags of the command line, with the same values.
func Parameters() []string {
	return []string{
		"head_pressure", "static_pressure", "flow_test", "bucket",
		"coverage", "margin", "irrigate_beds", "least_strip", "edge_clearance", "building_clearance", "cross_paving",
		"paving_factor", "paving_crossing", "root_zone_factor", "trench_clearance", "trench_depth", "supply_allowance",
	}
}

// querySettings reads settings off a query. Every parameter must be known and
// stand once.
func querySettings(rawQuery string) (Settings, error) {
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
	}
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
