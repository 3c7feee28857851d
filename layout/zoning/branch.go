package zoning

// brancher packs items, the largest first, bin by bin: the first item left goes
// into the next bin, together with every set of others that can be of use (bin
// completion, Korf 2002).
type brancher struct {
	sizes []int64 // falling
	limit int64
	nodes int // left to spend; one for each item weighed
	spent int

	used   []bool // items placed
	bins   [][]int
	failed map[string]int // items left that do not fit so many bins
}

// into looks for a packing into so many bins. Without one, done tells whether
// there is none.
func (b *brancher) into(bins int) (packed [][]int, done bool) {
	b.used = make([]bool, len(b.sizes))
	b.failed = make(map[string]int)
	b.bins = nil
	if b.rest(bins) {
		return b.bins, true
	}
	return nil, b.spent < b.nodes
}

// rest packs the items left into so many bins, and reports whether it could.
//
//  1. Where the bound says no, or the same items were left before with as many
//     bins, there is no need to try.
//  2. The first item left is put into the next bin, and [brancher.fill] tries
//     what to put beside it.
func (b *brancher) rest(bins int) bool {
	left, sizes := b.left()
	if len(left) == 0 {
		return true
	}
	key := b.key()
	if bins <= b.failed[key] || boundL2(sizes, b.limit) > bins {
		return false
	}
	f := filling{b: b, left: left, bins: bins, spare: int64(bins) * b.limit, after: make([]int64, len(left)+1)}
	for k := len(left) - 1; k >= 0; k-- {
		f.after[k] = f.after[k+1] + sizes[k]
	}
	f.spare -= f.after[0]
	if f.with(0, b.limit, none) {
		return true
	}
	if b.spent < b.nodes {
		b.failed[key] = bins
	}
	return false
}

// left lists the items not placed, with their sizes.
func (b *brancher) left() (items []int, sizes []int64) {
	for k, used := range b.used {
		if !used {
			items, sizes = append(items, k), append(sizes, b.sizes[k])
		}
	}
	return items, sizes
}

// key names the items left. Of equal items the first are always placed first.
func (b *brancher) key() string {
	key := make([]byte, len(b.used))
	for k, used := range b.used {
		if used {
			key[k] = 1
		}
	}
	return string(key)
}

// filling is what is put into one bin.
type filling struct {
	b     *brancher
	left  []int
	bins  int
	spare int64   // room that may be wasted in all bins together
	after []int64 // size of left[k:] together
	bin   []int
}

// none is larger than any item.
const none = int64(1) << 62

// fill decides about the items left[k:], given the room in the bin and the
// smallest item left out so far (the last: sizes fall).
//
//  1. A bin that cannot be filled up to what may be wasted is of no use.
//  2. Nor is one that would take an item left out: with it, less is left for
//     the other bins.
//  3. Of equal items the first are taken: with one, all after it are left out.
func (f *filling) fill(k int, room, out int64) bool {
	if f.b.spent >= f.b.nodes || room-f.after[k] > f.spare {
		return false
	}
	f.b.spent++
	if k == len(f.left) || room == 0 {
		return room < out && f.next()
	}
	size := f.b.sizes[f.left[k]]
	if size <= room && f.with(k, room, out) {
		return true
	}
	next := k
	for next < len(f.left) && f.b.sizes[f.left[next]] == size {
		next++
	}
	return f.fill(next, room, size)
}

// with puts left[k] into the bin.
func (f *filling) with(k int, room, out int64) bool {
	item := f.left[k]
	f.bin = append(f.bin, item)
	f.b.used[item] = true
	if f.fill(k+1, room-f.b.sizes[item], out) {
		return true
	}
	f.b.used[item] = false
	f.bin = f.bin[:len(f.bin)-1]
	return false
}

// next closes the bin and packs the rest.
func (f *filling) next() bool {
	f.b.bins = append(f.b.bins, append([]int(nil), f.bin...))
	if f.b.rest(f.bins - 1) {
		return true
	}
	f.b.bins = f.b.bins[:len(f.b.bins)-1]
	return false
}
