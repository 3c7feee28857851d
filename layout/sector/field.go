package sector

// head is a sector in the terms of the search.
type head struct {
	spot int32
	k    int16 // radius
	arc
}

// water is what has fallen on a cell.
type water struct {
	depth int32
	times int32 // heads that reach it
}

// field is the water on the lawn, kept up to date as heads come and go.
type field struct {
	p       *problem
	on      []water // by cell
	level   int32   // t of the package comment
	lack    int64   // Σ max(0, t − depth)
	sum     int64   // Σ depth
	covered int64   // cells reached
	over    float64 // overspray, m²; for comparison only
	depths  []int32 // scratch

	areas []areaWater // of each of the site's areas, and of what is in none
}

func newField(p *problem) *field {
	return &field{p: p, on: make([]water, len(p.grid.at)), depths: make([]int32, len(p.grid.at)), areas: p.areaWaters()}
}

// put adds the water of h.
func (f *field) put(h head) {
	r := &f.p.radii[h.k]
	first, second := f.p.outlook(h.spot).swept(h.arc)
	f.soak(first, r)
	f.soak(second, r)
	f.over += float64(h.sum(&f.p.spots[h.spot].throws[h.k].over))
}

// take removes the water of h.
func (f *field) take(h head) {
	r := &f.p.radii[h.k]
	first, second := f.p.outlook(h.spot).swept(h.arc)
	f.dry(first, r)
	f.dry(second, r)
	f.over -= float64(h.sum(&f.p.spots[h.spot].throws[h.k].over))
}

// swept returns the cells in the bins of a, in two runs when it passes north.
func (o *outlook) swept(a arc) (first, second []nearCell) {
	from, to := int(a.start), int(a.start)+int(a.sweep)
	if to <= turn {
		return o.cells[o.of[from]:o.of[to]], nil
	}
	return o.cells[o.of[from]:], o.cells[:o.of[to-turn]]
}

// soak adds the water of a head of radius r to the cells. This loop and the
// next take most of the time of a placement; they do without branches on depth.
func (f *field) soak(cells []nearCell, r *radius) {
	if f.areas != nil {
		f.soakAreas(cells, r, 1)
	}
	level, on, rates, reach := f.level, f.on, r.rates, r.reach
	var lack, sum, covered int64
	for _, c := range cells {
		if c.steps > reach {
			continue
		}
		w, o := rates[c.steps], &on[c.index]
		lack += int64(max(level-o.depth-w, 0) - max(level-o.depth, 0))
		sum += int64(w)
		covered += onlyOne(o.times + 1)
		o.depth += w
		o.times++
	}
	f.lack, f.sum, f.covered = f.lack+lack, f.sum+sum, f.covered+covered
}

// dry undoes soak.
func (f *field) dry(cells []nearCell, r *radius) {
	if f.areas != nil {
		f.soakAreas(cells, r, -1)
	}
	level, on, rates, reach := f.level, f.on, r.rates, r.reach
	var lack, sum, covered int64
	for _, c := range cells {
		if c.steps > reach {
			continue
		}
		w, o := rates[c.steps], &on[c.index]
		lack += int64(max(level-o.depth+w, 0) - max(level-o.depth, 0))
		sum += int64(w)
		covered += onlyOne(o.times)
		o.depth -= w
		o.times--
	}
	f.lack, f.sum, f.covered = f.lack+lack, f.sum-sum, f.covered-covered
}

// onlyOne is 1 for n = 1 and 0 for larger n.
func onlyOne(n int32) int64 { return int64(uint32(n-2) >> 31) }

// relevel sets the level to the upper end of the driest quarter, where the
// figure for DU_lq is exact.
func (f *field) relevel() {
	for i := range f.on {
		f.depths[i] = f.on[i].depth
	}
	n := (len(f.depths) + 3) / 4
	f.setLevel(nth(f.depths, n-1))
	f.relevelAreas()
}

func (f *field) setLevel(level int32) {
	f.level, f.lack = level, 0
	for i := range f.on {
		f.lack += int64(max(level-f.on[i].depth, 0))
	}
}

// du returns DU_lq, or less where the level is out of date.
func (f *field) du() float64 {
	if f.sum == 0 {
		return 0
	}
	n := int64(len(f.on))
	return float64(n*int64(f.level)-4*f.lack) / float64(f.sum)
}

func (f *field) coverage() float64 { return float64(f.covered) / float64(len(f.on)) }
