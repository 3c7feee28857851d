package access

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"

	"github.com/gofrs/flock"
)

// keysVersion is that of the form of the file.
const keysVersion = 1

// keysFile is the file of keys.
type keysFile struct {
	Version int   `json:"version"`
	Keys    []Key `json:"keys"`
}

// mostKeysFile bounds what is read, in bytes: some 40,000 keys.
const mostKeysFile = 16 << 20

// ReadKeys reads the keys of a file, revoked and expired ones, too. A file that
// others than its owner can write is an error: they could let themselves in.
func ReadKeys(file string) ([]Key, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close() // nothing is written to it
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	if runtime.GOOS != "windows" && info.Mode().Perm()&0o022 != 0 {
		return nil, fmt.Errorf("%s can be written by others than its owner (mode %04o): chmod 600 it", file, info.Mode().Perm())
	}
	text, err := io.ReadAll(io.LimitReader(f, mostKeysFile+1))
	if err != nil {
		return nil, err
	}
	list, err := decodeKeys(text)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	return list, nil
}

// decodeKeys reads the text of a file and checks every key.
func decodeKeys(text []byte) ([]Key, error) {
	if len(text) > mostKeysFile {
		return nil, fmt.Errorf("a file of keys has at most %d bytes", mostKeysFile)
	}
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.DisallowUnknownFields()
	var f keysFile
	if err := decoder.Decode(&f); err != nil {
		return nil, fmt.Errorf("it is not a file of keys: %w", err)
	}
	if f.Version != keysVersion {
		return nil, fmt.Errorf("it has form %d, this program knows %d", f.Version, keysVersion)
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return nil, errors.New("something stands behind the keys")
	}
	seen := map[string]bool{}
	for i, k := range f.Keys {
		if err := k.check(); err != nil {
			return nil, fmt.Errorf("keys[%d]: %w", i, err)
		}
		if seen[k.ID] {
			return nil, fmt.Errorf("keys[%d]: id %q comes twice", i, k.ID)
		}
		seen[k.ID] = true
	}
	return f.Keys, nil
}

func (k Key) check() error {
	if id, err := lowerBase32.DecodeString(k.ID); err != nil || len(id) != idBytes {
		return errors.New("id: it is none of ours")
	}
	if sum, err := hex.DecodeString(k.SHA256); err != nil || len(sum) != 32 || hex.EncodeToString(sum) != k.SHA256 {
		return errors.New("sha256: want 64 lower-case hexadecimal digits")
	}
	return CheckTenant(string(k.Tenant))
}

// change rewrites a file of keys, one process at a time. Readers see the old
// file or the new one.
func change(file string, mayMake bool, edit func([]Key) ([]Key, error)) error {
	lock := flock.New(file+".lock", flock.SetPermissions(0o600))
	if err := lock.Lock(); err != nil {
		return fmt.Errorf("lock %s: %w", lock.Path(), err)
	}
	defer lock.Unlock() // it ends with the process at the latest
	list, err := ReadKeys(file)
	if err != nil && !(mayMake && errors.Is(err, fs.ErrNotExist)) {
		return err
	}
	if list, err = edit(list); err != nil {
		return err
	}
	text, err := json.MarshalIndent(keysFile{keysVersion, list}, "", "  ")
	if err != nil {
		return err
	}
	return replace(file, append(text, '\n'))
}

// replace puts text in the place of a file, on disk before it has its name. Only
// the owner may read it.
func replace(file string, text []byte) error {
	part, err := os.CreateTemp(filepath.Dir(file), "."+filepath.Base(file)+".*") // mode 0600
	if err != nil {
		return err
	}
	_, err = part.Write(text)
	if err := errors.Join(err, part.Sync(), part.Close()); err != nil {
		return errors.Join(err, os.Remove(part.Name()))
	}
	if err := os.Rename(part.Name(), file); err != nil {
		return errors.Join(err, os.Remove(part.Name()))
	}
	return nil
}
