//go:build !(linux || darwin || freebsd)

package sqlite

import "errors"

// freeBytes cannot tell.
func freeBytes(string) (int64, error) { return 0, errors.ErrUnsupported }
