package plat

import "math"

// walk is where the front walk leads.
type walk int

const (
	toDrive walk = iota
	toStreet
)

// plan says how one lot is built on.
type plan struct {
	lot     int
	frame   frame
	form    form
	width   float64 // of the house
	depth   float64 // of its body
	setback float64 // of its garage from the front line
	shift   float64 // of its middle to the right
	mirror  bool
	apron   apron
	walk    walk
	patio   XY // width and depth
	noTap   bool
	extras  func(yard)
}

// apron is the street end of a drive: its left and right edge and how far out
// it lies. The zero apron runs straight to the kerb.
type apron struct{ left, right, v float64 }

const (
	kerbV     = -4.2 // just past the kerb of Withy Arc and Teasel Court
	bulbKerbV = -5.2 // the same around the bulb, off the axis

	straightDrive = 4.5 // before the garage, before a drive narrows
	walkWidth     = 1.2
	walkFromWall  = 0.8
	walkIntoDrive = 0.2
)

// yard is a lot while it is built on, in its own frame.
type yard struct {
	drawing
	plan
	house house
}

func (d drawing) build(p plan) {
	h := p.form(p.width+d.between(-0.3, 0.3), p.depth+d.between(-0.3, 0.3))
	if p.mirror {
		h = h.mirrored()
	}
	y := yard{d, p, h.moved(XY{p.shift, p.setback + d.between(-0.3, 0.3)})}
	y.polygon("building", y.house.outline...)
	y.drive()
	y.frontWalk()
	y.patioBehind()
	y.polygon("bed", y.house.bed...)
	y.trees()
	if !p.noTap {
		y.point("source", y.house.tap)
	}
	if p.extras != nil {
		p.extras(y)
	}
}

func (y yard) polygon(layer string, uv ...XY) {
	ring := y.frame.all(uv...)
	if area(ring) < 0 {
		ring = backwards(ring)
	}
	y.add(layer, Polygon, ring, lotID(y.lot))
}

// rect draws a rectangle between two opposite corners.
func (y yard) rect(layer string, a, b XY) {
	y.polygon(layer, a, XY{b.X, a.Y}, b, XY{a.X, b.Y})
}

func (y yard) line(layer string, uv ...XY) {
	y.add(layer, Line, y.frame.all(uv...), lotID(y.lot))
}

func (y yard) point(layer string, uv XY) {
	y.add(layer, Point, y.frame.all(uv), lotID(y.lot))
}

// garageEdges returns the left and right edge of the garage door and its V.
func (y yard) garageEdges() (left, right, v float64) {
	a, b := y.house.garage[0], y.house.garage[1]
	return min(a.X, b.X), max(a.X, b.X), a.Y
}

func (y yard) drive() {
	left, right, v := y.garageEdges()
	a := y.apron
	if a == (apron{}) {
		a = apron{left, right, kerbV}
	}
	bend := max(v-straightDrive, a.v+0.5)
	y.polygon("hardscape", XY{left, v}, XY{left, bend}, XY{a.left, a.v}, XY{a.right, a.v}, XY{right, bend}, XY{right, v})
}

// frontWalk runs from the door, past the garage's front, to the drive or
// straight to the street.
func (y yard) frontWalk() {
	door, half := y.house.door, walkWidth/2
	if y.walk == toStreet {
		y.rect("hardscape", XY{door.X - half, -1}, XY{door.X + half, door.Y})
		return
	}
	left, right, v := y.garageEdges()
	near, far := v-walkFromWall, v-walkFromWall-walkWidth
	end, side := left+walkIntoDrive, 1.0
	if door.X > right {
		end, side = right-walkIntoDrive, -1
	}
	y.polygon("hardscape", XY{door.X - side*half, door.Y}, XY{door.X - side*half, far}, XY{end, far}, XY{end, near},
		XY{door.X + side*half, near}, XY{door.X + side*half, door.Y})
}

func (y yard) patioBehind() {
	if y.patio == (XY{}) {
		return
	}
	p, half := y.house.rear, y.patio.X/2
	y.rect("hardscape", XY{p.X - half, p.Y}, XY{p.X + half, p.Y + y.patio.Y})
}

// trees stands one in the front yard, on the side away from the drive.
func (y yard) trees() {
	left, right, _ := y.garageEdges()
	away := math.Copysign(1, y.shift-(left+right)/2)
	fromHouse := y.setback - min(4.2, y.setback/1.7)
	y.point("tree", XY{y.shift + away*y.width/2*y.between(0.4, 0.7), fromHouse + y.between(-0.4, 0.4)})
}

// pool lays a pool with a deck around it.
func (y yard) pool(ring []XY, centre XY, deck float64) {
	around := make([]XY, len(ring))
	for i, p := range ring {
		out := p.sub(centre)
		around[i] = p.add(out.times(deck / out.norm()))
	}
	y.polygon("hardscape", around...)
	y.polygon("water", ring...)
}

// ellipse returns corners of an ellipse.
func ellipse(centre XY, a, b float64, corners int) []XY {
	out := circle(XY{}, 1, corners)
	for i, p := range out {
		out[i] = centre.add(XY{p.X * a, p.Y * b})
	}
	return out
}
