package trench_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"lotwright/layout"
	"lotwright/layout/geom"
	"lotwright/layout/trench"
)

// plot is a lot of 20 m by 30 m without a tap.
func plot() *layout.Lot { return &layout.Lot{ID: "plot", Parcel: rect(0, 0, 20, 30)} }

func assumed(t *testing.T, lot *layout.Lot) geom.Point {
	t.Helper()
	net := route(t, lot, nil, trench.Settings{})
	assert.True(t, net.POCAssumed)
	return net.POC
}

func TestAssumedPOC(t *testing.T) {
	cases := map[string]struct {
		shape func(*layout.Lot)
		want  geom.Point
	}{
		"nearest the drive's end": {func(l *layout.Lot) {
			l.Building = rect(5, 10, 15, 20)
			l.Hardscape = rect(16, 0, 19, 12) // meets the lower lot line from 16 to 19
		}, m(15, 10)},
		"on a front parallel to the street, opposite its middle": {func(l *layout.Lot) {
			l.Building = rect(2, 10, 15, 20)
			l.Hardscape = rect(7, 0, 10, 10)
		}, m(8.5, 10)},
		"the longest of several touches": {func(l *layout.Lot) {
			l.Building = rect(5, 10, 15, 20)
			l.Hardscape = geom.Union(rect(6, 0, 7.2, 10), rect(8, 27, 11, 30))
		}, m(9.5, 20)},
		"a touch goes on round the lot's corner": {func(l *layout.Lot) {
			// 2 + 2 m at the lower left corner against 3 m at the top.
			l.Building = rect(5, 10, 15, 20)
			l.Hardscape = geom.Union(rect(0, 0, 2, 2), rect(12, 27, 15, 30))
		}, m(5, 10)},
		"paving 40 mm short of the lot line touches it": {func(l *layout.Lot) {
			l.Building = rect(5, 10, 15, 20)
			l.Hardscape = rect(7, 0.04, 10, 10)
		}, m(8.5, 10)},
		"paving 60 mm short does not": {func(l *layout.Lot) {
			l.Building = rect(4, 10, 15, 20)
			l.Hardscape = rect(7, 0.06, 10, 10)
		}, m(4, 10)},
		"no paving: nearest the lot line": {func(l *layout.Lot) {
			l.Building = rect(5, 10, 15, 28)
		}, m(5, 28)},
		"the largest building is the house": {func(l *layout.Lot) {
			l.Building = geom.Union(rect(5, 15, 15, 25), rect(10, 3, 13, 6))
			l.Hardscape = rect(10, 0, 13, 3)
		}, m(11.5, 15)},
		"a wing that comes nearer": {func(l *layout.Lot) {
			l.Building = geom.Union(rect(2, 15, 18, 25), rect(12, 8, 16, 15))
			l.Hardscape = rect(2, 0, 5, 15)
		}, m(12, 8)}, // √(7² + 8²) = 10.6 m from the drive against 15 m
		"no building: the middle of the street side": {func(l *layout.Lot) {
			l.Hardscape = rect(4, 0, 7, 9)
		}, m(5.5, 0)},
		"nothing: the middle of the longest side": {func(*layout.Lot) {}, m(0, 15)},
		"where most of the lot can be reached": {func(l *layout.Lot) {
			// The house parts a front yard of 5 m from a back yard of 15 m.
			l.Building = rect(0, 5, 20, 15)
			l.Hardscape = rect(8, 0, 11, 5)
		}, m(9.5, 15)},
		"not where the house stands on the lot line": {func(l *layout.Lot) {
			// The front is the lot line itself, walled off; a trench can only
			// leave by the back.
			l.Building = rect(0, 0, 20, 10)
			l.Hardscape = rect(4, 0, 7, 0.2)
		}, m(5.5, 10)},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			lot := plot()
			c.shape(lot)
			assert.Equal(t, c.want, assumed(t, lot))
		})
	}
}

func TestAssumedPOCKeepsToTheGroundNotTheDrawing(t *testing.T) {
	lot := plot()
	lot.Building = rect(2, 10, 15, 20)
	lot.Hardscape = geom.Union(rect(7, 0, 10, 10), rect(0, 4, 7, 5))
	want := assumed(t, lot)
	for k := range 4 {
		turn := func(r geom.Ring) geom.Ring { return slices.Concat(r[k%len(r):], r[:k%len(r)]) }
		lot.Parcel[0][0], lot.Building[0][0], lot.Hardscape[0][0] =
			turn(lot.Parcel[0][0]), turn(lot.Building[0][0]), turn(lot.Hardscape[0][0])
		assert.Equal(t, want, assumed(t, lot))
	}
	// A corner drawn on a straight side changes nothing either.
	lot.Parcel = geom.Region{{{m(0, 0), m(8, 0), m(20, 0), m(20, 30), m(0, 30), m(0, 11)}}}
	assert.Equal(t, want, assumed(t, lot))
}

func TestAssumedPOCOfAFullLot(t *testing.T) {
	lot := plot()
	lot.Building = lot.Parcel
	assert.Equal(t, m(0, 0), assumed(t, lot), "nowhere to leave: still a point of the outline")
}
