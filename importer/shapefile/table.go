package shapefile

import (
	"bufio"
	"context"
	"errors"
	"io"
	"iter"
	"path"
	"slices"
	"strings"

	"lotwright/importer"
	"lotwright/importer/table"
	"lotwright/layout"
)

// table describes one shapefile.
func (f *File) table(g group) (t table.Table, err error) {
	t.Name = path.Base(g.name)
	definition, err := f.short(g.parts[".prj"])
	if err != nil {
		return t, err
	}
	if definition = strings.TrimSpace(definition); definition != "" {
		t.System = table.System{Definition: definition, Name: systemName(definition)}
	}
	attributes, err := f.attributes(g)
	if err != nil {
		return t, err
	}
	defer attributes.Close()
	page, err := f.short(g.parts[".cpg"])
	if err != nil {
		return t, err
	}
	enc, known := encodingFor(page, attributes.language)
	if !known {
		t.Remarks = append(t.Remarks, importer.Found(layout.SeverityWarning, "shp.encoding",
			"how its text is written is not known (.cpg says %.40q): taken for UTF-8 where it can be, else for Windows-1252", strings.TrimSpace(page)))
	}
	for _, c := range attributes.columns {
		t.Columns = append(t.Columns, c.name)
		if cut, ok := cutOff(c.name); ok {
			t.Remarks = append(t.Remarks, importer.Found(layout.SeverityWarning, "shp.column_cut",
				"column %q may have been %s: names of ten letters are cut off and then not read; send a GeoPackage", c.name, cut))
		}
	}
	t.Rows = f.rows(g, enc)
	return t, nil
}

// rows returns the reading of a table's rows.
func (f *File) rows(g group, enc textEncoding) func(context.Context, []string) iter.Seq2[table.Row, error] {
	return func(ctx context.Context, columns []string) iter.Seq2[table.Row, error] {
		return func(yield func(table.Row, error) bool) {
			r := &reading{file: f, group: g, encoding: enc, columns: columns}
			if err := r.each(ctx, func(row table.Row) bool { return yield(row, nil) }); err != nil {
				yield(table.Row{}, err)
			}
		}
	}
}

// systemName is the first name in well-known text.
func systemName(definition string) string {
	_, rest, _ := strings.Cut(definition, `"`)
	name, _, _ := strings.Cut(rest, `"`)
	return name
}

// nameBytes is the length at which dBASE cuts the names of columns.
const nameBytes = 10

// cutOff tells which known properties a column's name may be the start of. All
// that are longer than a name may be share their start with others.
func cutOff(column string) (names string, ok bool) {
	var fitting []string
	for _, name := range importer.QuantityNames() {
		if len(name) > nameBytes && strings.EqualFold(name[:nameBytes], column) {
			fitting = append(fitting, name)
		}
	}
	return strings.Join(fitting, " or "), len(fitting) > 0
}

// reading is one way through a shapefile: shapes and attributes side by side.
type reading struct {
	file     *File
	group    group
	encoding textEncoding
	columns  []string // asked for
}

// each yields the rows until yield returns false.
func (r *reading) each(ctx context.Context, yield func(table.Row) bool) error {
	shapes, err := r.file.shapes(r.group)
	if err != nil {
		return err
	}
	defer shapes.Close()
	attributes, err := r.file.attributes(r.group)
	if err != nil {
		return err
	}
	defer attributes.Close()
	fields := attributes.fields(r.columns)
	for number := 1; ; number++ {
		if err := ctx.Err(); err != nil {
			return err
		}
		row, err := shapes.next(number)
		switch {
		case errors.Is(err, io.EOF) && number-1 == attributes.rows:
			return nil
		case errors.Is(err, io.EOF), err == nil && number > attributes.rows:
			return r.mismatch(shapes, number, attributes.rows, err == nil)
		case err != nil:
			return err
		}
		values, deleted, err := attributes.next(number, fields, r.encoding)
		if err != nil {
			return err
		}
		if row.Values = values; !deleted && !yield(row) {
			return nil
		}
	}
}

// mismatch counts the shapes to the end, if there are more of them, and tells.
func (r *reading) mismatch(shapes *shapes, number, rows int, more bool) error {
	for n := number; more; {
		n++
		_, err := shapes.next(n)
		if err != nil && !errors.Is(err, io.EOF) {
			return err
		}
		more, number = err == nil, n
	}
	return importer.Refuse(-1, "shp.mismatch", "%.80q has %d shapes, but %d rows of attributes", r.group.name, number-1, rows)
}

// attributes opens the .dbf part and reads its header.
func (f *File) attributes(g group) (*attributes, error) {
	p, err := f.part(g.parts[".dbf"])
	if err != nil {
		return nil, err
	}
	a := &attributes{name: g.parts[".dbf"].Name, Closer: p, from: bufio.NewReader(p)}
	if err := a.header(); err != nil {
		return nil, errors.Join(err, p.Close())
	}
	return a, nil
}

// shapes opens the .shp part and reads its header.
func (f *File) shapes(g group) (*shapes, error) {
	p, err := f.part(g.parts[".shp"])
	if err != nil {
		return nil, err
	}
	s := &shapes{name: g.parts[".shp"].Name, Closer: p, from: bufio.NewReader(p), rings: 2 * f.limits.Rings}
	if err := s.header(); err != nil {
		return nil, errors.Join(err, p.Close())
	}
	return s, nil
}

// fields lists the columns asked for, in that order.
func (a *attributes) fields(names []string) (fields []field) {
	for _, name := range names {
		i := slices.IndexFunc(a.columns, func(c field) bool { return c.name == name })
		fields = append(fields, a.columns[i])
	}
	return fields
}
