package access

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"log/slog"
	"os"
	"sync"
)

// Certificate is a certificate in files, read again when they change: whoever
// renews it need not start the service again.
type Certificate struct {
	files [2]string // certificate with its chain, key
	log   *slog.Logger

	mu     sync.Mutex
	read   [2]os.FileInfo
	loaded *tls.Certificate
}

// OpenCertificate reads a certificate with its chain, and its key, both PEM.
func OpenCertificate(certificate, key string, log *slog.Logger) (*Certificate, error) {
	c := &Certificate{files: [2]string{certificate, key}, log: log}
	return c, c.refresh()
}

// refresh reads the files if they are not those that were read last.
func (c *Certificate) refresh() error {
	var now [2]os.FileInfo
	same := c.loaded != nil
	for i, file := range c.files {
		info, err := os.Stat(file)
		if err != nil {
			return err
		}
		now[i] = info
		same = same && os.SameFile(info, c.read[i]) && info.ModTime().Equal(c.read[i].ModTime()) && info.Size() == c.read[i].Size()
	}
	if same {
		return nil
	}
	loaded, err := tls.LoadX509KeyPair(c.files[0], c.files[1])
	if err != nil {
		return fmt.Errorf("%s and %s: %w", c.files[0], c.files[1], err)
	}
	c.loaded, c.read = &loaded, now
	return nil
}

// get is the certificate for a handshake. Files that cannot be read, since they
// are just being replaced perhaps, leave the one that was read before.
func (c *Certificate) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if err := c.refresh(); err != nil {
		c.log.Error("the certificate cannot be read again; the one before goes on", "error", err.Error())
	}
	return c.loaded, nil
}

// Config is TLS with the certificate. With clientCA, a file of certificates, only
// clients are let in that have one signed by these.
func (c *Certificate) Config(clientCA string) (*tls.Config, error) {
	config := &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: c.get}
	if clientCA == "" {
		return config, nil
	}
	text, err := os.ReadFile(clientCA)
	if err != nil {
		return nil, err
	}
	config.ClientCAs = x509.NewCertPool()
	if !config.ClientCAs.AppendCertsFromPEM(text) {
		return nil, fmt.Errorf("%s holds no certificate", clientCA)
	}
	config.ClientAuth = tls.RequireAndVerifyClientCert
	return config, nil
}
