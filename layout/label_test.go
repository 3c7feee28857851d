package layout_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"lotwright/layout"
)

func TestLabelOrder(t *testing.T) {
	ordered := []string{"POC", "H1", "H2", "H10", "T1", "T2", "V3", "a", "b7"}
	for i := range ordered {
		for j := range ordered {
			switch got := layout.CompareLabels(ordered[i], ordered[j]); {
			case i < j:
				assert.Negative(t, got, "%s %s", ordered[i], ordered[j])
			case i > j:
				assert.Positive(t, got, "%s %s", ordered[i], ordered[j])
			default:
				assert.Zero(t, got)
			}
		}
	}
}
