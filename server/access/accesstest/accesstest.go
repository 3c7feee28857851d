// Package accesstest is what tests of access need of the world around: an
// authority that issues certificates, and an OpenID Connect issuer, both real,
// made for the length of a test.
package accesstest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Authority issues certificates.
type Authority struct {
	*testing.T
	folder      string
	certificate *x509.Certificate
	key         *ecdsa.PrivateKey
	serial      int64
}

// NewAuthority makes an authority that nobody else trusts.
func NewAuthority(t *testing.T) *Authority {
	t.Helper()
	a := &Authority{T: t, folder: t.TempDir()}
	a.key = a.newKey()
	template := a.template("authority")
	template.IsCA, template.BasicConstraintsValid, template.KeyUsage = true, true, x509.KeyUsageCertSign
	text, err := x509.CreateCertificate(rand.Reader, template, template, a.key.Public(), a.key)
	require.NoError(t, err)
	a.certificate, err = x509.ParseCertificate(text)
	require.NoError(t, err)
	a.write(a.File(), "CERTIFICATE", text)
	return a
}

// File holds the authority's own certificate.
func (a *Authority) File() string { return filepath.Join(a.folder, "authority.pem") }

// Pool trusts the authority.
func (a *Authority) Pool() *x509.CertPool {
	pool := x509.NewCertPool()
	pool.AddCert(a.certificate)
	return pool
}

// Trust is a client that trusts the authority, and wants to speak to a name.
func (a *Authority) Trust(name string) *tls.Config {
	return &tls.Config{RootCAs: a.Pool(), ServerName: name}
}

// Issue issues a certificate to a name, for servers and clients, and returns its
// file. A name that has one gets a new one in its place.
func (a *Authority) Issue(name string) string {
	a.Helper()
	key := a.newKey()
	template := a.template(name)
	template.DNSNames, template.IPAddresses = []string{name}, []net.IP{net.IPv4(127, 0, 0, 1)}
	template.ExtKeyUsage = []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth}
	text, err := x509.CreateCertificate(rand.Reader, template, a.certificate, key.Public(), a.key)
	require.NoError(a, err)
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(a, err)
	file := filepath.Join(a.folder, name+".pem")
	a.write(file, "CERTIFICATE", text)
	a.write(a.Key(name), "PRIVATE KEY", secret)
	return file
}

// Key is the file of the key of a name.
func (a *Authority) Key(name string) string { return filepath.Join(a.folder, name+".key") }

func (a *Authority) newKey() *ecdsa.PrivateKey {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(a, err)
	return key
}

func (a *Authority) template(name string) *x509.Certificate {
	a.serial++
	return &x509.Certificate{
		SerialNumber: big.NewInt(a.serial), Subject: pkix.Name{CommonName: name},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
	}
}

// write puts a file in place at once, as programs that renew certificates do.
func (a *Authority) write(file, kind string, text []byte) {
	a.Helper()
	part := file + ".part"
	require.NoError(a, os.WriteFile(part, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: text}), 0o600))
	require.NoError(a, os.Rename(part, file))
}
