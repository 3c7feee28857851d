package feature

import (
	"bytes"
	"encoding/json"
	"math"
	"slices"
	"strconv"

	"lotwright/layout"
)

// Decimals of the quantities: a millimetre, a hundredth of a kilopascal, a
// millilitre a minute, a square decimetre, a millionth of the lawn.
const (
	lengthDecimals   = 3
	pressureDecimals = 2
	flowDecimals     = 3
	areaDecimals     = 2
	shareDecimals    = 6
	rateDecimals     = 3
	angleDecimals    = 1
	moneyDecimals    = 2
)

const millimetresPerInch = 1000 * layout.MetresPerInch

const squareFeetPerSquareMetre = 1 / (layout.MetresPerFoot * layout.MetresPerFoot)

// column is a property of the features made from rows of type R.
type column[R any] struct {
	Field
	append func(dst []byte, row R) []byte // the value as JSON
}

// columns is one property, or the same quantity in both systems of units.
type columns[R any] []column[R]

// when writes null for the rows that known turns down.
func when[R any](known func(R) bool, cols ...columns[R]) columns[R] {
	out := slices.Concat(cols...)
	for i, c := range out {
		out[i].append = func(dst []byte, row R) []byte {
			if !known(row) {
				return append(dst, "null"...)
			}
			return c.append(dst, row)
		}
	}
	return out
}

// text is a string; the empty one is written as null.
func text[R any](name, meaning string, get func(R) string) columns[R] {
	return columns[R]{{Field{Name: name, Type: String, Meaning: meaning}, func(dst []byte, row R) []byte {
		s := get(row)
		if s == "" {
			return append(dst, "null"...)
		}
		return appendString(dst, s)
	}}}
}

func count[R any](name, meaning string, get func(R) int) columns[R] {
	return columns[R]{{Field{Name: name, Type: Integer, Meaning: meaning}, func(dst []byte, row R) []byte {
		return strconv.AppendInt(dst, int64(get(row)), 10)
	}}}
}

func flag[R any](name, meaning string, get func(R) bool) columns[R] {
	return columns[R]{{Field{Name: name, Type: Boolean, Meaning: meaning}, func(dst []byte, row R) []byte {
		return strconv.AppendBool(dst, get(row))
	}}}
}

func number[R any](f Field, get func(R) float64) columns[R] {
	f.Type = Real
	return columns[R]{{f, func(dst []byte, row R) []byte { return appendFixed(dst, get(row), f.Decimals) }}}
}

func share[R any](name, meaning string, get func(R) float64) columns[R] {
	return number(Field{Name: name, Decimals: shareDecimals, Meaning: meaning}, get)
}

func angle[R any](name, meaning string, get func(R) float64) columns[R] {
	return number(Field{Name: name, Unit: "°", Decimals: angleDecimals, Meaning: meaning}, get)
}

func metres[R any](name, meaning string, get func(R) layout.Length) columns[R] {
	return number(Field{Name: name, Unit: "m", Decimals: lengthDecimals, Meaning: meaning},
		func(row R) float64 { return get(row).Metres() })
}

func lengths[R any](stem, meaning string, get func(R) layout.Length) columns[R] {
	return slices.Concat(
		metres(stem+"_m", meaning, get),
		number(Field{Name: stem + "_ft", Unit: "ft", Decimals: lengthDecimals, Meaning: meaning},
			func(row R) float64 { return get(row).Feet() }))
}

func depths[R any](stem, meaning string, get func(R) layout.Length) columns[R] {
	return slices.Concat(
		metres(stem+"_m", meaning, get),
		number(Field{Name: stem + "_in", Unit: "in", Decimals: lengthDecimals, Meaning: meaning},
			func(row R) float64 { return get(row).Metres() / layout.MetresPerInch }))
}

func pressures[R any](stem, meaning string, get func(R) layout.Pressure) columns[R] {
	return slices.Concat(
		number(Field{Name: stem + "_kpa", Unit: "kPa", Decimals: pressureDecimals, Meaning: meaning},
			func(row R) float64 { return get(row).KPa() }),
		number(Field{Name: stem + "_psi", Unit: "psi", Decimals: pressureDecimals, Meaning: meaning},
			func(row R) float64 { return get(row).PSI() }))
}

func flows[R any](stem, meaning string, get func(R) layout.Flow) columns[R] {
	return slices.Concat(
		number(Field{Name: stem + "_lpm", Unit: "L/min", Decimals: flowDecimals, Meaning: meaning},
			func(row R) float64 { return get(row).LPM() }),
		number(Field{Name: stem + "_gpm", Unit: "gal/min", Decimals: flowDecimals, Meaning: meaning},
			func(row R) float64 { return get(row).GPM() }))
}

// speeds takes its value in metres per second.
func speeds[R any](stem, meaning string, get func(R) float64) columns[R] {
	return slices.Concat(
		number(Field{Name: stem + "_m_s", Unit: "m/s", Decimals: rateDecimals, Meaning: meaning}, get),
		number(Field{Name: stem + "_ft_s", Unit: "ft/s", Decimals: rateDecimals, Meaning: meaning},
			func(row R) float64 { return get(row) / layout.MetresPerFoot }))
}

// money takes its value in hundredths.
func money[R any](name, meaning string, get func(R) int64) columns[R] {
	return number(Field{Name: name, Decimals: moneyDecimals, Meaning: meaning}, func(row R) float64 { return float64(get(row)) / 100 })
}

// rates takes its value in millimetres per hour.
func rates[R any](stem, meaning string, get func(R) float64) columns[R] {
	return slices.Concat(
		number(Field{Name: stem + "_mm_h", Unit: "mm/h", Decimals: rateDecimals, Meaning: meaning}, get),
		number(Field{Name: stem + "_in_h", Unit: "in/h", Decimals: rateDecimals, Meaning: meaning},
			func(row R) float64 { return get(row) / millimetresPerInch }))
}

// areas takes its value in square metres.
func areas[R any](stem, meaning string, get func(R) float64) columns[R] {
	return slices.Concat(
		number(Field{Name: stem + "_m2", Unit: "m²", Decimals: areaDecimals, Meaning: meaning}, get),
		number(Field{Name: stem + "_ft2", Unit: "ft²", Decimals: areaDecimals, Meaning: meaning},
			func(row R) float64 { return get(row) * squareFeetPerSquareMetre }))
}

// appendFixed writes v with the given number of decimals; null when it is not
// a finite number, and no sign before a zero.
func appendFixed(dst []byte, v float64, decimals int) []byte {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return append(dst, "null"...)
	}
	start := len(dst)
	dst = strconv.AppendFloat(dst, v, 'f', decimals, 64)
	if dst[start] == '-' && len(bytes.Trim(dst[start:], "-0.")) == 0 {
		dst = slices.Delete(dst, start, start+1)
	}
	return dst
}

// appendString writes s as JSON. Bytes that are not UTF-8 become U+FFFD;
// control characters, and with them the separator of text sequences, are
// escaped.
func appendString(dst []byte, s string) []byte {
	var buf bytes.Buffer
	enc := json.NewEncoder(&buf)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(s); err != nil {
		panic("bug in appendString: a string cannot fail to encode: " + err.Error())
	}
	return append(dst, bytes.TrimSuffix(buf.Bytes(), []byte("\n"))...)
}
