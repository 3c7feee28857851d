package assemble

import (
	"context"
	"errors"
	"io"

	"lotwright/importer"
	"lotwright/importer/geojson"
	"lotwright/importer/geopackage"
	"lotwright/importer/project"
	"lotwright/importer/shapefile"
	"lotwright/importer/table"
	"lotwright/layout"
)

// openFile opens an input by what its first bytes say it is, whatever its name.
func (b *Batch) openFile(ctx context.Context, in Input) error {
	if in.Name == "" {
		in.Name = in.Path
	}
	s, err := sniff(ctx, in, b.options.Limits)
	if err == nil {
		defer s.close()
		err = b.openSniffed(ctx, in, s)
	}
	var refusal *importer.Refusal
	if errors.As(err, &refusal) && refusal.Finding.File == "" {
		refusal.Finding.File = in.Name
	}
	return err
}

func (b *Batch) openSniffed(ctx context.Context, in Input, s *sniffed) error {
	if s.kind != text {
		path, err := s.asFile()
		if err != nil {
			return err
		}
		open := openGeoPackage
		if s.kind == archive {
			open = openShapefiles
		}
		f, err := open(ctx, path, b.options.Limits)
		if err != nil {
			return err
		}
		defer f.Close()
		return b.openTables(ctx, in, f.Tables())
	}
	if in.Table != "" {
		return importer.Refuse(-1, "table.none", "the file has no tables, so it has no table %.80q", in.Table)
	}
	return b.openText(ctx, in, s.reader)
}

// tables is a file of tables.
type tables interface {
	Tables() []table.Table
	Close() error
}

func openGeoPackage(ctx context.Context, path string, limits importer.Limits) (tables, error) {
	return geopackage.Open(ctx, path, limits)
}

func openShapefiles(_ context.Context, path string, limits importer.Limits) (tables, error) {
	return shapefile.Open(path, limits)
}

func (b *Batch) openText(ctx context.Context, in Input, reader io.Reader) error {
	src := geojson.Source{
		Name: in.Name, Path: in.Path, Reader: in.Reader, Format: in.Format,
		Layer: in.Layer, LotProperty: b.options.LotProperty,
	}
	if reader != nil {
		src.Path, src.Reader = "", reader
	}
	f, err := b.add(ctx, src)
	if err != nil || f.CRS() == "" {
		return err
	}
	return b.settleSystem(f)
}

// add opens text and makes it a file of the batch.
func (b *Batch) add(ctx context.Context, src geojson.Source) (*file, error) {
	d, err := geojson.Open(ctx, src, b.options.Limits)
	if err != nil {
		return nil, err
	}
	b.files = append(b.files, file{Document: d})
	b.findings = append(b.findings, d.Findings()...)
	return &b.files[len(b.files)-1], nil
}

// settleSystem looks up the system named by an old crs member.
func (b *Batch) settleSystem(f *file) error {
	system, ok := project.Lookup(f.CRS())
	if !ok {
		r := importer.Refuse(-1, "crs.unsupported", "the coordinate system %.80q is not known; send WGS 84 degrees", f.CRS())
		r.Finding.File = f.Name()
		return r
	}
	f.system = system
	if system.Degrees() {
		b.remark(f.Name(), importer.Found(layout.SeverityInfo, "crs.ignored", "member crs is obsolete and was ignored"))
		return nil
	}
	b.remark(f.Name(), importer.Found(layout.SeverityInfo, "crs.transformed", "coordinates were turned from %s into WGS 84 degrees", system.Name))
	return nil
}

// remark notes a finding about a file as a whole.
func (b *Batch) remark(file string, f importer.Finding) {
	f.File = file
	b.findings = append(b.findings, f)
}

// openTables opens the tables of a file that show something.
func (b *Batch) openTables(ctx context.Context, in Input, tables []table.Table) error {
	picks, err := b.pick(in, tables)
	if err != nil {
		return err
	}
	for _, p := range picks {
		if err := b.openTable(ctx, in, p); err != nil {
			return err
		}
	}
	return nil
}

func (b *Batch) openTable(ctx context.Context, in Input, p pick) error {
	system, err := systemOf(p.table)
	if err != nil {
		return err
	}
	if property := b.options.LotProperty; property != "" && (p.layer == "" || p.layer == layout.LayerParcel) {
		if _, ok := p.table.Column(property); !ok {
			return importer.Refuse(-1, "table.no_column", "table %.80q has no column %.80q for the lot's id; it has %s", p.table.Name, property, list(p.table.Columns))
		}
	}
	text := table.Text(ctx, p.table, b.options.LotProperty, system.LonLat)
	defer text.Close()
	f, err := b.add(ctx, geojson.Source{
		Name: in.Name + ":" + p.table.Name, Reader: text, Format: geojson.Sequence, Derived: true,
		Layer: p.layer, LotProperty: b.options.LotProperty,
	})
	if err != nil {
		return err
	}
	for _, remark := range p.table.Remarks {
		b.remark(f.Name(), remark)
	}
	b.remark(in.Name, importer.Found(layout.SeverityInfo, "table.read", "table %.80q, in %.80s, is read %s", p.table.Name, system.Name, p.words()))
	return nil
}

// systemOf finds the system of a table by its code or else its definition.
func systemOf(t table.Table) (project.System, error) {
	const advice = "bring the file to WGS 84 (ogr2ogr -t_srs EPSG:4326)"
	if t.System.Code == 0 && t.System.Definition == "" {
		return project.System{}, importer.Refuse(-1, "crs.missing", "nothing says in which coordinate system table %.80q is; %s", t.Name, advice)
	}
	if system, ok := project.LookupCode(t.System.Code); ok {
		return system, nil
	}
	system, err := project.ParseWKT(t.System.Definition)
	if err != nil {
		return system, importer.Refuse(-1, "crs.unsupported", "the coordinate system %.80q of table %.80q is not understood: %v; %s",
			t.System.Name, t.Name, err, advice)
	}
	return system, nil
}
