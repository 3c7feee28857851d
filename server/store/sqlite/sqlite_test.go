package sqlite_test

import (
	"context"
	"database/sql"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"lotwright/server/store"
	"lotwright/server/store/sqlite"
	"lotwright/server/store/storetest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func open(t *testing.T, folder string) *sqlite.Store {
	t.Helper()
	s, err := sqlite.Open(t.Context(), folder)
	require.NoError(t, err)
	return s
}

func TestStore(t *testing.T) {
	storetest.Run(t, func(t *testing.T) store.Engine[*sql.Tx] {
		s := open(t, t.TempDir())
		t.Cleanup(func() { assert.NoError(t, s.Close()) })
		return s
	})
}

// pragma reads a setting off the connection that writes.
func pragma(t *testing.T, s *sqlite.Store, name string) (value string) {
	t.Helper()
	require.NoError(t, s.Writer().QueryRow(`PRAGMA `+name).Scan(&value))
	return value
}

func TestOnDiskBeforeItIsAcknowledged(t *testing.T) {
	s := open(t, t.TempDir())
	defer s.Close()
	assert.Equal(t, "wal", pragma(t, s, "journal_mode"))
	assert.Equal(t, "2", pragma(t, s, "synchronous"), "FULL")
	assert.Equal(t, "1", pragma(t, s, "foreign_keys"))
}

func TestOneProcessAtATime(t *testing.T) {
	folder := t.TempDir()
	s := open(t, folder)
	_, err := sqlite.Open(t.Context(), folder)
	assert.ErrorContains(t, err, folder+" is in use by another lotwright")
	require.NoError(t, s.Close())
	assert.NoError(t, open(t, folder).Close())
}

func TestStateOutlivesTheProcess(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "new", "folder")
	s := open(t, folder)
	made, err := s.CreateBatch(t.Context(), store.Local, "a", "title", store.Request{})
	require.NoError(t, err)
	require.NoError(t, s.Close())
	s = open(t, folder)
	defer s.Close()
	read, err := s.Batch(t.Context(), store.Local, "a")
	require.NoError(t, err)
	assert.Equal(t, made, read)
}

func TestOnlyTheOwnerReadsTheFiles(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "data")
	s := open(t, folder)
	defer s.Close()
	_, err := s.CreateBatch(t.Context(), store.Local, "a", "", store.Request{})
	require.NoError(t, err)
	info, err := os.Stat(folder)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o700), info.Mode().Perm())
	files, err := os.ReadDir(folder)
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 3) // file, log, lock
	for _, f := range files {
		info, err := f.Info()
		require.NoError(t, err)
		assert.Equal(t, os.FileMode(0o600), info.Mode().Perm(), f.Name())
	}
}

// change runs a statement on a closed store's file.
func change(t *testing.T, folder, statement string) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(folder, "lotwright.db"))
	require.NoError(t, err)
	defer db.Close()
	_, err = db.Exec(statement)
	require.NoError(t, err)
}

func TestRefusesFilesItDoesNotKnow(t *testing.T) {
	newer := t.TempDir()
	s := open(t, newer)
	present := pragma(t, s, "user_version")
	require.NoError(t, s.Close())
	change(t, newer, `PRAGMA user_version=1000`)
	_, err := sqlite.Open(t.Context(), newer)
	assert.ErrorContains(t, err, "written by a newer one")

	foreign := t.TempDir()
	change(t, foreign, `CREATE TABLE something (x)`)
	_, err = sqlite.Open(t.Context(), foreign)
	assert.ErrorContains(t, err, "is not a store of lotwright")

	broken := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(broken, "lotwright.db"), []byte("this is no database, whatever its name says"), 0o600))
	_, err = sqlite.Open(t.Context(), broken)
	assert.ErrorContains(t, err, "not a database")

	// And each can be put right and tried again: no lock is left behind.
	change(t, newer, `PRAGMA user_version=`+present)
	assert.NoError(t, open(t, newer).Close())
}

func TestDesignsAreNeverRewritten(t *testing.T) {
	s := open(t, t.TempDir())
	defer s.Close()
	var chunk store.Chunk
	s.OnStart(1, func(_ context.Context, _ *sql.Tx, c []store.Chunk) error { chunk = c[0]; return nil })
	_, err := s.CreateBatch(t.Context(), store.Local, "a", "", store.Request{})
	require.NoError(t, err)
	_, _, err = s.AddLots(t.Context(), store.Local, "a", store.Piece{Import: "i", Messages: []store.ImportMessage{{Lot: store.Lot{ID: "L", Content: []byte("x")}}}})
	require.NoError(t, err)
	_, err = s.StartOperation(t.Context(), store.Local, "a", "o", nil, store.Request{})
	require.NoError(t, err)
	require.NoError(t, s.SaveDesign(t.Context(), chunk, store.Design{Number: 1, Lot: "L", Status: store.Designed, Content: []byte("x")}))
	_, err = s.Writer().Exec(`UPDATE design SET content = x'00'`)
	assert.ErrorContains(t, err, "a design does not change")
}

// TestFullDisk: a write that finds no room is refused as a whole, reading goes
// on, and so does writing once there is room.
func TestFullDisk(t *testing.T) {
	s := open(t, t.TempDir())
	defer s.Close()
	_, err := s.CreateBatch(t.Context(), store.Local, "a", "", store.Request{})
	require.NoError(t, err)
	_, err = s.Writer().Exec(`PRAGMA max_page_count = 1`) // of those there are now, that is
	require.NoError(t, err)
	big := store.Piece{Import: "i", Messages: []store.ImportMessage{{Lot: store.Lot{ID: "L", Content: make([]byte, 1<<20)}}}}
	_, _, err = s.AddLots(t.Context(), store.Local, "a", big)
	require.ErrorIs(t, err, store.ErrFull)
	b, err := s.Batch(t.Context(), store.Local, "a")
	require.NoError(t, err)
	assert.Equal(t, 0, b.Lots)
	require.NoError(t, s.Check(t.Context()))

	_, err = s.Writer().Exec(`PRAGMA max_page_count = 1000000`)
	require.NoError(t, err)
	got, _, err := s.AddLots(t.Context(), store.Local, "a", big)
	require.NoError(t, err)
	assert.Equal(t, 1, got.Added)
}

func TestBackup(t *testing.T) {
	folder, out := t.TempDir(), filepath.Join(t.TempDir(), "copy.db")
	s := open(t, folder)
	defer s.Close()
	made, err := s.CreateBatch(t.Context(), store.Local, "a", "title", store.Request{})
	require.NoError(t, err)
	require.NoError(t, sqlite.Backup(t.Context(), folder, out), "while the store is open")
	_, err = s.CreateBatch(t.Context(), store.Local, "later", "", store.Request{})
	require.NoError(t, err)
	assert.ErrorContains(t, sqlite.Backup(t.Context(), folder, out), "is there already")

	restored := t.TempDir()
	require.NoError(t, os.Rename(out, filepath.Join(restored, "lotwright.db")))
	r := open(t, restored)
	defer r.Close()
	all, err := r.Batches(t.Context(), store.Local, "", 9)
	require.NoError(t, err)
	assert.Equal(t, []store.Batch{made}, all)

	assert.Error(t, sqlite.Backup(t.Context(), t.TempDir(), out), "nothing there")
	assert.NoFileExists(t, out)
}

// TestBrokenDisk: once the file no longer reads as it was written, nothing more
// is written and the store says that it has failed.
func TestBrokenDisk(t *testing.T) {
	folder := t.TempDir()
	s := open(t, folder)
	defer s.Close()
	_, err := s.CreateBatch(t.Context(), store.Local, "a", "", store.Request{})
	require.NoError(t, err)
	for _, statement := range []string{`PRAGMA wal_checkpoint(TRUNCATE)`, `PRAGMA shrink_memory`} {
		_, err = s.Writer().Exec(statement)
		require.NoError(t, err)
	}
	file := filepath.Join(folder, "lotwright.db")
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	const page = 4096
	for i := page; i < len(text); i++ {
		text[i] = 0xff
	}
	require.NoError(t, os.WriteFile(file, text, 0o600))

	_, err = s.CreateBatch(t.Context(), store.Local, "b", "", store.Request{})
	assert.Error(t, err)
	select {
	case <-s.Failed():
	default:
		assert.Fail(t, "the store goes on")
	}
	assert.ErrorContains(t, s.Check(t.Context()), "must be started again")
	_, err = s.CreateBatch(t.Context(), store.Local, "b", "", store.Request{})
	assert.ErrorContains(t, err, "must be started again")
}

// TestRestore: what was copied is there again, beside nothing else, and nothing is
// written over.
func TestRestore(t *testing.T) {
	folder, copied := t.TempDir(), filepath.Join(t.TempDir(), "a copy?.db")
	s := open(t, folder)
	_, err := s.CreateBatch(t.Context(), store.Local, "elm", "Elm Street", store.Request{})
	require.NoError(t, err)
	require.NoError(t, sqlite.Backup(t.Context(), folder, copied))
	before, err := os.ReadFile(copied)
	require.NoError(t, err)
	assert.ErrorContains(t, sqlite.Restore(t.Context(), copied, folder), "in use")
	require.NoError(t, s.Close())
	assert.ErrorContains(t, sqlite.Restore(t.Context(), copied, folder), "is there already")

	fresh := filepath.Join(t.TempDir(), "new", "folder")
	require.NoError(t, sqlite.Restore(t.Context(), copied, fresh))
	restored := open(t, fresh)
	b, err := restored.Batch(t.Context(), store.Local, "elm")
	require.NoError(t, err)
	assert.Equal(t, "Elm Street", b.Title)
	_, err = restored.CreateBatch(t.Context(), store.Local, "oak", "", store.Request{})
	require.NoError(t, err)
	require.NoError(t, restored.Close())
	after, err := os.ReadFile(copied)
	require.NoError(t, err)
	assert.Equal(t, before, after, "the copy stays as it was")
	info, err := os.Stat(filepath.Join(fresh, "lotwright.db"))
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())

	for name, text := range map[string][]byte{"cut": before[:len(before)/2], "other": []byte("not a database, but long enough to be taken for one"), "empty": nil} {
		spoilt := filepath.Join(t.TempDir(), name)
		require.NoError(t, os.WriteFile(spoilt, text, 0o600))
		empty := t.TempDir()
		assert.Error(t, sqlite.Restore(t.Context(), spoilt, empty), name)
		_, err := os.Stat(filepath.Join(empty, "lotwright.db"))
		assert.ErrorIs(t, err, os.ErrNotExist, name)
	}
}
