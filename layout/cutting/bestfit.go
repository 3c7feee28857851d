package cutting

import (
	"cmp"
	"slices"
	"sort"
)

// bestFit packs the longest piece first, each into the open stick it fills
// most, and opens the stick that costs least for its length where none has room:
// best-fit decreasing. Piece by piece it is fast, however many there are.
func (in *instance) bestFit() packing {
	var out packing
	open := openSticks{}
	for k, w := range in.sizes {
		for range in.counts[k] {
			i, room, ok := open.tightest(w)
			if !ok {
				s := in.cheapest(w)
				i, room = len(out.fills), in.stocks[s].Length
				out.add(in, fill{stock: s})
			}
			out.fills[i].add(k, w)
			open.put(room-w, i)
		}
	}
	return out
}

func (f *fill) add(size int, length int64) {
	f.used += length
	if n := len(f.cuts); n > 0 && f.cuts[n-1].size == size {
		f.cuts[n-1].n++
		return
	}
	f.cuts = append(f.cuts, cut{size, 1})
}

// cheapest returns the stock that holds w and costs least for its length.
func (in *instance) cheapest(w int64) int {
	best := -1
	for s, stock := range in.stocks {
		if stock.Length < w {
			continue
		}
		if best < 0 || stock.Cost*in.stocks[best].Length < in.stocks[best].Cost*stock.Length {
			best = s
		}
	}
	return best
}

// openSticks are the sticks with room left, by room.
type openSticks struct{ rooms []roomy }

type roomy struct {
	room   int64
	sticks []int // the last opened goes first
}

// tightest takes out the stick with the least room that is enough.
func (o *openSticks) tightest(w int64) (stick int, room int64, ok bool) {
	i := sort.Search(len(o.rooms), func(i int) bool { return o.rooms[i].room >= w })
	if i == len(o.rooms) {
		return 0, 0, false
	}
	r := &o.rooms[i]
	room, stick = r.room, r.sticks[len(r.sticks)-1]
	if r.sticks = r.sticks[:len(r.sticks)-1]; len(r.sticks) == 0 {
		o.rooms = slices.Delete(o.rooms, i, i+1)
	}
	return stick, room, true
}

func (o *openSticks) put(room int64, stick int) {
	if room == 0 {
		return
	}
	i, found := slices.BinarySearchFunc(o.rooms, room, func(r roomy, room int64) int { return cmp.Compare(r.room, room) })
	if !found {
		o.rooms = slices.Insert(o.rooms, i, roomy{room: room})
	}
	o.rooms[i].sticks = append(o.rooms[i].sticks, stick)
}
