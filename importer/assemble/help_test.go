package assemble_test

import (
	"bytes"
	"compress/gzip"
	"io"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

func gunzip(t *testing.T, text []byte) []byte {
	if !bytes.HasPrefix(text, []byte{0x1f, 0x8b}) {
		return text
	}
	z, err := gzip.NewReader(bytes.NewReader(text))
	require.NoError(t, err)
	text, err = io.ReadAll(z)
	require.NoError(t, err)
	return text
}

func readFile(t testing.TB, path string) []byte {
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	return text
}
