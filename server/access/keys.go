package access

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base32"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"strings"
	"sync"
	"time"

	"lotwright/server/store"
)

// A key is its prefix, its id, an underscore and its secret. The prefix tells
// keys from other tokens, to us and to programs that look for secrets in places
// where there should be none.
const (
	keyPrefix   = "lwk_"
	idBytes     = 5  // 8 characters
	secretBytes = 32 // 52 characters
)

var lowerBase32 = base32.NewEncoding("abcdefghijklmnopqrstuvwxyz234567").WithPadding(base32.NoPadding)

// Key is what is kept of an API key. Its id is no secret.
type Key struct {
	ID      string       `json:"id"`
	Tenant  store.Tenant `json:"tenant"`
	Note    string       `json:"note,omitempty"`
	SHA256  string       `json:"sha256"` // of the whole key, in hexadecimal
	Created time.Time    `json:"created"`
	Expires time.Time    `json:"expires,omitzero"` // zero: never
	Revoked time.Time    `json:"revoked,omitzero"` // zero: not
}

// Usable reports whether a key is accepted at a time.
func (k Key) Usable(now time.Time) bool {
	return k.Revoked.IsZero() && (k.Expires.IsZero() || now.Before(k.Expires))
}

// made is a new key and what is kept of it.
func made(tenant store.Tenant, note string, now, expires time.Time) (secret string, k Key) {
	random := make([]byte, idBytes+secretBytes)
	_, _ = rand.Read(random) // never fails
	id := lowerBase32.EncodeToString(random[:idBytes])
	secret = keyPrefix + id + "_" + lowerBase32.EncodeToString(random[idBytes:])
	sum := sha256.Sum256([]byte(secret))
	return secret, Key{ID: id, Tenant: tenant, Note: note, SHA256: hex.EncodeToString(sum[:]), Created: now, Expires: expires}
}

// Keys are the keys of a file. What [Add] and [Revoke] write there holds from the
// next call on.
type Keys struct {
	file string
	now  func() time.Time
	log  *slog.Logger

	mu   sync.Mutex
	read os.FileInfo // of the file as it was read last
	byID map[string]Key
}

// OpenKeys reads the keys of a file. That none of them can be used is an error.
func OpenKeys(file string, now func() time.Time, log *slog.Logger) (*Keys, error) {
	k := &Keys{file: file, now: now, log: log}
	if err := k.refresh(); err != nil {
		return nil, err
	}
	for _, key := range k.byID {
		if key.Usable(now()) {
			return k, nil
		}
	}
	return nil, fmt.Errorf("%s holds no key that is accepted; make one with: lotwright keys add", file)
}

// Caller is whose key it is.
func (k *Keys) Caller(secret string) (Caller, error) {
	id, _, _ := strings.Cut(strings.TrimPrefix(secret, keyPrefix), "_")
	key, err := k.find(id)
	if err != nil {
		k.log.Error("keys cannot be read", "error", err.Error())
		return Caller{}, ErrUnavailable
	}
	sum := sha256.Sum256([]byte(secret))
	same := subtle.ConstantTimeCompare([]byte(key.SHA256), []byte(hex.EncodeToString(sum[:]))) == 1
	if !same || !key.Usable(k.now()) {
		return Caller{}, ErrRefused
	}
	return Caller{Tenant: key.Tenant, Name: "key " + key.ID}, nil
}

// find is the key of an id, or the zero Key, whose hash nothing has.
func (k *Keys) find(id string) (Key, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	err := k.refresh()
	return k.byID[id], err
}

// refresh reads the file if it is not the one that was read last. One that
// cannot be read leaves no keys: a key may have been revoked in it.
func (k *Keys) refresh() error {
	info, err := os.Stat(k.file)
	if err == nil && k.read != nil && os.SameFile(info, k.read) && info.ModTime().Equal(k.read.ModTime()) && info.Size() == k.read.Size() {
		return nil
	}
	k.read, k.byID = nil, nil
	if err != nil {
		return err
	}
	list, err := ReadKeys(k.file)
	if err != nil {
		return err
	}
	k.read, k.byID = info, map[string]Key{}
	for _, key := range list {
		k.byID[key.ID] = key
	}
	return nil
}

// Add makes a key for a tenant and keeps it in a file, which is made if it is
// missing. The secret is returned once and kept nowhere. A zero expires means
// never.
func Add(file string, tenant store.Tenant, note string, now, expires time.Time) (secret string, k Key, err error) {
	if err := CheckTenant(string(tenant)); err != nil {
		return "", Key{}, err
	}
	if !expires.IsZero() && !now.Before(expires) {
		return "", Key{}, errors.New("the key would have expired before it was made")
	}
	secret, k = made(tenant, note, now.UTC().Truncate(time.Second), expires.UTC().Truncate(time.Second))
	err = change(file, true, func(list []Key) ([]Key, error) { return append(list, k), nil })
	if err != nil {
		return "", Key{}, err
	}
	return secret, k, nil
}

// Revoke ends a key for good. It stays in the file, so that the audit log can be
// read later on.
func Revoke(file, id string, now time.Time) (k Key, err error) {
	err = change(file, false, func(list []Key) ([]Key, error) {
		for i := range list {
			if list[i].ID != id {
				continue
			}
			if list[i].Revoked.IsZero() {
				list[i].Revoked = now.UTC().Truncate(time.Second)
			}
			k = list[i]
			return list, nil
		}
		return nil, fmt.Errorf("%s holds no key %.80q", file, id)
	})
	return k, err
}
