package proof

// halfPlane is the set of places p with normal·p ≥ least.
type halfPlane struct {
	normal point
	least  int64
}

// shadow is what a blocker hides from all of a box: the places beyond its line
// that lie, seen from every corner of the box, between its ends. It is the
// common part of three half-planes.
type shadow struct {
	planes [3]halfPlane

	// The values a square's corner must have in each half-plane for all of the
	// square to lie in it, and for any of it: of tiles and of atoms.
	allOfTile, anyOfTile, allOfAtom [3]int64
}

// shadowOf returns the shadow of s from b. There is none unless b lies wholly
// on one side of the line of s.
//
//  1. s is turned round if need be, so that b lies to its right.
//  2. Of the directions from the corners of b to s.a, all of which lead across
//     the line, the one turned most to the right bounds the shadow on that
//     side: what lies right of it, beyond the line, lies right of the others.
//  3. Likewise with s.b and the direction turned most to the left.
func shadowOf(s segment, b box, atomMM int64) (sh shadow, ok bool) {
	corners := b.corners()
	left, right := false, false
	for _, c := range corners {
		side := s.side(c)
		left, right = left || side >= 0, right || side <= 0
	}
	if left && right {
		return shadow{}, false
	}
	if left {
		s.a, s.b = s.b, s.a
	}
	pastA, pastB := s.a.minus(corners[0]), s.b.minus(corners[0])
	for _, c := range corners[1:] {
		if d := s.a.minus(c); pastA.cross(d) < 0 {
			pastA = d
		}
		if d := s.b.minus(c); pastB.cross(d) > 0 {
			pastB = d
		}
	}
	sh.planes = [3]halfPlane{leftOf(s.b.minus(s.a), s.a), leftOf(point{-pastA.x, -pastA.y}, s.a), leftOf(pastB, s.b)}
	for i, h := range sh.planes {
		sh.allOfAtom[i] = h.least - atomMM*(min(h.normal.x, 0)+min(h.normal.y, 0))
		sh.allOfTile[i] = h.least - tileSide*atomMM*(min(h.normal.x, 0)+min(h.normal.y, 0))
		sh.anyOfTile[i] = h.least - tileSide*atomMM*(max(h.normal.x, 0)+max(h.normal.y, 0))
	}
	return sh, true
}

// leftOf returns the half-plane left of the line through p in direction d.
func leftOf(d, p point) halfPlane {
	normal := point{-d.y, d.x}
	return halfPlane{normal, normal.dot(p)}
}

// holds reports whether p lies in the shadow.
func (sh *shadow) holds(p point) bool {
	for _, h := range sh.planes {
		if h.normal.dot(p) < h.least {
			return false
		}
	}
	return true
}

// all marks every atom of a tile.
const all = ^uint64(0)

// hides marks the atoms of the tile at a corner that lie in the shadow. Only
// half-planes that do not hold all of the tile decide between atoms.
func (sh *shadow) hides(corner point, atomMM int64) uint64 {
	var at [3]int64
	for i := range sh.planes {
		at[i] = sh.planes[i].normal.dot(corner)
		if at[i] < sh.anyOfTile[i] {
			return 0
		}
	}
	mask := all
	for i := range sh.planes {
		if at[i] < sh.allOfTile[i] {
			n := sh.planes[i].normal
			mask &= atomsNotBelow(at[i]-sh.allOfAtom[i], n.x*atomMM, n.y*atomMM)
		}
	}
	return mask
}

// atomsNotBelow goes through the atoms of a tile row by row and marks those
// where a value is not negative: it is the given one at the corner and rises by
// a step from column to column and from row to row.
func atomsNotBelow(value, column, row int64) (mask uint64) {
	for j := 0; j < tileSide; j++ {
		v := value
		for i := 0; i < tileSide; i++ {
			mask |= (uint64(^v) >> 63) << (j*tileSide + i)
			v += column
		}
		value += row
	}
	return mask
}
