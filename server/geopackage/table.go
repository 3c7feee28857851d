package geopackage

import (
	"database/sql"
	"fmt"
	"strings"

	"lotwright/layout/feature"
)

// wgs84 is the id of WGS 84 in GeoPackages, axes in the order of the standard:
// longitude first.
const wgs84 = 4326

// layerTable is the table of one layer.
type layerTable struct {
	feature.Layer
	row, index *sql.Stmt
	rows       int64
	extent     box
}

var columnTypes = map[feature.Type]string{
	feature.String: "TEXT", feature.Integer: "INTEGER", feature.Real: "DOUBLE", feature.Boolean: "BOOLEAN",
}

func (t *layerTable) create(w *Writer) error {
	geometry := strings.ToUpper(string(t.Geometry))
	columns := []string{"fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL", "geom " + geometry}
	marks := []string{"?", "?"}
	for _, f := range t.Fields {
		columns = append(columns, quoted(f.Name)+" "+columnTypes[f.Type])
		marks = append(marks, "?")
	}
	index := quoted("rtree_" + t.Name + "_geom")
	for _, statement := range []string{
		"CREATE TABLE " + quoted(t.Name) + " (" + strings.Join(columns, ", ") + ")",
		"CREATE VIRTUAL TABLE " + index + " USING rtree(id, minx, maxx, miny, maxy)",
	} {
		if err := w.exec(statement); err != nil {
			return err
		}
	}
	if err := t.describe(w, geometry); err != nil {
		return err
	}
	var err error
	if t.row, err = w.tx.Prepare("INSERT INTO " + quoted(t.Name) + " VALUES (" + strings.Join(marks, ", ") + ")"); err != nil {
		return err
	}
	t.index, err = w.tx.Prepare("INSERT INTO " + index + " VALUES (?, ?, ?, ?, ?)")
	return err
}

// describe lists the table in the describing tables, with the meaning of its
// columns.
func (t *layerTable) describe(w *Writer, geometry string) error {
	if err := w.exec("INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change, srs_id) VALUES (?, 'features', ?, ?, ?, ?)",
		t.Name, t.Name, t.Meaning, w.time, wgs84); err != nil {
		return err
	}
	if err := w.exec("INSERT INTO gpkg_geometry_columns VALUES (?, 'geom', ?, ?, 0, 0)", t.Name, geometry, wgs84); err != nil {
		return err
	}
	if err := w.exec("INSERT INTO gpkg_extensions VALUES (?, 'geom', 'gpkg_rtree_index', ?, 'write-only')", t.Name, indexDefinition); err != nil {
		return err
	}
	for _, f := range t.Fields {
		if err := w.exec("INSERT INTO gpkg_data_columns (table_name, column_name, name, title, description) VALUES (?, ?, ?, ?, ?)",
			t.Name, f.Name, f.Name, titled(f), f.Meaning); err != nil {
			return err
		}
	}
	return nil
}

// titled is the name of a column in words, with its unit.
func titled(f feature.Field) string {
	if f.Unit == "" {
		return strings.ReplaceAll(f.Name, "_", " ")
	}
	stem := f.Name[:max(strings.LastIndexByte(f.Name, '_'), 0)]
	return fmt.Sprintf("%s (%s)", strings.ReplaceAll(stem, "_", " "), f.Unit)
}

// quoted returns a name as SQL has it.
func quoted(name string) string { return `"` + strings.ReplaceAll(name, `"`, `""`) + `"` }

func (t *layerTable) insert(f decoded) error {
	t.rows++
	blob, bounds, err := f.geometry(t.Geometry)
	if err != nil {
		return err
	}
	values := []any{t.rows, blob}
	for _, field := range t.Fields {
		v, err := f.value(field)
		if err != nil {
			return err
		}
		values = append(values, v)
	}
	if _, err := t.row.Exec(values...); err != nil || blob == nil {
		return err
	}
	t.extent = t.extent.with(bounds)
	_, err = t.index.Exec(t.rows, bounds.min[0], bounds.max[0], bounds.min[1], bounds.max[1])
	return err
}

// finish writes what is known at the end: the extent, the style, and the
// triggers of the index.
func (t *layerTable) finish(w *Writer) error {
	if t.extent.some {
		if err := w.exec("UPDATE gpkg_contents SET min_x = ?, min_y = ?, max_x = ?, max_y = ? WHERE table_name = ?",
			t.extent.min[0], t.extent.min[1], t.extent.max[0], t.extent.max[1], t.Name); err != nil {
			return err
		}
	}
	if err := w.exec(fmt.Sprintf(indexSQL, t.Name)); err != nil {
		return err
	}
	s, ok := styles[t.Name]
	if !ok {
		return nil
	}
	return w.exec(`INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, styleName, styleQML, styleSLD,
		useAsDefault, description, owner, ui, update_time) VALUES ('', '', ?, 'geom', ?, ?, ?, 1, ?, '', NULL, ?)`,
		t.Name, t.Name, s.qml(t.Layer), s.sld(t.Layer), t.Meaning, w.time)
}
