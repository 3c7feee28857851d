package layout

import (
	"fmt"
	"strings"
	"time"
)

// ParseFlowTest reads a flow held at a pressure: 6gpm@45psi, 25lpm@3bar.
func ParseFlowTest(s string) (t FlowTest, err error) {
	flow, pressure, ok := strings.Cut(s, "@")
	if !ok {
		return t, fmt.Errorf("%q is not a flow at a pressure such as 6gpm@45psi", s)
	}
	if t.Flow, err = ParseFlow(flow); err != nil {
		return t, err
	}
	t.Pressure, err = ParsePressure(pressure)
	return t, err
}

// ParseBucketTest reads a container and the time it took to fill: 5gal/45s,
// 19L/1m10s. The time must be above zero.
func ParseBucketTest(s string) (b BucketTest, err error) {
	volume, filled, ok := strings.Cut(s, "/")
	if !ok {
		return b, fmt.Errorf("%q is not a volume over a time such as 5gal/45s", s)
	}
	if b.Volume, err = ParseVolume(volume); err != nil {
		return b, err
	}
	if b.Time, err = time.ParseDuration(strings.TrimSpace(filled)); err != nil || b.Time <= 0 {
		return b, fmt.Errorf("%q is not a time such as 45s or 1m10s", filled)
	}
	return b, nil
}
