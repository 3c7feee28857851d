package uniformity

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// Can is one catch can and what was read from it.
type Can struct {
	Label   string         // as written on it; empty where the file gives none
	Zone    int            // number of the zone that ran, from 1; 0 where the file gives none
	At      *geom.Point    // in the lot's plane; nil where the file gives no place
	Along   *layout.Length // from the head, along a line of cans; nil where the file gives none
	Reading float64        // in the unit of its file
	Line    int            // of the file
}

// CanUnit is the unit of the readings of a file.
type CanUnit string

// The units.
const (
	CanVolume CanUnit = "ml" // caught
	CanDepth  CanUnit = "mm" // deep
)

// Catch is a file of readings: the cans in its order.
type Catch struct {
	Cans []Can
	Unit CanUnit
}

// Frame tells where the places of a file lie in the lot's plane.
type Frame struct {
	Origin geom.Point // where x and y are 0
	// YBearingDeg is the bearing in which y grows, clockwise from north; x grows
	// to the right of it.
	YBearingDeg float64
	// LonLat brings a longitude and latitude in degrees into the plane; nil
	// where it is not known: such a file is refused.
	LonLat func(lonDeg, latDeg float64) geom.Point
}

// CanError says what is wrong in a file of readings, and where.
type CanError struct {
	Line   int    // from 1; 0 for the file as a whole
	Column string // empty for the line as a whole
	Rule   string
}

// Error writes the place before the rule.
func (e *CanError) Error() string {
	place := "catch cans"
	if e.Line > 0 {
		place += fmt.Sprintf(" line %d", e.Line)
	}
	if e.Column != "" {
		place += ", column " + e.Column
	}
	return place + ": " + e.Rule
}

// Limits of a file of readings, beyond any test.
const (
	maxCanBytes  = 4 << 20
	maxCans      = 20000
	maxCanML     = 20000
	maxCanMM     = 1000
	maxZone      = 999
	maxLabel     = 64
	maxPlaceM    = geom.MaxCoord / (2 * geom.MillimetresPerMetre) // from the frame's origin
	maxAlongM    = float64(layout.MaxThrow)
	halfTurnDeg  = 180.0
	rightAngle   = 90.0
	feetToMetres = layout.MetresPerFoot
)

// canNumbers are the columns of numbers of a file of readings, each with what
// brings it to metres, degrees, millilitres or millimetres, and its range then.
var canNumbers = map[string]struct{ factor, low, high float64 }{
	"x_m": {1, -maxPlaceM, maxPlaceM}, "y_m": {1, -maxPlaceM, maxPlaceM},
	"x_ft": {feetToMetres, -maxPlaceM, maxPlaceM}, "y_ft": {feetToMetres, -maxPlaceM, maxPlaceM},
	"lon": {1, -halfTurnDeg, halfTurnDeg}, "lat": {1, -rightAngle, rightAngle},
	"distance_m": {1, 0, maxAlongM}, "distance_ft": {feetToMetres, 0, maxAlongM},
	"volume_ml": {1, 0, maxCanML},
	"depth_mm":  {1, 0, maxCanMM}, "depth_in": {millimetresPerInch, 0, maxCanMM},
}

// ParseCans reads a file of readings: CSV with a line of column names, in any
// order and letter case. Lines that begin with # are remarks. The columns:
//
//	volume_ml, depth_mm or depth_in   the reading; one of them must be there
//	label                             of the can, each once
//	zone                              number of the zone that ran, from 1
//	x_m and y_m, or x_ft and y_ft     place, from the frame's origin
//	lon and lat                       place, WGS 84 degrees
//	distance_m or distance_ft         from the head, along a line of cans
//
// A reading must stand on every line; a can that was knocked over is left out.
// Other cells may be empty, but places must be whole. A column that is not known
// is refused, since it may be a slip of the pen in one that is. The error is a
// [*CanError] unless reading itself fails.
func ParseCans(r io.Reader, f Frame) (Catch, error) {
	limited := &io.LimitedReader{R: r, N: maxCanBytes + 1}
	lines := csv.NewReader(limited)
	lines.Comment, lines.TrimLeadingSpace = '#', true
	header, err := lines.Read()
	if err != nil {
		return Catch{}, canFault(err, limited, "the file holds no line of column names")
	}
	c, err := newCanColumns(header, f)
	if err != nil {
		return Catch{}, err
	}
	out := Catch{Unit: c.unit()}
	for {
		cells, err := lines.Read()
		if errors.Is(err, io.EOF) && limited.N > 0 && len(out.Cans) > 0 {
			return out, nil
		}
		if err != nil || limited.N <= 0 {
			return Catch{}, canFault(err, limited, "the file holds column names but no can")
		}
		line, _ := lines.FieldPos(0)
		can, err := c.can(line, cells)
		if err != nil {
			return Catch{}, err
		}
		if out.Cans = append(out.Cans, can); len(out.Cans) > maxCans {
			return Catch{}, &CanError{Rule: fmt.Sprintf("more than %d cans", maxCans)}
		}
	}
}

// canFault is an error of the CSV reader with its line, or the given rule at the
// end of the file.
func canFault(err error, read *io.LimitedReader, atEnd string) error {
	var parse *csv.ParseError
	switch {
	case read.N <= 0:
		return &CanError{Rule: fmt.Sprintf("the file is larger than %d MiB", maxCanBytes>>20)}
	case errors.Is(err, io.EOF):
		return &CanError{Rule: atEnd}
	case errors.As(err, &parse):
		return &CanError{Line: parse.Line, Rule: parse.Err.Error()}
	}
	return fmt.Errorf("catch cans: %w", err)
}

// canColumns reads the lines of one file.
type canColumns struct {
	frame  Frame
	names  []string
	labels map[string]int // where each stands
}

// canPlaces are the pairs of columns that give a place.
var canPlaces = [][2]string{{"x_m", "y_m"}, {"x_ft", "y_ft"}, {"lon", "lat"}}

func newCanColumns(header []string, f Frame) (*canColumns, error) {
	c := &canColumns{frame: f, labels: map[string]int{}}
	for _, h := range header {
		name := strings.ToLower(strings.TrimSpace(strings.TrimPrefix(h, "\uFEFF")))
		_, number := canNumbers[name]
		switch {
		case !number && name != "label" && name != "zone":
			return nil, &CanError{Line: 1, Column: strconv.Quote(name), Rule: "not known; known are " + knownCanColumns()}
		case c.has(name):
			return nil, &CanError{Line: 1, Column: name, Rule: "stands twice"}
		}
		c.names = append(c.names, name)
	}
	return c, c.check()
}

func knownCanColumns() string {
	names := []string{"label", "zone"}
	for name := range canNumbers {
		names = append(names, name)
	}
	slices.Sort(names)
	return strings.Join(names, ", ")
}

func (c *canColumns) has(name string) bool { return slices.Contains(c.names, name) }

// check says which columns are missing or do not go together.
func (c *canColumns) check() error {
	for _, alike := range [][]string{{"volume_ml", "depth_mm", "depth_in"}, {"x_m", "x_ft", "lon"}, {"distance_m", "distance_ft"}} {
		var found []string
		for _, name := range alike {
			if c.has(name) {
				found = append(found, name)
			}
		}
		if len(found) > 1 {
			return &CanError{Line: 1, Column: found[1], Rule: "excludes " + found[0]}
		}
	}
	for _, p := range canPlaces {
		if c.has(p[0]) != c.has(p[1]) {
			return &CanError{Line: 1, Rule: fmt.Sprintf("columns %s and %s go together", p[0], p[1])}
		}
	}
	switch {
	case !c.has("volume_ml") && !c.has("depth_mm") && !c.has("depth_in"):
		return &CanError{Line: 1, Rule: "a column volume_ml, depth_mm or depth_in is needed"}
	case c.has("lon") && c.frame.LonLat == nil:
		return &CanError{Line: 1, Column: "lon", Rule: "the place of the lot on earth is not known; give x and y instead"}
	}
	return nil
}

func (c *canColumns) unit() CanUnit {
	if c.has("volume_ml") {
		return CanVolume
	}
	return CanDepth
}

// can reads one line.
func (c *canColumns) can(line int, cells []string) (Can, error) {
	can, numbers := Can{Line: line}, map[string]float64{}
	for i, name := range c.names {
		cell := strings.TrimSpace(cells[i])
		if cell == "" {
			continue
		}
		var err error
		switch name {
		case "label":
			can.Label, err = c.label(cell, line)
		case "zone":
			can.Zone, err = canZone(cell)
		default:
			numbers[name], err = canNumber(name, cell)
		}
		if err != nil {
			return can, &CanError{Line: line, Column: name, Rule: err.Error()}
		}
	}
	return can, c.fill(&can, numbers)
}

func (c *canColumns) label(cell string, line int) (string, error) {
	if len(cell) > maxLabel {
		return "", fmt.Errorf("longer than %d bytes", maxLabel)
	}
	if before, twice := c.labels[cell]; twice {
		return "", fmt.Errorf("%q stands on line %d already", cell, before)
	}
	c.labels[cell] = line
	return cell, nil
}

func canZone(cell string) (int, error) {
	z, err := strconv.Atoi(cell)
	if err != nil || z < 1 || z > maxZone {
		return 0, fmt.Errorf("%q is not the number of a zone, 1 to %d", cell, maxZone)
	}
	return z, nil
}

func canNumber(name, cell string) (float64, error) {
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q is not a number", cell)
	}
	column := canNumbers[name]
	if v *= column.factor; v < column.low || v > column.high {
		return 0, fmt.Errorf("%s is out of range", cell)
	}
	return v, nil
}

// fill gives the can what its numbers say.
func (c *canColumns) fill(can *Can, numbers map[string]float64) error {
	read := false
	for _, name := range []string{"volume_ml", "depth_mm", "depth_in"} {
		if v, ok := numbers[name]; ok {
			can.Reading, read = v, true
		}
	}
	if !read {
		return &CanError{Line: can.Line, Rule: "no reading; write 0 for a dry can and leave out one that was knocked over"}
	}
	for _, name := range []string{"distance_m", "distance_ft"} {
		if v, ok := numbers[name]; ok {
			along := layout.Length(v)
			can.Along = &along
		}
	}
	for _, p := range canPlaces {
		x, hasX := numbers[p[0]]
		y, hasY := numbers[p[1]]
		if hasX != hasY {
			return &CanError{Line: can.Line, Rule: fmt.Sprintf("%s and %s go together", p[0], p[1])}
		}
		if hasX {
			at := c.frame.place(p[0] == "lon", x, y)
			can.At = &at
		}
	}
	return nil
}

// place brings a place into the lot's plane.
func (f Frame) place(degrees bool, x, y float64) geom.Point {
	if degrees {
		return f.LonLat(x, y)
	}
	ahead, right := bearing(f.YBearingDeg), bearing(f.YBearingDeg+rightAngle)
	return f.Origin.Vec().Add(right.Scale(x * geom.MillimetresPerMetre)).Add(ahead.Scale(y * geom.MillimetresPerMetre)).Round()
}
