package project

import (
	"math"

	"lotwright/importer"
)

// cone is the Lambert conformal conic projection with two standard parallels
// or, when they are the same, with one (EPSG methods 9802 and 9801; Snyder, "Map projections: a working manual", USGS
// Professional Paper 1395, 1987, equations 15-1 to 15-11).
type cone struct {
	e, n, af, rho0            float64
	lon0, easting0, northing0 float64
}

// coneSettings are the defining parameters of a cone, in degrees and metres.
type coneSettings struct {
	ellipsoid              Ellipsoid
	lat1, lat2, lat0, lon0 float64
	easting0, northing0    float64
	scale                  float64 // on the parallels; 0 means 1
}

func newCone(s coneSettings) cone {
	f := 1 / s.ellipsoid.InvF
	c := cone{e: math.Sqrt(f * (2 - f)), lon0: s.lon0, easting0: s.easting0, northing0: s.northing0}
	m1, m2 := c.m(s.lat1), c.m(s.lat2)
	t1, t2 := c.t(s.lat1), c.t(s.lat2)
	c.n = math.Sin(radians(s.lat1)) // for one parallel
	if s.lat1 != s.lat2 {
		c.n = math.Log(m1/m2) / math.Log(t1/t2)
	}
	c.af = s.ellipsoid.A * m1 / (c.n * math.Pow(t1, c.n))
	if s.scale != 0 {
		c.af *= s.scale
	}
	c.rho0 = c.af * math.Pow(c.t(s.lat0), c.n)
	return c
}

// m and t are Snyder's functions of latitude (14-15 and 15-9).
func (c cone) m(lat float64) float64 {
	sin, cos := math.Sincos(radians(lat))
	return cos / math.Sqrt(1-c.e*c.e*sin*sin)
}

func (c cone) t(lat float64) float64 {
	phi := radians(lat)
	es := c.e * math.Sin(phi)
	return math.Tan(math.Pi/4-phi/2) / math.Pow((1-es)/(1+es), c.e/2)
}

// inverse undoes the projection; the latitude by fixed-point iteration (7-9),
// whose error shrinks a hundredfold a step.
func (c cone) inverse(p importer.Position) importer.Position {
	const steps = 8
	x, y := p[0]-c.easting0, c.rho0-(p[1]-c.northing0)
	rho := math.Copysign(math.Hypot(x, y), c.n)
	t := math.Pow(rho/c.af, 1/c.n)
	phi := math.Pi/2 - 2*math.Atan(t)
	for range steps {
		es := c.e * math.Sin(phi)
		phi = math.Pi/2 - 2*math.Atan(t*math.Pow((1-es)/(1+es), c.e/2))
	}
	return importer.Position{c.lon0 + degrees(math.Atan2(x, y)/c.n), degrees(phi)}
}

// The French grids on RGF93 (an ETRS89 realisation): parameters of EPSG 2154
// and 3942–3950.
var lambert93 = newCone(coneSettings{ellipsoid: GRS80, lat1: 49, lat2: 44, lat0: 46.5, lon0: 3, easting0: 700_000, northing0: 6_600_000})

func frenchCone(lat float64) cone {
	zone := lat - 41
	return newCone(coneSettings{ellipsoid: GRS80, lat1: lat - 0.75, lat2: lat + 0.75, lat0: lat, lon0: 3,
		easting0: 1_700_000, northing0: 200_000 + zone*1_000_000})
}
