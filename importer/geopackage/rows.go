package geopackage

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"strings"
	"time"

	"lotwright/importer"
	"lotwright/importer/table"
)

// selection is what is read of one feature table.
type selection struct {
	file                 *File
	table, geometry, key string
	srs                  int64
}

// rows yields the rows with the columns asked for, as they lie in the table.
func (s selection) rows(ctx context.Context, columns []string) iter.Seq2[table.Row, error] {
	return func(yield func(table.Row, error) bool) {
		rows, err := s.file.conn.QueryContext(ctx, s.query(columns))
		if err != nil {
			yield(table.Row{}, refusal(err))
			return
		}
		defer rows.Close()
		for number := 1; rows.Next(); number++ {
			row, err := s.scan(rows, len(columns))
			if err != nil {
				yield(table.Row{}, s.fault(number, err))
				return
			}
			if !yield(row, nil) {
				return
			}
		}
		if err := rows.Err(); err != nil {
			yield(table.Row{}, refusal(err))
		}
	}
}

// query reads the table itself, from one end to the other: an index may hold
// what the table does not.
func (s selection) query(columns []string) string {
	var b strings.Builder
	b.WriteString("SELECT " + quoted(s.geometry) + ", ")
	if s.key == "" {
		b.WriteString("NULL")
	} else {
		b.WriteString(quoted(s.key))
	}
	for _, c := range columns {
		b.WriteString(", " + quoted(c))
	}
	b.WriteString(" FROM " + quoted(s.table) + " NOT INDEXED")
	return b.String()
}

func (s selection) scan(rows *sql.Rows, columns int) (row table.Row, err error) {
	values := make([]any, 2+columns)
	places := make([]any, len(values))
	for i := range values {
		places[i] = &values[i]
	}
	if err := rows.Scan(places...); err != nil {
		return row, err
	}
	if key, ok := values[1].(int64); ok {
		row.ID = fmt.Sprint(key)
	}
	for _, v := range values[2:] {
		row.Values = append(row.Values, plainValue(v))
	}
	switch v := values[0].(type) {
	case nil:
		return row, nil
	case []byte:
		if len(v) > geometryBytes {
			row.Unread = "a geometry of more than 8 MiB"
			return row, nil
		}
		row.Geometry, row.Unread, err = decode(v, s.srs)
		return row, err
	}
	return row, errors.New("the geometry is no binary value")
}

// geometryBytes is the length up to which a geometry is looked into, several
// times what the limits on positions let through.
const geometryBytes = 8 << 20

// plainValue undoes what the driver makes of the types that columns claim.
func plainValue(v any) any {
	if t, ok := v.(time.Time); ok {
		return t.UTC().Format(time.RFC3339)
	}
	return v
}

// fault is the refusal because of one row.
func (s selection) fault(number int, err error) error {
	var mismatch *systemMismatch
	rule := "gpkg.geometry"
	if errors.As(err, &mismatch) {
		rule = "crs.mismatch"
	}
	r := importer.Refuse(-1, rule, "row %d of table %.80q: %v", number, s.table, err)
	r.Finding.Feature = number - 1
	return r
}
