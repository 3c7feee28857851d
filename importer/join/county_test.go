package join_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
)

// county is made-up ground as two offices drew it: parcels by the one, buildings
// by the other, up to 0.7 m off.
type county struct {
	parcels, buildings set
	truth              [][]int // the parcels that each building is on
	areas              []float64
	random             *rand.Rand
}

// building adds a box about a middle, turned by an angle.
func (c *county) building(x, y, wide, deep, turned float64, on ...int) {
	x, y = x+0.4+0.3*(2*c.random.Float64()-1), y-0.3+0.3*(2*c.random.Float64()-1)
	sin, cos := math.Sincos(turned)
	var xy []float64
	for _, corner := range [][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}, {-1, -1}} {
		u, v := corner[0]*wide/2, corner[1]*deep/2
		xy = append(xy, x+u*cos-v*sin, y+u*sin+v*cos)
	}
	c.buildings = append(c.buildings, feature("Polygon", xy...))
	c.truth, c.areas = append(c.truth, on), append(c.areas, wide*deep)
}

// newCounty has rows of parcels of 25 by 40 m with a house each, a shed 0.6 m from
// the line on every fourth, and now and then a house of two halves.
func newCounty(rows, columns int) *county {
	c := &county{random: rand.New(rand.NewPCG(7, 0))}
	for row := range rows {
		for column := range columns {
			x, y, i := 25*float64(column), 40*float64(row), len(c.parcels)
			c.parcels = append(c.parcels, box(x, y, x+25, y+40))
			switch {
			case column%20 == 0:
				c.building(x+25, y+20, 16, 12, 0, i, i+1)
			case column%20 > 1:
				c.building(x+12.5, y+22, 12, 15, 0.2*(2*c.random.Float64()-1), i)
			}
			if i%4 == 0 {
				c.building(x+2.1, y+4, 3, 2, 0, i)
			}
		}
	}
	return c
}

// TestJoinCounty: of what stands on one parcel 99 % by area is joined to it and to
// no other, and every roof that two parcels share is joined to both and listed.
func TestJoinCounty(t *testing.T) {
	c := newCounty(105, 40)
	matches, rules := match(t, c.parcels, c.buildings)
	found := make([][]int, len(c.buildings))
	for _, m := range matches {
		found[m.Feature] = append(found[m.Feature], m.Parcel)
	}
	var right, all float64
	shared := 0
	for i, truth := range c.truth {
		slices.Sort(found[i])
		if len(truth) == 2 {
			shared++
			assert.Equal(t, truth, found[i])
			continue
		}
		all += c.areas[i]
		if slices.Equal(truth, found[i]) {
			right += c.areas[i]
		}
	}
	assert.Greater(t, right/all, 0.99)
	doubtful := len(slices.DeleteFunc(rules, func(r string) bool { return r != "join.doubtful" }))
	assert.Equal(t, shared, doubtful)
	t.Logf("%d parcels, %d buildings: %.2f %% by area on their parcel alone, %d shared roofs, %d doubtful", len(c.parcels), len(c.buildings), 100*right/all, shared, doubtful)
}
