package schedule

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestLongestWayFirst: A runs once for 10 min, B twice with 30 min between.
// With B first all is done after 50 min; with A first it would take 60.
func TestLongestWayFirst(t *testing.T) {
	zones := []Zone{{Label: "A"}, {Label: "B"}}
	once, twice := Cycles{Count: 1, Minutes: 10}, Cycles{Count: 2, Minutes: 10, SoakMinutes: 30}
	starts := sequence(zones, []waiting{{zone: 0, left: 1, cycles: once}, {zone: 1, left: 2, cycles: twice}}, 100)
	assert.Equal(t, []Start{{1, "B", 100, 10}, {0, "A", 110, 10}, {1, "B", 140, 10}}, starts)
	assert.Equal(t, 50, DayProgram{Starts: starts}.Minutes())
	assert.Zero(t, DayProgram{}.Minutes())
}
