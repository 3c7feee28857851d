package rpc

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// FuzzPage: whatever a client sends as a token leads on in its own list, or is
// refused.
func FuzzPage(f *testing.F) {
	f.Add(page{List: "designs", Parent: "batches/elm", Revision: 2}.from("17"))
	f.Add(page{List: "batches"}.from("elm"))
	f.Add("e30")
	f.Add("\x00")
	f.Fuzz(func(t *testing.T, token string) {
		for _, want := range []page{{List: "designs", Parent: "batches/elm", Revision: 2}, {List: "designs", Parent: "batches/elm"}} {
			var c checker
			got := want
			c.goOn("page_token", &got, token)
			n := c.number("page_token", got.After)
			if c.err() != nil || token == "" {
				continue
			}
			assert.Equal(t, want.List, got.List)
			assert.Equal(t, want.Parent, got.Parent)
			assert.True(t, want.Revision == 0 || want.Revision == got.Revision)
			assert.GreaterOrEqual(t, n, 0)
			again, err := readPage(got.from(got.After))
			assert.NoError(t, err)
			assert.Equal(t, got, again)
		}
	})
}
