package cli

import (
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"

	"github.com/alecthomas/kong"

	"lotwright/layout"
)

// quantities lets flags be quantities of layout, written with their units, and
// two kinds of plain number named by the tag "type".
func quantities() []kong.Option {
	return []kong.Option{
		byType(layout.ParsePressure),
		byType(layout.ParseLength),
		byType(layout.ParseFlowTest),
		byType(layout.ParseBucketTest),
		byType(func(s string) (share, error) { v, err := parseShare(s); return share(v), err }),
		kong.NamedMapper("share", reading(pointerTo(parseShare))),
		kong.NamedMapper("factor", reading(pointerTo(parseFactor))),
	}
}

// byType reads every flag of type T with parse.
func byType[T any](parse func(string) (T, error)) kong.Option {
	return kong.TypeMapper(reflect.TypeFor[T](), reading(parse))
}

func reading[T any](parse func(string) (T, error)) kong.MapperFunc {
	return func(ctx *kong.DecodeContext, target reflect.Value) error {
		var text string
		if err := ctx.Scan.PopValueInto("value", &text); err != nil {
			return err
		}
		v, err := parse(text)
		if err == nil {
			target.Set(reflect.ValueOf(v))
		}
		return err
	}
}

// pointerTo serves flags that are pointers, so that none and zero stay apart.
func pointerTo[T any](parse func(string) (T, error)) func(string) (*T, error) {
	return func(s string) (*T, error) {
		v, err := parse(s)
		return &v, err
	}
}

// share is a share in a list of them.
type share float64

// parseShare reads a share above 0 and up to 1, written 0.97 or 97%.
func parseShare(s string) (float64, error) {
	number, percent := strings.CutSuffix(strings.TrimSpace(s), "%")
	v, err := strconv.ParseFloat(number, 64)
	if percent {
		v /= 100
	}
	if err != nil || !(v > 0 && v <= 1) {
		return 0, fmt.Errorf("%q is not a share such as 0.97 or 97%%", s)
	}
	return v, nil
}

// parseFactor reads a cost in multiples of trench through soil: nothing is
// cheaper to dig than soil.
func parseFactor(s string) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil || !(v >= 1) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q is not a factor of 1 or more", s)
	}
	return v, nil
}
