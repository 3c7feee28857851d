package sqlite

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
)

// Every file of migrations is one step of the schema, named by its number. A
// step that was released is never changed.
//
//go:embed migrations/*.sql
var migrations embed.FS

// applicationID marks the file as ours (PRAGMA application_id): "LotW".
const applicationID = 0x4c6f7457

// migrate brings the schema to the last step, each in a transaction of its own.
func migrate(ctx context.Context, db *sql.DB) error {
	steps, err := fs.Glob(migrations, "migrations/*.sql")
	if err != nil {
		return err
	}
	version, err := schemaVersion(ctx, db)
	if err != nil {
		return err
	}
	if version > len(steps) {
		return fmt.Errorf("the file has schema %d, this program knows up to %d: it was written by a newer one", version, len(steps))
	}
	for i := version; i < len(steps); i++ {
		if err := step(ctx, db, steps[i], i+1); err != nil {
			return fmt.Errorf("schema step %d: %w", i+1, err)
		}
	}
	return nil
}

// schemaVersion is 0 for an empty file.
func schemaVersion(ctx context.Context, db *sql.DB) (int, error) {
	var id, version, tables int
	err := db.QueryRowContext(ctx, `SELECT a.application_id, v.user_version, (SELECT count(*) FROM sqlite_schema)
		FROM pragma_application_id a, pragma_user_version v`).Scan(&id, &version, &tables)
	switch {
	case err != nil:
		return 0, err
	case id == 0 && tables == 0:
		return 0, nil
	case id != applicationID:
		return 0, errors.New("this SQLite file is not a store of lotwright")
	}
	return version, nil
}

func step(ctx context.Context, db *sql.DB, name string, version int) error {
	text, err := migrations.ReadFile(name)
	if err != nil {
		return err
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() // after a commit this does nothing
	mark := fmt.Sprintf("PRAGMA application_id=%d; PRAGMA user_version=%d;", applicationID, version)
	if _, err := tx.ExecContext(ctx, string(text)+mark); err != nil {
		return err
	}
	return tx.Commit()
}
