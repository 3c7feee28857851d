package certify

import (
	"cmp"
	"math"
	"slices"

	"lotwright/layout"
	"lotwright/layout/geom"
)

// limit rounds the program's weights down to whole numbers and returns the
// most one head may wet for them to prove the claim.
func (p *prover) limit() int64 {
	weights, sum := make([]int64, len(p.share)), int64(0)
	for i := range weights {
		weights[i] = int64(math.Max(0, p.lp.Value(i)) * weightScale)
		sum += weights[i]
	}
	p.search.setWeights(weights)
	return (sum - p.dry() - 1) / int64(p.heads-1)
}

// dry returns the most weight that can stay dry: that of the densest cells
// with the area that may, the last one in part, rounded up.
func (p *prover) dry() int64 {
	cells := p.search.viewer.grid.cells
	left := dryArea(p.site.Lawn, targetPPM(p.site.Target))
	order := make([]int, 0, len(cells))
	for i, w := range p.search.weights {
		if w > 0 {
			order = append(order, i)
		}
	}
	slices.SortFunc(order, func(a, b int) int {
		da, db := p.search.weights[a]*cells[b].area, p.search.weights[b]*cells[a].area
		return cmp.Or(cmp.Compare(db, da), cmp.Compare(a, b))
	})
	sum := int64(0)
	for _, i := range order {
		w, area := p.search.weights[i], cells[i].area
		if area > left {
			return sum + (w*left+area-1)/area
		}
		sum += w
		left -= area
	}
	return sum
}

// targetPPM returns τ in millionths, rounded down: what cannot be reached for
// it cannot be reached for τ.
func targetPPM(target float64) int64 { return int64(math.Floor(target*1e6 + 1e-6)) }

const million = 1_000_000

// dryArea returns the area in mm² that may stay dry, rounded up.
func dryArea(lawn geom.Region, ppm int64) int64 {
	if ppm == million {
		return 0
	}
	return lawn.Area2()/2*(million-ppm)/million + 2
}

// publish fills in the certificate.
func (p *prover) publish(limit int64) {
	c := &layout.Certificate{Heads: p.heads, TargetPPM: targetPPM(p.site.Target), ThrowMM: p.site.ThrowMM,
		CellMM: p.search.viewer.grid.cellMM, AtomMM: p.search.viewer.grid.atomMM, Blockers: p.extra, Most: limit}
	for i, w := range p.search.weights {
		if w > 0 {
			c.Cells = append(c.Cells, layout.CertificateCell{Min: p.search.viewer.grid.cells[i].min, Weight: w})
		}
	}
	p.result.Certificate = c
}
