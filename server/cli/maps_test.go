package cli_test

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/server/cli"
)

// TestServeMaps: with a folder to keep batches in, mapping tools are answered,
// with links that begin as the flag says; without one there is nothing for them.
func TestServeMaps(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	log := &watched{pattern: regexp.MustCompile(`http=(\S+) page=`), found: make(chan []string, 1)}
	found := log.found
	ended := make(chan int, 1)
	args := []string{"serve", "--data", t.TempDir(), "--base-url", "https://maps.example/lots/", "--grpc-listen", "127.0.0.1:0", "--http-listen", "127.0.0.1:0"}
	go func() { ended <- cli.Run(ctx, args, strings.NewReader(""), io.Discard, log) }()
	defer func() {
		stop()
		assert.Equal(t, cli.ExitOK, <-ended)
	}()
	address := "http://" + (<-found)[1]
	post, err := http.Post(address+"/v1/batches", "application/json", strings.NewReader(`{"batch_id":"elm"}`))
	require.NoError(t, err)
	require.NoError(t, post.Body.Close())
	answer, err := http.Get(address + "/ogc/elm/")
	require.NoError(t, err)
	defer answer.Body.Close()
	require.Equal(t, http.StatusOK, answer.StatusCode)
	var landing struct{ Links []struct{ Href string } }
	require.NoError(t, json.NewDecoder(answer.Body).Decode(&landing))
	require.NotEmpty(t, landing.Links)
	for _, l := range landing.Links {
		assert.True(t, strings.HasPrefix(l.Href, "https://maps.example/lots/ogc/elm/"), l.Href)
	}

	_, nothing := serve(t)
	gone, err := http.Get("http://" + nothing + "/ogc/elm/")
	require.NoError(t, err)
	require.NoError(t, gone.Body.Close())
	assert.Equal(t, http.StatusNotFound, gone.StatusCode)
}
