package cli

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/layout"
)

func TestHeadTableForms(t *testing.T) {
	want := []layout.PerformanceRow{
		{Pressure: layout.PSI(40), Throw: layout.Feet(25), Flow: layout.GPM(4)},
		{Pressure: layout.PSI(55), Throw: layout.Feet(30), Flow: layout.GPM(4.7)},
	}
	for name, text := range map[string]string{
		"a.csv":     "pressure_psi,throw_ft,flow_gpm\n40,25,4.0\n55,30,4.7\n",
		"order.csv": "\ufeffflow_gpm,pressure_psi,throw_ft\r\n4,40,25\r\n4.7,55,30\r\n",
		"a.json":    `[{"pressure_psi":40,"throw_ft":25,"flow_gpm":4.0},{"flow_gpm":4.7,"throw_ft":30,"pressure_psi":55}]`,
		"units.csv": "pressure_kpa,throw_m,flow_lpm\n275.79029172673445,7.62,15.141647136\n379.2116511242499,9.144,17.7914353848\n",
	} {
		model, err := readHeadTable(written(t, name, text))
		require.NoError(t, err, name)
		assert.Equal(t, layout.VariableThrow, model.Kind)
		require.Len(t, model.Rows, 2)
		for i, row := range model.Rows {
			assert.InDelta(t, want[i].Pressure.KPa(), row.Pressure.KPa(), 1e-9, name)
			assert.InDelta(t, want[i].Throw.Metres(), row.Throw.Metres(), 1e-12, name)
			assert.InDelta(t, want[i].Flow.LPM(), row.Flow.LPM(), 1e-9, name)
		}
	}
}

func TestHeadTableFaults(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"a.csv", "", "line 1: the file is empty"},
		{"a.csv", "pressure_psi,throw_ft\n40,25\n", "line 1: no column for the flow"},
		{"a.csv", "pressure,throw_ft,flow_gpm\n", `line 1: column 1: "pressure" is not one of pressure_psi`},
		{"a.csv", "pressure_psi,pressure_kpa,throw_ft,flow_gpm\n", "column 2: pressure is given twice, as pressure_psi and pressure_kpa"},
		{"a.csv", "pressure_psi,throw_ft,flow_gpm\n40,25,4\n55,30ft,4.7\n", `line 3, column 2 (throw_ft): "30ft" is not a number above zero`},
		{"a.csv", "pressure_psi,throw_ft,flow_gpm\n40,,4\n", `line 2, column 2 (throw_ft)`},
		{"a.csv", "pressure_psi,throw_ft,flow_gpm\n40,25,NaN\n", `line 2, column 3 (flow_gpm)`},
		{"a.csv", "pressure_psi,throw_ft,flow_gpm\n40,25,-4\n", `line 2, column 3 (flow_gpm)`},
		{"a.csv", "pressure_psi,throw_ft,flow_gpm\n40,25,4,9\n", "line 2"},
		{"a.csv", "pressure_psi,throw_ft,flow_gpm\n", "no performance rows"},
		{"a.csv", "pressure_psi,throw_ft,flow_gpm\n55,30,4.7\n40,25,4\n", "pressures must rise"},
		{"a.json", "", "line 1, column 1: want [, the file ends"},
		{"a.json", "{}", "want [, got {"},
		{"a.json", "[\n  {\"pressure_psi\":40,\"throw_ft\":\"25\",\"flow_gpm\":4}]", "line 2, column 37: throw_ft: want a number, got 25"},
		{"a.json", `[{"pressure_psi":40,"pressure_psi":41,"throw_ft":25,"flow_gpm":4}]`, "pressure is given twice"},
		{"a.json", `[{"pressure_psi":40,"throw_ft":25,"flow_gpm":0}]`, "flow_gpm: \"0\" is not a number above zero"},
		{"a.json", `[{"pressure_psi":40,"throw_ft":25}]`, "no column for the flow"},
		{"a.json", `[{"pressure_psi":40,"throw_ft":25,"flow_gpm":4}] x`, "unexpected data after the array"},
		{"a.json", `[{"pressure_psi":40,"throw_ft":25,"flow_gpm":4}`, "want ], the file ends"},
		{"a.json", `[]`, "no performance rows"},
	} {
		_, err := readHeadTable(written(t, c.name, c.text))
		assert.ErrorContains(t, err, c.want, "%s %q", c.name, c.text)
		assert.ErrorContains(t, err, "--head-table")
	}
}

func TestHeadTableLimit(t *testing.T) {
	_, err := readHeadTable(written(t, "big.csv", string(make([]byte, headTableLimit+1))))
	assert.ErrorContains(t, err, "larger than")
}

// FuzzHeadTable: no text makes the parser panic, and what it accepts is positive.
func FuzzHeadTable(f *testing.F) {
	f.Add("pressure_psi,throw_ft,flow_gpm\n40,25,4.0\n")
	f.Add(`[{"pressure_psi":40,"throw_ft":25,"flow_gpm":4.0}]`)
	f.Fuzz(func(t *testing.T, text string) {
		for _, parse := range []func([]byte) ([]layout.PerformanceRow, error){parseHeadCSV, parseHeadJSON} {
			rows, err := parse([]byte(text))
			for _, r := range rows {
				if err == nil && !(r.Pressure > 0 && r.Throw > 0 && r.Flow > 0) {
					t.Fatalf("%q gave %+v", text, r)
				}
			}
		}
	})
}

// written puts text into a file of its own and returns its path.
func written(t *testing.T, name, text string) string {
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, []byte(text), 0o666))
	return path
}
