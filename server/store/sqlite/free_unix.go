//go:build linux || darwin || freebsd

package sqlite

import (
	"fmt"
	"math"

	"golang.org/x/sys/unix"
)

// freeBytes is how much of a folder's disk may be written by us.
func freeBytes(folder string) (int64, error) {
	var st unix.Statfs_t
	if err := unix.Statfs(folder, &st); err != nil {
		return 0, fmt.Errorf("statfs %s: %w", folder, err)
	}
	free := float64(st.Bavail) * float64(st.Bsize)
	return int64(min(free, math.MaxInt64/2)), nil
}
