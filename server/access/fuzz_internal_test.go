package access

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// FuzzKeysFile: whatever is taken is written and read again as it was.
func FuzzKeysFile(f *testing.F) {
	_, key := made("elm", "note", noonInternal, noonInternal)
	text, err := json.Marshal(keysFile{keysVersion, []Key{key}})
	require.NoError(f, err)
	f.Add(text)
	f.Add([]byte(`{"version":1,"keys":[]}`))
	f.Add([]byte(`{"version":2}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		list, err := decodeKeys(text)
		if err != nil {
			return
		}
		for _, k := range list {
			require.NoError(t, CheckTenant(string(k.Tenant)))
		}
		again, err := json.Marshal(keysFile{keysVersion, list})
		require.NoError(t, err)
		same, err := decodeKeys(again)
		require.NoError(t, err)
		require.Equal(t, len(list), len(same))
		for i := range list {
			require.Equal(t, list[i].SHA256, same[i].SHA256)
			require.True(t, list[i].Expires.Equal(same[i].Expires))
		}
	})
}

// FuzzBearer: a token never has the scheme or holds less than all of the rest.
func FuzzBearer(f *testing.F) {
	f.Add("Bearer x")
	f.Add("bearer  ")
	f.Fuzz(func(t *testing.T, header string) {
		token, err := bearer([]string{header})
		if err == nil {
			require.NotEmpty(t, token)
			require.Equal(t, len("Bearer ")+len(token), len(header))
		}
	})
}

var noonInternal = time.Date(2026, 11, 29, 12, 0, 0, 0, time.UTC)
