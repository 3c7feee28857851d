package plat

func onArcSouth(deg float64) frame {
	return frame{polar(arcRadius+halfRight, deg), direction(deg - 90)}
}
func onArcNorth(deg float64) frame { return frame{polar(northFront, deg), direction(deg + 90)} }
func onBulb(deg float64) frame     { return frame{ray(deg, bulbRight), direction(deg)} }
func onCourt(side, y float64) frame {
	return frame{XY{side * halfRight, y}, XY{side, 0}}
}

// plans returns how each lot is built on, in order of lot numbers.
func plans() []plan {
	var out []plan
	for _, group := range [][]plan{southPlans(), eastPlans(), bulbPlans(), westPlans()} {
		out = append(out, group...)
	}
	return out
}

func southPlans() []plan {
	return []plan{
		{lot: 1, frame: onArcSouth(-18.75), form: formL, width: 15, depth: 9.5, setback: 7.2, patio: XY{5, 3.5}, extras: func(y yard) {
			y.rect("building", XY{-11.5, 25.5}, XY{-8.5, 28}) // shed
			y.polygon("bed", ellipse(XY{5, 24}, 2.6, 1.7, 16)...)
			y.point("tree", XY{9, 26})
		}},
		{lot: 2, frame: onArcSouth(-13.6), form: formT, width: 15, depth: 9, setback: 6.8, mirror: true, walk: toStreet, patio: XY{4, 3.5}, extras: func(y yard) {
			y.point("tree", XY{-7, 26})
			y.point("tree", XY{3, 28})
			left, _, v := y.garageEdges()
			y.line("sleeve", XY{left - 0.5, v - 3}, XY{y.house.door.X + 1.2, v - 3}) // under drive and walk
		}},
		{lot: 3, frame: onArcSouth(-8.2), form: formU, width: 18, depth: 9.5, setback: 7.5, patio: XY{9, 3.2}, extras: func(y yard) {
			y.pool([]XY{{-4, 26}, {4, 26}, {4, 30}, {-4, 30}}, XY{0, 28}, 1.7)
			y.rect("bed", XY{-14, 33.5}, XY{13, 35})
			y.rect("building", XY{9, 27}, XY{12, 30})
		}},
		{lot: 4, frame: onArcSouth(-2.9), form: formZ, width: 14.4, depth: 10.5, setback: 7, patio: XY{4.5, 3}, extras: func(y yard) {
			y.point("controller", XY{y.house.garage[1].X + 0.75, 9})
			y.polygon("bed", ellipse(XY{-5, 26.5}, 2.2, 2.2, 14)...)
			y.point("tree", XY{-5, 26.5})
			y.point("tree", XY{6, 28})
		}},
		{lot: 5, frame: onArcSouth(1.85), form: formL, width: 14.6, depth: 9, setback: 6.6, mirror: true, patio: XY{5, 3.2}, extras: sideStrip},
		{lot: 6, frame: onArcSouth(6.75), form: formCourt, width: 15.4, depth: 10.4, setback: 7, walk: toStreet, patio: XY{5.4, 5.2}, extras: func(y yard) {
			y.rect("bed", XY{-10, 26.3}, XY{10, 27.8})
			y.point("tree", XY{-7.5, 24})
		}},
		{lot: 7, frame: onArcSouth(12.3), form: formU, width: 18.4, depth: 10.5, setback: 8, mirror: true, patio: XY{7, 3}, extras: func(y yard) {
			y.pool(ellipse(XY{-4, 29}, 4.4, 2.6, 24), XY{-4, 29}, 1.4)
			y.rect("building", XY{9.4, 23.4}, XY{12.6, 26.6})
			y.polygon("bed", XY{-14, 10}, XY{-12.5, 10}, XY{-12.2, 21}, XY{-14.2, 21})
			y.point("tree", XY{5, 27})
			y.point("tree", XY{-13.2, 16})
		}},
	}
}

// sideStrip lays a walk along the lot line of lot 5 that leaves a strip of lawn
// too narrow to water.
func sideStrip(y yard) {
	const strip, from, to = 0.45, 7.5, 19.0
	front, rear := polar(arcRadius+halfRight, -0.6), polar(298, -0.6)
	along := rear.sub(front).times(1 / rear.sub(front).norm())
	inward := XY{-along.Y, along.X}
	at := func(v, off float64) XY { return front.add(along.times(v)).add(inward.times(off)) }
	y.add("hardscape", Polygon, []XY{at(to, strip), at(to, strip+1), at(from, strip+1), at(from, strip)}, lotID(y.lot))
	y.point("tree", XY{-6, 24})
}

func eastPlans() []plan {
	return []plan{
		{lot: 8, frame: onArcNorth(14.5), form: formT, width: 15, depth: 9.5, setback: 8, patio: XY{4, 4}, extras: func(y yard) {
			y.rect("building", XY{-16.4, 34}, XY{-13, 37.4}) // barn in the leg of the L
			y.polygon("bed", ellipse(XY{-6, 41}, 2.4, 1.6, 16)...)
			y.point("tree", XY{4, 36})
			y.polygon("tree", circle(XY{-3.5, 31}, 2.2, 12)...)
		}},
		{lot: 9, frame: onArcNorth(9.75), form: formL, width: 12.6, depth: 7.6, setback: 6.2, patio: XY{4.2, 3}, noTap: true},
		{lot: 10, frame: onCourt(+1, 24.6), form: formZ, width: 14, depth: 7.8, setback: 6.3, patio: XY{4.4, 3}, extras: func(y yard) {
			y.polygon("bed", XY{6, 2.4}, XY{9.2, 3.4}, XY{7.4, 5.8})
			y.point("tree", XY{-9.5, 12})
		}},
		{lot: 11, frame: onCourt(+1, 47), form: formL, width: 14, depth: 8.6, setback: 6.4, mirror: true, patio: XY{4.6, 3.2}, extras: func(y yard) {
			y.point("controller", XY{y.house.garage[1].X - 0.75, 9})
			y.point("tree", XY{4, 23})
		}},
		{lot: 12, frame: onCourt(+1, 68.3), form: formT, width: 15, depth: 9, setback: 6.8, mirror: true, patio: XY{4.2, 4}, extras: func(y yard) {
			y.rect("building", XY{-10.5, 23}, XY{-7.5, 25.5})
			y.point("tree", XY{-13, 12})
			y.point("tree", XY{7, 22})
		}},
	}
}

func bulbPlans() []plan {
	return []plan{
		{lot: 13, frame: onBulb(-7.5), form: formZ, width: 13.8, depth: 8.2, setback: 7.2, apron: apron{1.4, 4.9, bulbKerbV}, patio: XY{4.6, 3}, noTap: true, extras: func(y yard) {
			y.point("tree", XY{5, 21})
		}},
		{lot: 14, frame: onBulb(41.5), form: formCourt, width: 15.4, depth: 10, setback: 8.4, apron: apron{1.4, 4.9, bulbKerbV}, patio: XY{5.6, 5}, extras: func(y yard) {
			y.polygon("bed", XY{-9, 29}, XY{0, 31.5}, XY{0, 33}, XY{-9, 31})
			y.point("tree", XY{8, 25})
			y.point("tree", XY{-7, 25})
		}},
		{lot: 15, frame: onBulb(91), form: formU, width: 16.8, depth: 9.5, setback: 8.6, mirror: true, apron: apron{-4.9, -1.4, bulbKerbV}, patio: XY{8, 3}, extras: func(y yard) {
			y.pool(circle(XY{1, 29.5}, 3.3, 8), XY{1, 29.5}, 1.5)
			y.rect("building", XY{-15, 32}, XY{-11.5, 35})
			y.point("tree", XY{13, 33})
			y.polygon("tree", circle(XY{-12, 24}, 2.6, 12)...)
		}},
		{lot: 16, frame: onBulb(139.5), form: formL, width: 14.6, depth: 9.4, setback: 7.6, apron: apron{1.4, 4.9, bulbKerbV}, patio: XY{5, 3.4}, extras: meadowLot},
		{lot: 17, frame: onBulb(187.5), form: formT, width: 14, depth: 8.4, setback: 7.4, mirror: true, apron: apron{-4.9, -1.4, bulbKerbV}, patio: XY{3.8, 3.4}, extras: func(y yard) {
			y.point("tree", XY{-6, 23})
			y.point("tree", XY{8, 22})
		}},
	}
}

// meadowLot draws the lawn of lot 16 itself: the rest of the lot is meadow.
func meadowLot(y yard) {
	y.polygon("turf", XY{-8.8, 7.4}, XY{-5.6, 0.8}, XY{0.9, 0.4}, XY{1.2, 9}, XY{-7.2, 9.2})
	edge := ellipse(XY{-1, 19.5}, 11.5, 9, 40)[:21] // the mown edge of the rear lawn
	y.polygon("turf", append(edge, XY{-10.4, 11.5}, XY{9.8, 11.5})...)
	y.polygon("bed", ellipse(XY{7, 23.4}, 1.8, 1.2, 14)...)
	y.point("tree", XY{-9, 31})
	y.point("tree", XY{2, 31.5})
}

func westPlans() []plan {
	return []plan{
		{lot: 18, frame: onCourt(-1, 71), form: formU, width: 17, depth: 9.5, setback: 7, patio: XY{8, 3.4}, extras: func(y yard) {
			y.rect("building", XY{-10.8, 27}, XY{-7.6, 30})
			y.polygon("bed", ellipse(XY{4, 26}, 3, 2, 18)...)
			y.point("tree", XY{4, 26})
		}},
		{lot: 19, frame: onCourt(-1, 47.7), form: formL, width: 13.6, depth: 9, setback: 6.5, mirror: true, patio: XY{4.8, 3.4}, extras: func(y yard) {
			y.point("tree", XY{-5, 27})
			y.point("tree", XY{5, 24})
		}},
		{lot: 20, frame: onArcNorth(-5.9), form: formL, width: 13.4, depth: 8.4, setback: 6.8, shift: -0.6, mirror: true, patio: XY{4.6, 3}, extras: func(y yard) {
			y.polygon("bed", XY{9.6, 5.5}, XY{12, 8}, XY{10.2, 11.5}, XY{8.6, 8})
			y.point("tree", XY{10.3, 20})
		}},
		{lot: 21, frame: onArcNorth(-10.6), form: formZ, width: 13.6, depth: 8.4, setback: 6.2, patio: XY{4.4, 3}, extras: func(y yard) {
			y.line("wall", XY{-9.2, 22.6}, XY{-2, 23.1}, XY{3.4, 22.3}, XY{8.6, 22.6}) // retaining wall
			y.point("tree", XY{-6, 25})
		}},
		{lot: 22, frame: onArcNorth(-15.5), form: formT, width: 14, depth: 7.6, setback: 6.2, mirror: true, patio: XY{3.8, 3.2}, noTap: true, extras: func(y yard) {
			y.point("tree", XY{8, 22})
		}},
		flagPlan(),
		{lot: 24, frame: onArcNorth(-22), form: formL, width: 14.4, depth: 9, setback: 7, patio: XY{5, 3.2}, extras: func(y yard) {
			left, right, v := y.garageEdges()
			y.line("sleeve", XY{left - 0.5, v - 2.6}, XY{right + 0.5, v - 2.6})
			y.polygon("bed", ellipse(XY{-5.5, 25}, 2.4, 1.6, 16)...)
			y.point("tree", XY{6, 26})
		}},
	}
}

// flagPlan: lot 23 behind its neighbours, its drive along the pole.
func flagPlan() plan {
	return plan{lot: 23, frame: onArcNorth(-18.7), form: formL, width: 16, depth: 10, setback: 38, shift: 5.0, mirror: true,
		apron: apron{-1.7, 1.7, kerbV}, patio: XY{6, 4}, extras: func(y yard) {
			y.line("sleeve", XY{-2.3, 8}, XY{2.3, 8})
			y.rect("building", XY{22, 40}, XY{25.5, 43.5})
			y.polygon("bed", ellipse(XY{17, 37}, 2.6, 1.8, 16)...)
			y.point("tree", XY{19, 31})
			y.point("tree", XY{17, 50})
		}}
}
