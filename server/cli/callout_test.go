//go:build kill

package cli_test

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestCallsNobody: a service that imports and designs a batch opens no connection
// to anybody and asks no name server, as strace sees it.
func TestCallsNobody(t *testing.T) {
	lots := manyLots(t, 3)
	f := &faulted{survivor: &survivor{T: t, victim: restingVictim(t), lots: lots, want: undisturbed(t, lots)}}
	trace := filepath.Join(t.TempDir(), "trace")
	p := f.command("strace", "-f", "-qq", "-o", trace, "-e", "trace=connect,sendto,sendmsg,sendmmsg,listen")
	require.NoError(t, p.Start())
	err := f.once(t.Context())
	_ = syscall.Kill(-p.Process.Pid, syscall.SIGTERM)
	require.NoError(t, p.Wait(), "it ends in order: what is sent last is seen, too")
	require.NoError(t, err)
	text, err := os.ReadFile(trace)
	require.NoError(t, err)
	require.Equal(t, 2, strings.Count(string(text), "listen("), "strace saw the service")
	called := regexp.MustCompile(`(?m)^.*(connect\(|sendto\(.*sa_family|sendmsg\(.*sa_family|sendmmsg\(.*sa_family).*$`).FindAllString(string(text), -1)
	assert.Empty(t, called)
}
