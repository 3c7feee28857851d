package project

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"

	"lotwright/importer"
)

// ParseWKT finds the system that well-known text defines (version 1, as
// shapefiles and GeoPackages carry it: OGC 01-009 section 7, and the same with
// the names of the shapefile's makers). Understood are longitude and latitude,
// transverse Mercator, Lambert conformal conic with one or two parallels and
// Web Mercator, in any unit of length, on datums within two metres of WGS 84
// (see [Lookup]). The error says in words what is not understood.
func ParseWKT(text string) (System, error) {
	root, err := readWKT(text)
	if err != nil {
		return System{}, err
	}
	if root.keyword == "COMPD_CS" { // heights are not read
		if horizontal, ok := root.child("PROJCS", "GEOGCS"); ok {
			root = horizontal
		}
	}
	if system, ok := lookupNode(root); ok {
		return system, nil
	}
	switch root.keyword {
	case "GEOGCS":
		_, err := geographic(root)
		return System{Name: root.name()}, err
	case "PROJCS":
		return projected(root)
	}
	return System{}, fmt.Errorf("%s is not a projected or geographic system", root.keyword)
}

// lookupNode goes by the authority's code where one stands in the text.
func lookupNode(root wktNode) (System, bool) {
	a, ok := root.child("AUTHORITY")
	if !ok || len(a.texts) != 2 {
		return System{}, false
	}
	return Lookup(a.texts[0] + ":" + a.texts[1])
}

// datums are names, as plain wrote them, that datums within two metres of
// WGS 84 begin with.
var datums = []string{
	"wgs1984", "worldgeodeticsystem1984",
	"northamericandatum1983", "northamerican1983", "nad83", "nad1983",
	"europeanterrestrialreferencesystem1989", "etrs1989", "etrs89",
	"reseaugeodesiquefrancais1993", "rgf1993",
}

// plain returns a name in lower case without anything but letters and digits,
// since makers differ in blanks and underscores.
func plain(name string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) {
			return -1
		}
		return unicode.ToLower(r)
	}, name)
}

// geographic checks a GEOGCS and returns its ellipsoid.
func geographic(node wktNode) (Ellipsoid, error) {
	const degree = math.Pi / 180
	datum, ok := node.child("DATUM")
	if !ok {
		return Ellipsoid{}, errors.New("it has no datum")
	}
	name := strings.TrimPrefix(datum.name(), "D_")
	if !slices.ContainsFunc(datums, func(known string) bool { return strings.HasPrefix(plain(name), known) }) {
		return Ellipsoid{}, fmt.Errorf("its datum %.80q is not one that agrees with WGS 84", name)
	}
	ball, ok := datum.child("SPHEROID")
	if !ok || len(ball.numbers) < 2 {
		return Ellipsoid{}, errors.New("its datum has no spheroid")
	}
	el := Ellipsoid{A: ball.numbers[0], InvF: ball.numbers[1]}
	if math.Abs(el.A-WGS84.A) > 0.01 || math.Abs(el.InvF-WGS84.InvF) > 0.001 {
		return el, fmt.Errorf("its spheroid %.80q is not that of its datum", ball.name())
	}
	if m, ok := node.child("PRIMEM"); ok && m.number(0) != 0 {
		return el, errors.New("its prime meridian is not Greenwich")
	}
	if unit, ok := node.child("UNIT"); ok && math.Abs(unit.number(degree)-degree) > 1e-9 {
		return el, fmt.Errorf("its angles are in %.40q, not in degrees", unit.name())
	}
	return el, nil
}

// grid is what a PROJCS says, in degrees and metres.
type grid struct {
	ellipsoid Ellipsoid
	unit      float64 // metres
	values    map[string]float64
}

func (g grid) value(otherwise float64, names ...string) float64 {
	for _, name := range names {
		if v, ok := g.values[name]; ok {
			return v
		}
	}
	return otherwise
}

func (g grid) origin() importer.Position {
	return importer.Position{g.unit * g.value(0, "falseeasting"), g.unit * g.value(0, "falsenorthing")}
}

func (g grid) latitude() float64 { return g.value(0, "latitudeoforigin", "latitudeofcenter") }

func (g grid) meridian() float64 {
	return g.value(0, "centralmeridian", "longitudeoforigin", "longitudeofcenter")
}

func projected(node wktNode) (System, error) {
	base, ok := node.child("GEOGCS")
	if !ok {
		return System{}, errors.New("it stands on no geographic system")
	}
	el, err := geographic(base)
	if err != nil {
		return System{}, err
	}
	g := grid{ellipsoid: el, unit: 1, values: map[string]float64{}}
	if unit, ok := node.child("UNIT"); ok {
		g.unit = unit.number(1)
	}
	for _, p := range node.children {
		if p.keyword == "PARAMETER" {
			g.values[plain(p.name())] = p.number(0)
		}
	}
	method, _ := node.child("PROJECTION")
	inverse, err := g.inverse(method.name())
	if err != nil {
		return System{}, err
	}
	unit := g.unit
	return System{Name: node.name(), LonLat: func(p importer.Position) importer.Position {
		return inverse(importer.Position{unit * p[0], unit * p[1]})
	}}, nil
}

// inverse returns the way back to degrees from metres.
func (g grid) inverse(method string) (func(importer.Position) importer.Position, error) {
	if !(g.unit > 0) || math.IsInf(g.unit, 0) {
		return nil, errors.New("its unit of length is not a length")
	}
	switch plain(method) {
	case "transversemercator", "gausskruger":
		return g.transverseMercator(), nil
	case "lambertconformalconic2sp", "lambertconformalconic1sp", "lambertconformalconic":
		return g.lambert()
	case "mercatorauxiliarysphere", "popularvisualisationpseudomercator":
		return fromWebMercator, nil
	}
	return nil, fmt.Errorf("its projection %.80q is not one that is undone here", method)
}

func (g grid) transverseMercator() func(importer.Position) importer.Position {
	tm := NewTransverseMercator(g.ellipsoid, g.meridian(), g.value(1, "scalefactor"))
	_, north := tm.Forward(g.meridian(), g.latitude())
	origin := g.origin()
	tm.FalseEasting, tm.FalseNorthing = origin[0], origin[1]-north
	return func(p importer.Position) importer.Position {
		lon, lat := tm.Inverse(p[0], p[1])
		return importer.Position{lon, lat}
	}
}

func (g grid) lambert() (func(importer.Position) importer.Position, error) {
	origin := g.origin()
	lat1 := g.value(g.latitude(), "standardparallel1")
	s := coneSettings{
		ellipsoid: g.ellipsoid, lat1: lat1, lat2: g.value(lat1, "standardparallel2"),
		lat0: g.latitude(), lon0: g.meridian(), easting0: origin[0], northing0: origin[1],
		scale: g.value(1, "scalefactor"),
	}
	if max(math.Abs(s.lat1), math.Abs(s.lat2), math.Abs(s.lat0)) > 85 || s.lat1+s.lat2 == 0 {
		return nil, errors.New("its parallels make no cone")
	}
	return newCone(s).inverse, nil
}
