package geopackage

import (
	"context"
	"database/sql"
	"fmt"
	"iter"
	"slices"
	"strings"

	"lotwright/importer"
	"lotwright/importer/table"
)

// The tables that describe the others (clause 1.1.2, 1.1.3 and 2.1.5).
const (
	contentsTable = "gpkg_contents"
	systemsTable  = "gpkg_spatial_ref_sys"
	columnsTable  = "gpkg_geometry_columns"
)

// list reads which feature tables there are, each through [File.find].
func (f *File) list(ctx context.Context) error {
	for _, name := range []string{contentsTable, systemsTable, columnsTable} {
		if _, err := f.find(ctx, name); err != nil {
			return err
		}
	}
	layers, err := f.layers(ctx)
	if err != nil {
		return err
	}
	for _, l := range layers {
		if err := f.add(ctx, l); err != nil {
			return err
		}
	}
	return nil
}

// layer is a row of gpkg_geometry_columns about a table of features.
type layer struct {
	table, geometry string
	srs             int64
	system          table.System
}

func (f *File) layers(ctx context.Context) ([]layer, error) {
	rows, err := f.conn.QueryContext(ctx, `SELECT g.table_name, g.column_name, g.srs_id,
			s.organization, s.organization_coordsys_id, s.definition, s.srs_name
		FROM gpkg_geometry_columns g NOT INDEXED
		JOIN gpkg_contents c ON c.table_name = g.table_name AND c.data_type = 'features'
		LEFT JOIN gpkg_spatial_ref_sys s ON s.srs_id = g.srs_id
		LIMIT ?`, f.limits.Tables+1)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var layers []layer
	for rows.Next() {
		var l layer
		var organization, definition, name sql.NullString
		var code sql.NullInt64
		if err := rows.Scan(&l.table, &l.geometry, &l.srs, &organization, &code, &definition, &name); err != nil {
			return nil, importer.Refuse(-1, "gpkg.corrupt", "the database is damaged: the list of its tables holds what it must not")
		}
		l.system = systemOf(l.srs, organization.String, code.Int64, definition.String, name.String)
		layers = append(layers, l)
	}
	if len(layers) > f.limits.Tables {
		return nil, importer.Refuse(-1, "gpkg.too_large", "more than %d tables", f.limits.Tables)
	}
	slices.SortFunc(layers, func(a, b layer) int { return strings.Compare(a.table, b.table) })
	return layers, rows.Err()
}

// systemOf describes a coordinate system. The ids 0 and −1 say that it is not
// known (clause 1.1.2.1.2).
func systemOf(srs int64, organization string, code int64, definition, name string) table.System {
	if srs <= 0 {
		return table.System{}
	}
	s := table.System{Definition: definition, Name: fmt.Sprintf("%s (srs_id %d)", name, srs)}
	if strings.EqualFold(organization, "EPSG") && code > 0 && code < 1<<20 {
		s.Code = int(code)
	}
	return s
}

// add lists one feature table. Its names must be found in the schema: what
// stands in the describing tables is only text.
func (f *File) add(ctx context.Context, l layer) error {
	columns, err := f.find(ctx, l.table)
	if err != nil {
		return err
	}
	at := slices.IndexFunc(columns, func(c column) bool { return strings.EqualFold(c.name, l.geometry) })
	if at < 0 {
		return importer.Refuse(-1, "gpkg.name", "table %.80q has no column %.80q", l.table, l.geometry)
	}
	s := selection{file: f, table: l.table, geometry: columns[at].name, srs: l.srs}
	t := table.Table{Name: l.table, System: l.system}
	for i, c := range columns {
		if c.key > 0 && s.key == "" {
			s.key = c.name
		}
		if i != at {
			t.Columns = append(t.Columns, c.name)
		}
	}
	t.Rows = func(ctx context.Context, columns []string) iter.Seq2[table.Row, error] { return s.rows(ctx, columns) }
	f.tables = append(f.tables, t)
	return nil
}

// column is a stored column of a table.
type column struct {
	name string
	key  int // position in the primary key, from 1; 0: none
}

// find returns the stored columns of an ordinary table; what is anything else
// is refused. Its pages are checked.
func (f *File) find(ctx context.Context, name string) ([]column, error) {
	var kind, definition string
	err := f.conn.QueryRowContext(ctx, `SELECT type, coalesce(substr(sql, 1, 40), '') FROM sqlite_schema
		WHERE name = ? COLLATE NOCASE AND type IN ('table', 'view')`, name).Scan(&kind, &definition)
	switch {
	case err == sql.ErrNoRows && strings.HasPrefix(name, "gpkg_"):
		return nil, importer.Refuse(-1, "gpkg.not_geopackage", "the database is not a GeoPackage: it has no table %s", name)
	case err == sql.ErrNoRows:
		return nil, importer.Refuse(-1, "gpkg.name", "table %.80q is listed, but not in the database", name)
	case err != nil:
		return nil, err
	case kind == "view":
		return nil, importer.Refuse(-1, "gpkg.not_table", "%.80q is a view; only ordinary tables are read", name)
	case !strings.HasPrefix(strings.ToUpper(definition), "CREATE TABLE"):
		return nil, importer.Refuse(-1, "gpkg.not_table", "%.80q is a virtual table; only ordinary tables are read", name)
	}
	if err := f.check(ctx, name); err != nil {
		return nil, err
	}
	return f.columns(ctx, name)
}

// check has SQLite check the pages of a table.
func (f *File) check(ctx context.Context, name string) error {
	var answer string
	err := f.conn.QueryRowContext(ctx, "PRAGMA quick_check("+quoted(name)+")").Scan(&answer)
	if err == nil && answer != "ok" {
		return importer.Refuse(-1, "gpkg.corrupt", "the database is damaged: %.200s", answer)
	}
	return err
}

func (f *File) columns(ctx context.Context, name string) ([]column, error) {
	rows, err := f.conn.QueryContext(ctx, "SELECT name, pk FROM pragma_table_info(?)", name)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var columns []column
	for rows.Next() {
		var c column
		if err := rows.Scan(&c.name, &c.key); err != nil {
			return nil, err
		}
		columns = append(columns, c)
	}
	return columns, rows.Err()
}

// quoted returns a name as SQL has it, whatever is in it.
func quoted(name string) string { return `"` + strings.ReplaceAll(name, `"`, `""`) + `"` }
