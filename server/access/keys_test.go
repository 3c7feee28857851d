package access_test

import (
	"bytes"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/server/access"
	"lotwright/server/store"
)

// noon is when these tests happen.
var noon = time.Date(2026, 11, 29, 12, 0, 0, 0, time.UTC)

// ring is a file of keys with its reader.
type ring struct {
	*testing.T
	file string
	now  time.Time
	keys *access.Keys
	log  bytes.Buffer
}

func newRing(t *testing.T) *ring {
	return &ring{T: t, file: filepath.Join(t.TempDir(), "keys.json"), now: noon}
}

func (r *ring) add(tenant store.Tenant, expires time.Time) (secret, id string) {
	r.Helper()
	secret, key, err := access.Add(r.file, tenant, "a note", r.now, expires)
	require.NoError(r, err)
	return secret, key.ID
}

func (r *ring) open() {
	r.Helper()
	var err error
	r.keys, err = access.OpenKeys(r.file, func() time.Time { return r.now }, slog.New(slog.NewTextHandler(&r.log, nil)))
	require.NoError(r, err)
}

func (r *ring) caller(authorization ...string) (access.Caller, error) {
	return (&access.Checker{Keys: r.keys}).Caller(r.Context(), authorization)
}

func TestKey(t *testing.T) {
	r := newRing(t)
	elm, elmID := r.add("elm", time.Time{})
	oak, oakID := r.add("oak", noon.Add(time.Hour))
	r.open()
	got, err := r.caller("Bearer " + elm)
	require.NoError(t, err)
	assert.Equal(t, access.Caller{Tenant: "elm", Name: "key " + elmID}, got)
	got, err = r.caller("bearer " + oak)
	require.NoError(t, err)
	assert.Equal(t, access.Caller{Tenant: "oak", Name: "key " + oakID}, got)

	r.now = noon.Add(time.Hour)
	_, err = r.caller("Bearer " + oak)
	assert.ErrorIs(t, err, access.ErrRefused, "expired")
	_, err = r.caller("Bearer " + elm)
	assert.NoError(t, err)

	_, err = access.Revoke(r.file, elmID, r.now)
	require.NoError(t, err)
	_, err = r.caller("Bearer " + elm)
	assert.ErrorIs(t, err, access.ErrRefused, "revoked, from the next call on")
	maple, _ := r.add("maple", time.Time{})
	got, err = r.caller("Bearer " + maple)
	require.NoError(t, err)
	assert.Equal(t, store.Tenant("maple"), got.Tenant, "made while keys are in use")
}

func TestKeyRefused(t *testing.T) {
	r := newRing(t)
	secret, id := r.add("elm", time.Time{})
	r.open()
	_, err := r.caller()
	assert.ErrorIs(t, err, access.ErrNone)
	other, _, err := access.Add(filepath.Join(t.TempDir(), "other"), "elm", "", noon, time.Time{})
	require.NoError(t, err)
	changed := []byte(secret)
	changed[len(changed)-1] ^= 1
	for _, authorization := range [][]string{
		{""}, {"Bearer"}, {"Bearer "}, {secret}, {"Basic " + secret}, {"Bearer " + secret, "Bearer " + secret}, {"Bearer  " + secret},
		{"Bearer " + other}, {"Bearer " + string(changed)}, {"Bearer " + secret + "x"}, {"Bearer " + secret[:len(secret)-1]},
		{"Bearer lwk_" + id}, {"Bearer lwk_" + id + "_"}, {"Bearer lwk_"}, {"Bearer " + strings.ToUpper(secret)}, {"Bearer eyJhbGciOiJub25lIn0.e30."},
	} {
		_, err := r.caller(authorization...)
		assert.ErrorIs(t, err, access.ErrRefused, "%q", authorization)
		assert.NotContains(t, err.Error(), secret[14:30])
	}
	_, err = r.caller("Bearer " + secret)
	assert.NoError(t, err)
}

// TestSecretIsKeptNowhere: neither whole nor in parts.
func TestSecretIsKeptNowhere(t *testing.T) {
	r := newRing(t)
	secret, id := r.add("elm", time.Time{})
	text, err := os.ReadFile(r.file)
	require.NoError(t, err)
	assert.Contains(t, string(text), id)
	_, random, found := strings.Cut(strings.TrimPrefix(secret, "lwk_"), "_")
	require.True(t, found)
	require.Len(t, random, 52, "256 bits")
	for i := range len(random) - 8 {
		assert.NotContains(t, string(text), random[i:i+8])
	}
	info, err := os.Stat(r.file)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
}

func TestKeysDiffer(t *testing.T) {
	r := newRing(t)
	secrets, ids := map[string]bool{}, map[string]bool{}
	for range 100 {
		secret, id := r.add("elm", time.Time{})
		secrets[secret], ids[id] = true, true
	}
	assert.Len(t, secrets, 100)
	assert.Len(t, ids, 100)
}

// TestKeysThatCannotBeRead lets nobody in: a key may have been revoked there.
func TestKeysThatCannotBeRead(t *testing.T) {
	r := newRing(t)
	secret, _ := r.add("elm", time.Time{})
	r.open()
	text, err := os.ReadFile(r.file)
	require.NoError(t, err)
	for name, spoil := range map[string]func() error{
		"gone":       func() error { return os.Remove(r.file) },
		"half":       func() error { return os.WriteFile(r.file, text[:len(text)/2], 0o600) },
		"more":       func() error { return os.WriteFile(r.file, append(text, '{'), 0o600) },
		"for others": func() error { return errJoin(os.WriteFile(r.file, append(text, ' '), 0o600), os.Chmod(r.file, 0o620)) },
	} {
		require.NoError(t, spoil())
		_, err := r.caller("Bearer " + secret)
		assert.ErrorIs(t, err, access.ErrUnavailable, name)
		require.NoError(t, errJoin(os.WriteFile(r.file, text, 0o600), os.Chmod(r.file, 0o600)))
		_, err = r.caller("Bearer " + secret)
		assert.NoError(t, err, "%s, and mended", name)
	}
	assert.NotContains(t, r.log.String(), secret[14:])
	assert.Contains(t, r.log.String(), "keys cannot be read")
}

func errJoin(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

func TestOpenKeysNeedsOneThatIsAccepted(t *testing.T) {
	r := newRing(t)
	_, err := access.OpenKeys(r.file, time.Now, slog.Default())
	assert.ErrorIs(t, err, os.ErrNotExist)
	_, id := r.add("elm", time.Time{})
	_, err = access.Revoke(r.file, id, noon)
	require.NoError(t, err)
	_, err = access.OpenKeys(r.file, time.Now, slog.Default())
	assert.ErrorContains(t, err, "lotwright keys add")
	_, err = access.Revoke(r.file, "nobody", noon)
	assert.ErrorContains(t, err, "nobody")
	for _, tenant := range []store.Tenant{"", "Elm", "elm street", "-elm", "elm-", "élan", store.Tenant(strings.Repeat("e", 64))} {
		_, _, err := access.Add(r.file, tenant, "", noon, time.Time{})
		assert.ErrorContains(t, err, "tenant", "%q", tenant)
	}
	_, _, err = access.Add(r.file, "elm", "", noon, noon)
	assert.Error(t, err)
}

// TestKeysAddedAtOnce: none is lost.
func TestKeysAddedAtOnce(t *testing.T) {
	r := newRing(t)
	const n = 20
	errs := make(chan error, n)
	for range n {
		go func() {
			_, _, err := access.Add(r.file, "elm", "", noon, time.Time{})
			errs <- err
		}()
	}
	for range n {
		require.NoError(t, <-errs)
	}
	list, err := access.ReadKeys(r.file)
	require.NoError(t, err)
	assert.Len(t, list, n)
}

func TestNobodyOwnsNothing(t *testing.T) {
	assert.Empty(t, access.Tenant(t.Context()))
	assert.Equal(t, store.Tenant("elm"), access.Tenant(access.With(t.Context(), access.Caller{Tenant: "elm"})))
}
