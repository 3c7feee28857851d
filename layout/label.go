package layout

import (
	"cmp"
	"strconv"
	"strings"
)

// POCLabel names the point of connection as the end of a run.
const POCLabel = "POC"

// CompareLabels orders labels as people do: the point of connection, then by
// letters, then by number, so that H2 comes before H10.
func CompareLabels(a, b string) int {
	if a == b {
		return 0
	}
	if a == POCLabel {
		return -1
	}
	if b == POCLabel {
		return 1
	}
	la, na := splitLabel(a)
	lb, nb := splitLabel(b)
	return cmp.Or(cmp.Compare(la, lb), cmp.Compare(na, nb), cmp.Compare(a, b))
}

func splitLabel(s string) (letters string, number int) {
	letters = strings.TrimRight(s, "0123456789")
	number, _ = strconv.Atoi(s[len(letters):])
	return letters, number
}
