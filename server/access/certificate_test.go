package access_test

import (
	"bytes"
	"crypto/tls"
	"io"
	"log/slog"
	"math/big"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/server/access"
	"lotwright/server/access/accesstest"
)

// shake does a handshake and returns the serial number of the server's
// certificate. A server that wants a client's certificate says so after the
// client is done, so a byte is read, too.
func shake(t *testing.T, server, client *tls.Config) (*big.Int, error) {
	t.Helper()
	l, err := tls.Listen("tcp", "127.0.0.1:0", server)
	require.NoError(t, err)
	defer l.Close()
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		conn, err := l.Accept()
		if err == nil {
			_, _ = conn.Write([]byte{1})
			_ = conn.Close()
		}
	}()
	defer func() { <-ended }()
	conn, err := tls.Dial("tcp", l.Addr().String(), client)
	if err != nil {
		return nil, err
	}
	defer conn.Close()
	if _, err := io.ReadFull(conn, make([]byte, 1)); err != nil {
		return nil, err
	}
	return conn.ConnectionState().PeerCertificates[0].SerialNumber, nil
}

// TestCertificateIsReadAgain: a renewed one is shown from the next handshake on,
// and one that is spoilt is not.
func TestCertificateIsReadAgain(t *testing.T) {
	a := accesstest.NewAuthority(t)
	file := a.Issue("lots.example")
	var log bytes.Buffer
	c, err := access.OpenCertificate(file, a.Key("lots.example"), slog.New(slog.NewTextHandler(&log, nil)))
	require.NoError(t, err)
	config, err := c.Config("")
	require.NoError(t, err)
	trust := a.Trust("lots.example")
	first, err := shake(t, config, trust)
	require.NoError(t, err)
	same, err := shake(t, config, trust)
	require.NoError(t, err)
	assert.Equal(t, first, same)
	a.Issue("lots.example")
	second, err := shake(t, config, trust)
	require.NoError(t, err)
	assert.NotEqual(t, first, second)
	require.NoError(t, os.WriteFile(file, []byte("not a certificate"), 0o600))
	third, err := shake(t, config, trust)
	require.NoError(t, err)
	assert.Equal(t, second, third)
	assert.Contains(t, log.String(), "cannot be read again")
}

func TestClientCertificates(t *testing.T) {
	ours, others := accesstest.NewAuthority(t), accesstest.NewAuthority(t)
	c, err := access.OpenCertificate(ours.Issue("lots.example"), ours.Key("lots.example"), slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	config, err := c.Config(ours.File())
	require.NoError(t, err)
	with := func(a *accesstest.Authority) *tls.Config {
		trust := ours.Trust("lots.example")
		if a != nil {
			mine, err := tls.LoadX509KeyPair(a.Issue("client"), a.Key("client"))
			require.NoError(t, err)
			trust.Certificates = []tls.Certificate{mine}
		}
		return trust
	}
	_, err = shake(t, config, with(ours))
	assert.NoError(t, err)
	_, err = shake(t, config, with(nil))
	assert.Error(t, err, "without one")
	_, err = shake(t, config, with(others))
	assert.Error(t, err, "signed by others")
}

func TestOldTLSIsRefused(t *testing.T) {
	a := accesstest.NewAuthority(t)
	c, err := access.OpenCertificate(a.Issue("lots.example"), a.Key("lots.example"), slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	config, err := c.Config("")
	require.NoError(t, err)
	for version, taken := range map[uint16]bool{tls.VersionTLS11: false, tls.VersionTLS12: true, tls.VersionTLS13: true} {
		_, err := shake(t, config, &tls.Config{RootCAs: a.Pool(), ServerName: "lots.example", MinVersion: version, MaxVersion: version})
		assert.Equal(t, taken, err == nil, "%x: %v", version, err)
	}
}

func TestCertificateFaults(t *testing.T) {
	a := accesstest.NewAuthority(t)
	file := a.Issue("lots.example")
	a.Issue("others.example")
	for _, files := range [][2]string{{"nowhere", a.Key("lots.example")}, {file, "nowhere"}, {file, file}, {file, a.Key("others.example")}} {
		_, err := access.OpenCertificate(files[0], files[1], slog.Default())
		assert.Error(t, err, "%v", files)
	}
	c, err := access.OpenCertificate(file, a.Key("lots.example"), slog.Default())
	require.NoError(t, err)
	_, err = c.Config(a.Key("lots.example"))
	assert.ErrorContains(t, err, "holds no certificate")
	_, err = c.Config("nowhere")
	assert.ErrorIs(t, err, os.ErrNotExist)
}
