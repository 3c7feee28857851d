package cli

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strconv"
	"strings"

	"lotwright/layout"
	"lotwright/layout/design"
	"lotwright/layout/hydraulic"
	"lotwright/server/rpc"
)

// plumbingFlags say what lies between the place where the supply was measured
// and the heads.
type plumbingFlags struct {
	Meter           string         `placeholder:"3/4in" help:"Size of the water meter, if the supply was measured before it: 5/8in, 3/4in, 1in or 1-1/2in." group:"Water:"`
	ServiceLine     *layout.Length `placeholder:"60ft" help:"Length of the service line, if the supply was measured before it." group:"Water:"`
	ServiceSize     string         `default:"1in" placeholder:"1in" help:"Its size." group:"Water:"`
	ServiceMaterial string         `default:"PVC Sch 40" placeholder:"PVC Sch 40" help:"Its material: PVC Sch 40, PVC Class 200 (SDR-21) or PE, controlled bore." group:"Water:"`
	Backflow        string         `placeholder:"KIND|FILE.csv" help:"Loss of the backflow assembly: pressure-vacuum-breaker, double-check or reduced-pressure for a generic curve, or a table of flow and loss. Which kind is lawful, the local code and a licensed tester say." group:"Water:"`
	PipeMaterial    string         `default:"PVC Sch 40" placeholder:"PVC Sch 40" help:"Material of the pipe; the same choice as --service-material." group:"Pipe:"`
	PipeSize        string         `placeholder:"1in" help:"One size for all pipe. Default: with a measured supply the cheapest sizes from 3/4in up that serve every head, else 1in." group:"Pipe:"`
	PipePrices      string         `placeholder:"FILE.csv" help:"Price list of pipe: columns size and price_per_m or price_per_ft. Default: an invented one." group:"Pipe:"`
	PipeLoss        *share         `placeholder:"5%" help:"Share of the pressure that pipe may take to be cheaper, as far as coverage allows." group:"Pipe:"`
	VelocityLimit   *float64       `placeholder:"5" help:"Fastest that water may run in pipe, ft/s." group:"Pipe:"`
}

// apply puts them into the settings; faults are of usage.
func (f plumbingFlags) apply(s *design.Settings) error {
	p := plumbing{meter: f.Meter, serviceLine: f.ServiceLine, serviceSize: f.ServiceSize, serviceMaterial: f.ServiceMaterial,
		pipeMaterial: f.PipeMaterial, pipeSize: f.PipeSize, pipeLoss: (*float64)(f.PipeLoss)}
	if f.VelocityLimit != nil {
		limit := hydraulic.FeetPerSecond(*f.VelocityLimit)
		p.velocityLimit = &limit
	}
	var err error
	if p.backflow, err = f.backflow(); err != nil {
		return usageError{err}
	}
	if f.PipePrices != "" {
		if p.prices, err = readTable("--pipe-prices", f.PipePrices, pipePrices); err != nil {
			return usageError{err}
		}
	}
	return flagFault(p.apply(s))
}

// flagFault names the flag of a setting that is wrong.
func flagFault(err error) error {
	var f *rpc.SettingFault
	if errors.As(err, &f) {
		return usagef("--%s: %s", strings.ReplaceAll(f.Setting, "_", "-"), f.Text)
	}
	return err
}

// nominalSize spells a size as the tables do: 3/4in becomes 3/4 in.
func nominalSize(s string) string {
	s = strings.TrimSpace(s)
	if rest, ok := strings.CutSuffix(s, "in"); ok {
		return strings.TrimSpace(rest) + " in"
	}
	return s
}

// backflow reads the loss curve that was named; nil for none.
func (f plumbingFlags) backflow() (*hydraulic.LossCurve, error) {
	if f.Backflow == "" {
		return nil, nil
	}
	if curve, ok := genericBackflow(f.Backflow); ok {
		return curve, nil
	}
	return readTable("--backflow", f.Backflow, readLossCurve)
}

// readTable reads a file and names it in faults.
func readTable[T any](flag, path string, read func(io.Reader) (T, error)) (out T, err error) {
	file, err := os.Open(path)
	if err != nil {
		return out, fmt.Errorf("%s: %w", flag, err)
	}
	defer file.Close() // only read
	if out, err = read(file); err != nil {
		return out, fmt.Errorf("%s: %s: %w", flag, path, err)
	}
	return out, nil
}

// readLossCurve reads columns of flow and loss, with units in the names.
func readLossCurve(in io.Reader) (*hydraulic.LossCurve, error) {
	rows, err := columnsOf(in, unitColumn{"flow", map[string]float64{"flow_gpm": layout.LitresPerGallon, "flow_lpm": 1}},
		unitColumn{"loss", map[string]float64{"loss_psi": layout.KPaPerPSI, "loss_kpa": 1, "loss_bar": layout.KPaPerBar}})
	if err != nil {
		return nil, err
	}
	var points []hydraulic.LossPoint
	for _, r := range rows {
		points = append(points, hydraulic.LossPoint{Flow: layout.Flow(r[0]), Loss: layout.Pressure(r[1])})
	}
	return lossCurve(points)
}

// unitColumn is a column that may come in several units, each by its name, with
// what one of it is worth.
type unitColumn struct {
	what  string
	units map[string]float64
}

// columnsOf reads columns of numbers.
func columnsOf(in io.Reader, columns ...unitColumn) ([][]float64, error) {
	records, err := csv.NewReader(in).ReadAll()
	if err != nil {
		return nil, err
	}
	if len(records) < 2 {
		return nil, fmt.Errorf("a header and at least one row are needed")
	}
	at, worth := make([]int, len(columns)), make([]float64, len(columns))
	for k, c := range columns {
		at[k] = -1
		for i, name := range records[0] {
			if w, ok := c.units[strings.ToLower(strings.TrimSpace(name))]; ok {
				at[k], worth[k] = i, w
			}
		}
		if at[k] < 0 {
			return nil, fmt.Errorf("line 1: no column of %s; it may be called %s", c.what, strings.Join(slices.Sorted(maps.Keys(c.units)), ", "))
		}
	}
	var out [][]float64
	for line, record := range records[1:] {
		row := make([]float64, len(columns))
		for k, c := range columns {
			v, err := strconv.ParseFloat(strings.TrimSpace(record[at[k]]), 64)
			if err != nil {
				return nil, fmt.Errorf("line %d: %s: %w", line+2, c.what, err)
			}
			row[k] = v * worth[k]
		}
		out = append(out, row)
	}
	return out, nil
}

// pipePrices reads a price a metre for each nominal size.
func pipePrices(in io.Reader) (map[string]float64, error) {
	records, err := csv.NewReader(in).ReadAll()
	if err != nil {
		return nil, err
	}
	if len(records) < 2 || len(records[0]) != 2 || records[0][0] != "size" {
		return nil, fmt.Errorf("the columns must be size and price_per_m or price_per_ft")
	}
	worth, ok := map[string]float64{"price_per_m": 1, "price_per_ft": 1 / layout.MetresPerFoot}[records[0][1]]
	if !ok {
		return nil, fmt.Errorf("line 1: %q is neither price_per_m nor price_per_ft", records[0][1])
	}
	out := map[string]float64{}
	for line, record := range records[1:] {
		v, err := strconv.ParseFloat(strings.TrimSpace(record[1]), 64)
		if err != nil || v < 0 {
			return nil, fmt.Errorf("line %d: %q is no price", line+2, record[1])
		}
		out[nominalSize(record[0])] = v * worth
	}
	return out, nil
}
