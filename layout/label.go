package layout

import (
	"cmp"
	"strings"
)

// CompareLabels orders labels as people do: runs of digits by their number,
// everything else byte by byte, so that H2 comes before H10. Labels that differ
// only in leading zeros are ordered byte by byte.
func CompareLabels(a, b string) int {
	x, y := a, b
	for x != "" && y != "" {
		var p, q string
		p, x = cutChunk(x)
		q, y = cutChunk(y)
		if c := compareChunks(p, q); c != 0 {
			return c
		}
	}
	return cmp.Or(cmp.Compare(len(x), len(y)), cmp.Compare(a, b))
}

// cutChunk cuts a run of digits, or one other byte, off the front.
func cutChunk(s string) (chunk, rest string) {
	rest = strings.TrimLeft(s, digits)
	n := max(len(s)-len(rest), 1)
	return s[:n], s[n:]
}

const digits = "0123456789"

func compareChunks(p, q string) int {
	if !strings.Contains(digits, p[:1]) || !strings.Contains(digits, q[:1]) {
		return cmp.Compare(p, q)
	}
	p, q = strings.TrimLeft(p, "0"), strings.TrimLeft(q, "0")
	return cmp.Or(cmp.Compare(len(p), len(q)), cmp.Compare(p, q))
}
