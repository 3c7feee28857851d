// Package table is what GeoPackages and shapefiles have in common: a file of
// tables whose rows are features. [Text] writes the rows as the GeoJSON text
// that package geojson reads, so that one reader alone judges features, gives
// them to lots and keeps them; only the columns that it looks at are written.
// [Guess] tells from a table's name which layer it is.
package table

import (
	"context"
	"iter"
	"slices"
	"strings"

	"lotwright/importer"
)

// Table is one table of features of a file.
type Table struct {
	Name    string
	Columns []string // of attributes, the key included
	System  System
	Remarks []importer.Finding // on the table as a whole
	// Rows yields the rows with the values of some of the columns, until the
	// first error.
	Rows func(ctx context.Context, columns []string) iter.Seq2[Row, error]
}

// System says what the coordinates are, in one or more ways; the zero value:
// the file does not say.
type System struct {
	Code       int    // EPSG; 0: unknown
	Definition string // well-known text; may be empty
	Name       string // for messages
}

// Row is one row.
type Row struct {
	ID       string // a whole number; may be empty
	Geometry importer.Geometry
	// Unread is the type of a geometry that is not read, such as CurvePolygon;
	// Geometry is empty then.
	Unread string
	Values []any // nil, string, int64, float64 or bool
}

// Column returns the column of that name in any letter case, as databases
// compare names.
func (t Table) Column(name string) (column string, ok bool) {
	if slices.Contains(t.Columns, name) {
		return name, true
	}
	i := slices.IndexFunc(t.Columns, func(c string) bool { return strings.EqualFold(c, name) })
	if i < 0 {
		return "", false
	}
	return t.Columns[i], true
}

// IsLabelled reports whether every row says which lot and layer it belongs to.
// lotProperty is the column with the lot's id; empty means "lot".
func (t Table) IsLabelled(lotProperty string) bool {
	if lotProperty == "" {
		lotProperty = lotColumn
	}
	_, lot := t.Column(lotProperty)
	_, layer := t.Column(layerColumn)
	return lot && layer
}

const (
	lotColumn   = "lot"
	layerColumn = "layer"
	fixedColumn = "fixed"
)

// property is a column that is written, and the name it is written under.
type property struct {
	column, name string
	label        bool // of a lot or a layer: written as text
	told         bool // in words, of a design: what is no text and no number is left out
}

// properties lists the columns of t that the reader of GeoJSON looks at.
func (t Table) properties(lotProperty string) []property {
	names := slices.Concat([]string{layerColumn, fixedColumn}, importer.LotIDNames(), importer.QuantityNames())
	if lotProperty != "" && !slices.Contains(names, lotProperty) {
		names = append(names, lotProperty)
	}
	var words []string
	if t.IsLabelled(lotProperty) { // a design may come back in it
		words = importer.TextNames()
	}
	var out []property
	for _, name := range slices.Concat(names, words) {
		if column, ok := t.Column(name); ok {
			label := name == lotColumn || name == layerColumn || name == lotProperty
			out = append(out, property{column, name, label, slices.Contains(words, name)})
		}
	}
	return out
}
