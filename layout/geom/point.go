package geom

import (
	"cmp"
	"math"
	"math/bits"
)

// MaxCoord is the largest magnitude of a coordinate, in millimetres, for which
// the predicates are exact: differences stay below 2^23, so their products
// stay below 2^46 and sums of two of them far below 2^63.
const MaxCoord = 1 << 22

// MillimetresPerMetre converts the grid unit to the SI unit.
const MillimetresPerMetre = 1000

// Point is a position on the millimetre grid.
type Point struct{ X, Y int64 }

// Pt is shorthand for Point{x, y}.
func Pt(x, y int64) Point { return Point{X: x, Y: y} }

// Sub returns the vector from q to p.
func (p Point) Sub(q Point) Point { return Point{p.X - q.X, p.Y - q.Y} }

// Add returns p moved by the vector q.
func (p Point) Add(q Point) Point { return Point{p.X + q.X, p.Y + q.Y} }

// Cross returns the z component of p × q, taken as vectors.
func (p Point) Cross(q Point) int64 { return p.X*q.Y - p.Y*q.X }

// Dot returns the scalar product of p and q, taken as vectors.
func (p Point) Dot(q Point) int64 { return p.X*q.X + p.Y*q.Y }

// Norm2 returns the squared length of p, taken as a vector, in mm².
func (p Point) Norm2() int64 { return p.X*p.X + p.Y*p.Y }

// Compare orders points by X, then by Y.
func (p Point) Compare(q Point) int {
	return cmp.Or(cmp.Compare(p.X, q.X), cmp.Compare(p.Y, q.Y))
}

// DistanceMM returns the distance from p to q in millimetres.
func (p Point) DistanceMM(q Point) float64 { return math.Sqrt(float64(p.Sub(q).Norm2())) }

// Within reports, exactly, whether p and q are at most limit mm apart.
func (p Point) Within(q Point, limit int64) bool {
	return p.Sub(q).Norm2() <= limit*limit
}

// Orient returns +1 when c lies to the left of the line from a to b, -1 when
// it lies to the right and 0 when the three points are collinear.
func Orient(a, b, c Point) int {
	return sign(b.Sub(a).Cross(c.Sub(a)))
}

func sign(v int64) int {
	switch {
	case v > 0:
		return 1
	case v < 0:
		return -1
	}
	return 0
}

// Segment is the closed straight piece from A to B.
type Segment struct{ A, B Point }

// LengthMM returns the length of s in millimetres.
func (s Segment) LengthMM() float64 { return s.A.DistanceMM(s.B) }

// Has reports whether p lies on s, ends included.
func (s Segment) Has(p Point) bool {
	return Orient(s.A, s.B, p) == 0 && s.spans(p)
}

// spans reports whether p, already known to be collinear with s, lies between
// its ends.
func (s Segment) spans(p Point) bool {
	return min(s.A.X, s.B.X) <= p.X && p.X <= max(s.A.X, s.B.X) &&
		min(s.A.Y, s.B.Y) <= p.Y && p.Y <= max(s.A.Y, s.B.Y)
}

// Touches reports whether s and t have any point in common.
func (s Segment) Touches(t Segment) bool {
	if s.Crosses(t) {
		return true
	}
	return s.Has(t.A) || s.Has(t.B) || t.Has(s.A) || t.Has(s.B)
}

// Crosses reports whether s and t cross at a point interior to both; touching
// at an end or overlapping along a line is not crossing.
func (s Segment) Crosses(t Segment) bool {
	return Orient(s.A, s.B, t.A)*Orient(s.A, s.B, t.B) < 0 &&
		Orient(t.A, t.B, s.A)*Orient(t.A, t.B, s.B) < 0
}

// WithinOf reports, exactly, whether p is at most limit mm from s.
func (s Segment) WithinOf(p Point, limit int64) bool { return s.compareRange(p, limit) <= 0 }

// NearerThan reports, exactly, whether p is less than limit mm from s.
func (s Segment) NearerThan(p Point, limit int64) bool { return s.compareRange(p, limit) < 0 }

// compareRange compares the distance from p to s with limit mm, which must not
// be negative.
func (s Segment) compareRange(p Point, limit int64) int {
	d, v := s.B.Sub(s.A), p.Sub(s.A)
	along, len2 := v.Dot(d), d.Norm2()
	switch {
	case along <= 0 || len2 == 0:
		return cmp.Compare(v.Norm2(), limit*limit)
	case along >= len2:
		return cmp.Compare(p.Sub(s.B).Norm2(), limit*limit)
	}
	// |d × v| / |d| against limit, squared and multiplied out in 128 bits.
	c := uint64(absInt(d.Cross(v)))
	lhi, llo := bits.Mul64(c, c)
	rhi, rlo := bits.Mul64(uint64(limit*limit), uint64(len2))
	return cmp.Or(cmp.Compare(lhi, rhi), cmp.Compare(llo, rlo))
}

// DistanceMM returns the distance from p to s in millimetres.
func (s Segment) DistanceMM(p Point) float64 {
	d, v := s.B.Sub(s.A), p.Sub(s.A)
	along, len2 := v.Dot(d), d.Norm2()
	switch {
	case along <= 0 || len2 == 0:
		return p.DistanceMM(s.A)
	case along >= len2:
		return p.DistanceMM(s.B)
	}
	return math.Abs(float64(d.Cross(v))) / math.Sqrt(float64(len2))
}

// Nearest returns the grid point nearest to the point of s that is nearest to p.
func (s Segment) Nearest(p Point) Point {
	d, v := s.B.Sub(s.A), p.Sub(s.A)
	along, len2 := v.Dot(d), d.Norm2()
	switch {
	case along <= 0 || len2 == 0:
		return s.A
	case along >= len2:
		return s.B
	}
	t := float64(along) / float64(len2)
	return Point{s.A.X + roundMM(t*float64(d.X)), s.A.Y + roundMM(t*float64(d.Y))}
}

func absInt(v int64) int64 {
	if v < 0 {
		return -v
	}
	return v
}

// roundMM rounds half away from zero, the same on every machine.
func roundMM(v float64) int64 { return int64(math.Round(v)) }
