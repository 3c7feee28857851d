package schedule_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lotwright/layout"
	"lotwright/layout/schedule"
)

// BenchmarkPlan makes years of plans, by number of zones: in a window that is
// long enough, and in one that no choice of days saves, where every choice is tried.
func BenchmarkPlan(b *testing.B) {
	for _, zones := range []int{1, 8, 32} {
		for name, window := range map[string]schedule.Window{"fits": {}, "short": {FromMinute: 0, ToMinute: 30}} {
			in := schedule.Input{Window: window, Days: schedule.On(time.Monday, time.Thursday)}
			if name == "fits" {
				in.Days = schedule.EveryDay
				in.Window = schedule.Window{ToMinute: 1440}
			}
			climate, err := schedule.DemoClimate()
			require.NoError(b, err)
			in.Climate = climate
			for i := range zones {
				in.Zones = append(in.Zones, schedule.Zone{Label: fmt.Sprint("H", i+1), Flow: layout.GPM(4.7), AreaM2: 100, Soil: soil(b, "clay loam")})
			}
			b.Run(fmt.Sprintf("zones=%d/%s", zones, name), func(b *testing.B) {
				for b.Loop() {
					plan(b, in)
				}
			})
		}
	}
}
