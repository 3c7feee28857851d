package plat

// house is a footprint with what belongs to it, in a lot's frame. Its garage is
// at the right until it is mirrored.
type house struct {
	outline []XY
	garage  []XY // the ends of the garage door
	door    XY   // middle of the front door
	bed     []XY // along the front wall, away from the garage
	rear    XY   // the place on the rear wall where a patio is joined
	tap     XY   // on the side wall away from the garage
}

// form draws a footprint of the given width and depth of body, the most
// forward wall of the garage at V = 0.
type form func(width, depth float64) house

const (
	garageWidth = 6.2
	garageDoor  = 5.0
	bedDepth    = 1.3
	bedFromDoor = 0.9
	tapOffWall  = 0.15
)

// finished adds to a form what all forms have alike.
func finished(outline []XY, door, rear XY) house {
	left, right := outline[0].X, -outline[0].X
	front, jamb := outline[0].Y, (garageWidth-garageDoor)/2
	bedEnd := min(outline[1].X, door.X-bedFromDoor)
	return house{
		outline: outline,
		garage:  []XY{{right - garageWidth + jamb, 0}, {right - jamb, 0}},
		door:    door,
		bed:     []XY{{left, front - bedDepth}, {bedEnd, front - bedDepth}, {bedEnd, front}, {left, front}},
		rear:    rear,
		tap:     XY{left - tapOffWall, front + 1.5},
	}
}

// formL: the garage stands before the body.
func formL(w, d float64) house {
	r, step := w/2, 2.6
	g := r - garageWidth
	return finished([]XY{{-r, step}, {g, step}, {g, 0}, {r, 0}, {r, step + d}, {-r, step + d}},
		XY{g - 1.6, step}, XY{-r / 3, step + d})
}

// formT: a wing runs back from the middle of the body.
func formT(w, d float64) house {
	r, wing, back := w/2, w*0.2, 4.2
	return finished([]XY{{-r, 0}, {r, 0}, {r, d}, {wing, d}, {wing, d + back}, {-wing, d + back}, {-wing, d}, {-r, d}},
		XY{r - garageWidth - 1.6, 0}, XY{-(r + wing) / 2, d})
}

// formU: the garage and a room on the other side stand before the body, with a
// court between them.
func formU(w, d float64) house {
	r, step, more := w/2, 3.2, 0.8
	g, room := r-garageWidth, -r+w*0.27
	return finished([]XY{{-r, more}, {room, more}, {room, step}, {g, step}, {g, 0}, {r, 0}, {r, step + d}, {-r, step + d}},
		XY{(room + g) / 2, step}, XY{0, step + d})
}

// formZ: body and garage are shifted against each other, front and rear.
func formZ(w, d float64) house {
	r, step := w/2, 1.8
	g := r - garageWidth
	return finished([]XY{{-r, step}, {g, step}, {g, 0}, {r, 0}, {r, d - 1.4}, {g, d - 1.4}, {g, d + step}, {-r, d + step}},
		XY{g - 1.5, step}, XY{-garageWidth / 2, d + step})
}

// formCourt: a U open to the rear, its wings embracing a patio.
func formCourt(w, d float64) house {
	r, wing, back := w/2, w*0.3, 3.6
	return finished([]XY{{-r, 0}, {r, 0}, {r, d}, {r - wing, d}, {r - wing, d - back}, {-r + wing, d - back}, {-r + wing, d}, {-r, d}},
		XY{r - garageWidth - 1.6, 0}, XY{0, d - back})
}

// each returns h with every place put through change.
func (h house) each(change func(XY) XY) house {
	all := func(ps []XY) []XY {
		out := make([]XY, len(ps))
		for i, p := range ps {
			out[i] = change(p)
		}
		return out
	}
	return house{all(h.outline), all(h.garage), change(h.door), all(h.bed), change(h.rear), change(h.tap)}
}

// mirrored swaps left and right.
func (h house) mirrored() house { return h.each(func(p XY) XY { return XY{-p.X, p.Y} }) }

// moved sets the house along the street and back from it.
func (h house) moved(by XY) house { return h.each(by.add) }
