package proof

import (
	"fmt"
	"math/bits"

	"lotwright/layout/geom"
)

// point is a place on the millimetre grid, or on the half-millimetre grid
// where a comment says so.
type point struct{ x, y int64 }

// segment runs straight from a to b.
type segment struct{ a, b point }

// box is an axis-parallel rectangle, its sides included.
type box struct{ min, max point }

// maxCoord bounds coordinates and lengths. Differences of places on the
// half-millimetre grid stay under 2^24, products of two under 2^48, and sums
// of a few such products far under 2^63.
const maxCoord = geom.MaxCoord

func pointOf(p geom.Point) (point, error) {
	if p.X < -maxCoord || p.X > maxCoord || p.Y < -maxCoord || p.Y > maxCoord {
		return point{}, fmt.Errorf("(%d, %d) lies outside the plane", p.X, p.Y)
	}
	return point{p.X, p.Y}, nil
}

func segmentOf(s geom.Segment) (segment, error) {
	a, err := pointOf(s.A)
	if err != nil {
		return segment{}, err
	}
	b, err := pointOf(s.B)
	return segment{a, b}, err
}

// edgesOf returns the edges of the rings of g that have a length.
func edgesOf(g geom.Region) ([]segment, error) {
	var out []segment
	for _, polygon := range g {
		for _, ring := range polygon {
			for i, from := range ring {
				s, err := segmentOf(geom.Segment{A: from, B: ring[(i+1)%len(ring)]})
				if err != nil {
					return nil, err
				}
				if s.a != s.b {
					out = append(out, s)
				}
			}
		}
	}
	return out, nil
}

func (p point) String() string   { return fmt.Sprintf("(%d, %d)", p.x, p.y) }
func (s segment) String() string { return fmt.Sprintf("%v–%v", s.a, s.b) }

func (p point) plus(q point) point  { return point{p.x + q.x, p.y + q.y} }
func (p point) minus(q point) point { return point{p.x - q.x, p.y - q.y} }
func (p point) doubled() point      { return point{2 * p.x, 2 * p.y} }
func (p point) dot(q point) int64   { return p.x*q.x + p.y*q.y }
func (p point) cross(q point) int64 { return p.x*q.y - p.y*q.x }

// side is positive where p lies left of the line along s, negative where it
// lies right of it and zero on it.
func (s segment) side(p point) int64 { return s.b.minus(s.a).cross(p.minus(s.a)) }

// holds reports whether p lies on s, ends included.
func (s segment) holds(p point) bool { return s.box().holds(p) && s.side(p) == 0 }

// holdsWithin reports whether p lies on s and is not one of its ends.
func (s segment) holdsWithin(p point) bool { return p != s.a && p != s.b && s.holds(p) }

func (s segment) doubled() segment { return segment{s.a.doubled(), s.b.doubled()} }

// crosses reports whether s and t meet in one point that is no end of either.
func (s segment) crosses(t segment) bool {
	return s.box().overlaps(t.box()) &&
		opposite(s.side(t.a), s.side(t.b)) && opposite(t.side(s.a), t.side(s.b))
}

func opposite(a, b int64) bool { return a < 0 && b > 0 || a > 0 && b < 0 }

// nearer reports whether p is less than limit from s.
func (s segment) nearer(p point, limit int64) bool {
	d, v, w := s.b.minus(s.a), p.minus(s.a), p.minus(s.b)
	switch along := d.dot(v); {
	case along <= 0:
		return v.dot(v) < limit*limit
	case along >= d.dot(d):
		return w.dot(w) < limit*limit
	}
	// |d × v| < limit·|d|, both squared.
	c := magnitude(d.cross(v))
	return less128(c, c, uint64(limit*limit), uint64(d.dot(d)))
}

func magnitude(v int64) uint64 { return uint64(max(v, -v)) }

// less128 reports whether a·b < c·d.
func less128(a, b, c, d uint64) bool {
	hi, lo := bits.Mul64(a, b)
	hi2, lo2 := bits.Mul64(c, d)
	return hi < hi2 || hi == hi2 && lo < lo2
}

// shareDown returns a·b/c rounded down and shareUp rounded up, for whole
// numbers a, b ≥ 0 and c > 0 with b ≤ c.
func shareDown(a, b, c int64) int64 {
	q, _ := mulDiv(a, b, c)
	return q
}

func shareUp(a, b, c int64) int64 {
	q, rest := mulDiv(a, b, c)
	if rest > 0 {
		q++
	}
	return q
}

func mulDiv(a, b, c int64) (quotient, rest int64) {
	hi, lo := bits.Mul64(uint64(a), uint64(b))
	q, r := bits.Div64(hi, lo, uint64(c)) // b ≤ c and a < 2^63: no overflow
	return int64(q), int64(r)
}

func (s segment) box() box {
	return box{point{min(s.a.x, s.b.x), min(s.a.y, s.b.y)}, point{max(s.a.x, s.b.x), max(s.a.y, s.b.y)}}
}

func square(corner point, side int64) box {
	return box{corner, point{corner.x + side, corner.y + side}}
}

func (b box) holds(p point) bool {
	return b.min.x <= p.x && p.x <= b.max.x && b.min.y <= p.y && p.y <= b.max.y
}

func (b box) overlaps(c box) bool {
	return b.min.x <= c.max.x && c.min.x <= b.max.x && b.min.y <= c.max.y && c.min.y <= b.max.y
}

func (b box) padded(by int64) box {
	return box{point{b.min.x - by, b.min.y - by}, point{b.max.x + by, b.max.y + by}}
}

func (b box) corners() [4]point {
	return [4]point{b.min, {b.max.x, b.min.y}, b.max, {b.min.x, b.max.y}}
}

// centre returns the middle of b on the half-millimetre grid.
func (b box) centre() point { return b.min.plus(b.max) }

// halves cuts b across its longer side; ok is false when no side is longer
// than the grid's unit.
func (b box) halves() (first, second box, ok bool) {
	first, second = b, b
	width, height := b.max.x-b.min.x, b.max.y-b.min.y
	if width >= height {
		middle := b.min.x + width/2
		first.max.x, second.min.x = middle, middle
		return first, second, width > 1
	}
	middle := b.min.y + height/2
	first.max.y, second.min.y = middle, middle
	return first, second, true
}

// entered reports whether s has a point inside b, its sides not included. Both
// are convex, so if it has none a line apart from both runs along a side of b
// or along s.
func (b box) entered(s segment) bool {
	if around := s.box(); around.max.x <= b.min.x || around.min.x >= b.max.x ||
		around.max.y <= b.min.y || around.min.y >= b.max.y {
		return false
	}
	left, right := false, false
	for _, c := range b.corners() {
		side := s.side(c)
		left, right = left || side > 0, right || side < 0
	}
	return left && right
}

// gap2 returns the square of the least distance between points of b and c.
func (b box) gap2(c box) int64 {
	x := max(0, c.min.x-b.max.x, b.min.x-c.max.x)
	y := max(0, c.min.y-b.max.y, b.min.y-c.max.y)
	return x*x + y*y
}

// far2 returns the square of the greatest distance between points of b and c.
func (b box) far2(c box) int64 {
	x := max(c.max.x-b.min.x, b.max.x-c.min.x)
	y := max(c.max.y-b.min.y, b.max.y-c.min.y)
	return x*x + y*y
}
