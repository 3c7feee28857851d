package assemble

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A panic inside is the refusal of one lot.
func TestPanicIsContained(t *testing.T) {
	item := func() (item Item) {
		defer contain("a", &item)
		panic("boom")
	}()
	assert.Equal(t, "a", item.ID)
	assert.Nil(t, item.Lot)
	require.Len(t, item.Findings, 1)
	assert.Equal(t, "internal", item.Findings[0].Rule)
	assert.Contains(t, item.Findings[0].Text, "boom")
}
