package geom

import "math"

// Vec is a position or direction in floating millimetres, for constructed
// points: outlines to draw, areas to sum. No decision rests on one.
type Vec struct{ X, Y float64 }

// Vec returns p in floating millimetres.
func (p Point) Vec() Vec { return Vec{float64(p.X), float64(p.Y)} }

// Round returns the grid point nearest to v.
func (v Vec) Round() Point { return Point{roundMM(v.X), roundMM(v.Y)} }

// Add returns v + w.
func (v Vec) Add(w Vec) Vec { return Vec{v.X + w.X, v.Y + w.Y} }

// Sub returns v − w.
func (v Vec) Sub(w Vec) Vec { return Vec{v.X - w.X, v.Y - w.Y} }

// Scale returns v times f.
func (v Vec) Scale(f float64) Vec { return Vec{v.X * f, v.Y * f} }

// Dot returns the scalar product.
func (v Vec) Dot(w Vec) float64 { return v.X*w.X + v.Y*w.Y }

// Cross returns the z component of v × w.
func (v Vec) Cross(w Vec) float64 { return v.X*w.Y - v.Y*w.X }

// Norm returns the length of v.
func (v Vec) Norm() float64 { return math.Hypot(v.X, v.Y) }
