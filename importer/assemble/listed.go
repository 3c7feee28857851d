package assemble

import (
	"context"
	"errors"
	"path/filepath"
	"strings"

	"lotwright/importer"
	"lotwright/importer/table"
	"lotwright/layout"
)

// Listed is a table of an input, or an input of text as a whole, and what it may
// be taken for.
type Listed struct {
	File, Table string // Table is empty where the file is text
	Columns     []string
	System      string // of coordinates; empty where nothing says it
	Features    int
	Geometry    importer.GeometryType // of the first feature that has one

	Layer    layout.Layer // by its name; empty: it speaks of none
	Labelled bool         // every row says its lot and layer
}

// List lists what the inputs hold, before anything is taken for lots.
func List(ctx context.Context, inputs []Input, o Options) (out []Listed, err error) {
	o.Limits = o.Limits.OrDefaults()
	for _, in := range inputs {
		if in.Name == "" {
			in.Name = in.Path
		}
		part, err := listFile(ctx, in, o)
		var refusal *importer.Refusal
		if errors.As(err, &refusal) && refusal.Finding.File == "" {
			refusal.Finding.File = in.Name
		}
		if err != nil {
			return nil, err
		}
		out = append(out, part...)
	}
	return out, nil
}

func listFile(ctx context.Context, in Input, o Options) ([]Listed, error) {
	s, err := sniff(ctx, in, o.Limits)
	if err != nil {
		return nil, err
	}
	defer s.close()
	if s.kind == text {
		if s.reader != nil {
			in.Path, in.Reader = "", s.reader
		}
		return listText(ctx, in, o)
	}
	path, err := s.asFile()
	if err != nil {
		return nil, err
	}
	open := openGeoPackage
	if s.kind == archive {
		open = openShapefiles
	}
	f, err := open(ctx, path, o.Limits)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	var out []Listed
	for _, t := range f.Tables() {
		l, err := listTable(ctx, in.Name, t, o)
		if err != nil {
			return nil, err
		}
		out = append(out, l)
	}
	return out, nil
}

// listTable counts the rows and looks at the first of them.
func listTable(ctx context.Context, file string, t table.Table, o Options) (Listed, error) {
	l := Listed{File: file, Table: t.Name, Columns: t.Columns, Labelled: t.IsLabelled(o.LotProperty)}
	l.Layer, _ = table.Guess(t.Name)
	if system, err := systemOf(t); err == nil {
		l.System = system.Name
	}
	for row, err := range t.Rows(ctx, nil) {
		if err != nil {
			return l, err
		}
		l.Features++
		if l.Geometry == importer.NoGeometry {
			l.Geometry = row.Geometry.Type
		}
	}
	return l, nil
}

// listText reads text without asking for labels, as a layer that needs none.
func listText(ctx context.Context, in Input, o Options) ([]Listed, error) {
	l := Listed{File: in.Name, System: "WGS 84"}
	base := filepath.Base(in.Name)
	l.Layer, _ = table.Guess(strings.SplitN(base, ".", 2)[0])
	b := &Batch{options: o}
	defer b.Close()
	labelled := in
	labelled.Layer = ""
	switch err := b.openFile(ctx, labelled); {
	case err == nil:
		l.Labelled = true
	case in.Path == "": // read once
		return nil, err
	default:
		in.Layer = layout.LayerBuilding
		if b.openFile(ctx, in) != nil {
			return nil, err
		}
	}
	f := b.files[len(b.files)-1]
	l.Features = f.Len()
	if !f.system.Degrees() {
		l.System = f.system.Name
	}
	if l.Features > 0 {
		l.Geometry = f.Feature(0).Geometry.Type
	}
	return []Listed{l}, nil
}
