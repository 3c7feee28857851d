package takeoff

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"lotwright/layout"
)

// nominal reads a nominal size such as "1 in", "3/4 in", "1-1/4 in" or "32 mm",
// at the start of s, in thousandths of an inch.
func nominal(s string) (int, bool) {
	fields := strings.Fields(s)
	if len(fields) < 2 {
		return 0, false
	}
	inches, ok := mixed(fields[0])
	switch {
	case !ok || inches <= 0:
		return 0, false
	case fields[1] == "mm":
		inches /= layout.MetresPerInch * 1000
	case fields[1] != "in":
		return 0, false
	}
	return int(math.Round(inches * 1000)), true
}

// mixed reads 1, 3/4, 1-1/4 or 1.25.
func mixed(s string) (float64, bool) {
	whole, fraction, both := strings.Cut(s, "-")
	if both {
		w, ok := mixed(whole)
		f, ok2 := mixed(fraction)
		return w + f, ok && ok2
	}
	over, under, both := strings.Cut(s, "/")
	v, err := strconv.ParseFloat(over, 64)
	if both {
		u, err2 := strconv.ParseFloat(under, 64)
		return v / u, err == nil && err2 == nil && u > 0 && v >= 0 && v < 1e4
	}
	return v, err == nil && v >= 0 && v < 1e4
}

// sleeveSizes are the pipes sleeves are made of.
var sleeveSizes = [...]string{"1 in", "1-1/2 in", "2 in", "2-1/2 in", "3 in", "4 in", "6 in", "8 in"}

// sleeveFor returns the size of a sleeve for a pipe: about twice its diameter
// (common practice), which two nominal sizes stand for.
func sleeveFor(pipe string) (string, error) {
	d, ok := nominal(pipe)
	if !ok {
		return "", fmt.Errorf("pipe size %q is not one such as 1 in, 1-1/4 in or 32 mm", pipe)
	}
	for _, s := range sleeveSizes {
		if w, _ := nominal(s); w >= 2*d-sleeveForgiven {
			return s, nil
		}
	}
	return "", fmt.Errorf("no sleeve is twice as wide as %s", pipe)
}

// sleeveForgiven lets metric sizes, which are not quite those in inches, pass:
// 1 mm, in thousandths of an inch.
const sleeveForgiven = 40
