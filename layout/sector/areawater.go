package sector

// areaWater is the water on an area of the lawn, as field keeps it for the whole.
type areaWater struct {
	cells []int32
	level int32
	lack  int64
	sum   int64
}

// setAreas finds out which area each cell lies in: where it lies in none, the
// one after the last.
func (p *problem) setAreas() {
	if len(p.site.Areas) == 0 {
		return
	}
	p.areaOf = make([]int32, len(p.grid.at))
	for c, at := range p.grid.at {
		i := 0
		for i < len(p.site.Areas) && !p.site.Areas[i].Ground.Has(at) {
			i++
		}
		p.areaOf[c] = int32(i)
	}
}

// areaWaters lists the areas, dry; nil where there are none.
func (p *problem) areaWaters() []areaWater {
	if p.areaOf == nil {
		return nil
	}
	out := make([]areaWater, len(p.site.Areas)+1)
	for c, i := range p.areaOf {
		out[i].cells = append(out[i].cells, int32(c))
	}
	return out
}

// soakAreas adds the water of a head of radius r on the cells to their areas, or
// takes it away, before the same is done for the whole lawn.
func (f *field) soakAreas(cells []nearCell, r *radius, sign int32) {
	for _, c := range cells {
		if c.steps > r.reach {
			continue
		}
		a, depth, w := &f.areas[f.p.areaOf[c.index]], f.on[c.index].depth, sign*r.rates[c.steps]
		a.lack += int64(max(a.level-depth-w, 0) - max(a.level-depth, 0))
		a.sum += int64(w)
	}
}

// relevelAreas sets the levels of the areas as [field.relevel] does that of the
// whole.
func (f *field) relevelAreas() {
	for i := range f.areas {
		a := &f.areas[i]
		if len(a.cells) == 0 {
			continue
		}
		depths := f.depths[:len(a.cells)]
		for k, c := range a.cells {
			depths[k] = f.on[c].depth
		}
		a.level, a.lack = nth(depths, (len(depths)+3)/4-1), 0
		for _, c := range a.cells {
			a.lack += int64(max(a.level-f.on[c].depth, 0))
		}
	}
}

// du returns DU_lq of the area, or less where the level is out of date; 1 for an
// area without a cell.
func (a *areaWater) du() float64 {
	switch n := int64(len(a.cells)); {
	case n == 0:
		return 1
	case a.sum == 0:
		return 0
	default:
		return float64(n*int64(a.level)-4*a.lack) / float64(a.sum)
	}
}

// areaDU returns DU_lq of each area.
func (f *field) areaDU() (out []float64) {
	for i := range f.p.site.Areas {
		out = append(out, f.areas[i].du())
	}
	return out
}

// setAreaGoals sets what each area's DU_lq must reach, its target and a margin.
func (s *search) setAreaGoals(margin float64) {
	s.areaGoals = s.areaGoals[:0]
	for _, a := range s.p.site.Areas {
		s.areaGoals = append(s.areaGoals, a.UniformityTarget+margin)
	}
}

// missedByAreas is the mean of what the areas miss their goals by.
func (s *search) missedByAreas() float64 {
	sum := 0.0
	for i, goal := range s.areaGoals {
		sum += max(0, goal-s.field.areas[i].du())
	}
	return sum / float64(max(1, len(s.areaGoals)))
}
