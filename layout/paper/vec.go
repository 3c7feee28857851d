package paper

import "math"

// UnitsPerInch is how many page units an inch of paper has.
const UnitsPerInch = 100.0

// Vec is a place on the page, or a way across it, in page units, Y downwards.
type Vec struct{ X, Y float64 }

// Add returns a + b.
func (a Vec) Add(b Vec) Vec { return Vec{a.X + b.X, a.Y + b.Y} }

// Sub returns a − b.
func (a Vec) Sub(b Vec) Vec { return Vec{a.X - b.X, a.Y - b.Y} }

// Times returns a times f.
func (a Vec) Times(f float64) Vec { return Vec{a.X * f, a.Y * f} }

// Dot returns the scalar product.
func (a Vec) Dot(b Vec) float64 { return a.X*b.X + a.Y*b.Y }

// Cross returns the z component of a × b.
func (a Vec) Cross(b Vec) float64 { return a.X*b.Y - a.Y*b.X }

// Norm returns the length of a.
func (a Vec) Norm() float64 { return math.Hypot(a.X, a.Y) }

// Finite reports whether a is a place at all.
func (a Vec) Finite() bool { return !math.IsNaN(a.X+a.Y) && !math.IsInf(a.X+a.Y, 0) }

// Turned returns a turned clockwise on the page.
func (a Vec) Turned(deg float64) Vec {
	s, c := math.Sincos(deg * math.Pi / 180)
	return Vec{a.X*c - a.Y*s, a.X*s + a.Y*c}
}

// At is shorthand for Vec{X: x, Y: y}.
func At(x, y float64) Vec { return Vec{X: x, Y: y} }
