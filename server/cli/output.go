package cli

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"lotwright/layout/feature"
)

// Names within an output folder.
const (
	mapName   = "map"
	tableName = "table.csv"
	sheetName = "sheet.svg"
	planDir   = "plans"
)

// standardStream as a file name is stdin or stdout.
const standardStream = "-"

// outputFlags say where a design goes.
type outputFlags struct {
	Out      string     `short:"o" placeholder:"OUT" help:"Map to write (.geojson, .geojsonl, .geojsonseq, .gpkg, .dxf, each also .gz), - for stdout, or a folder (ending in / or existing) for map, table, sheet and plans together. Needed unless --packet is given." group:"Output:"`
	Format   *mapFormat `placeholder:"geojson" help:"Form of the map: geojson, geojsonl (newline-delimited), geojsonseq (RFC 8142), gpkg (GeoPackage, a table a layer, with styles) or dxf (drawing of release 12, in metres). Default: by the name of OUT." group:"Output:"`
	Pictures string     `placeholder:"DIR" help:"Folder for a plan of every lot and a sheet of them all, as SVG." group:"Output:"`
	Table    string     `placeholder:"FILE.csv" help:"Figures of every lot, a line each." group:"Output:"`
}

// mapFormat is a form of the map and the names it goes by.
type mapFormat struct {
	name       string
	format     feature.Format
	extensions []string // the first is used for new names
	// open starts a map that is not GeoJSON; format says nothing then.
	open func(target) (sink, error)
}

// UnmarshalText reads the name of a form.
func (m *mapFormat) UnmarshalText(text []byte) error {
	for _, known := range mapFormats {
		if known.name == string(text) {
			*m = known
			return nil
		}
	}
	return fmt.Errorf("%q is not a form: geojson, geojsonl, geojsonseq, gpkg or dxf", text)
}

var mapFormats = []mapFormat{
	{name: "geojson", format: feature.Collection, extensions: []string{".geojson", ".json"}},
	{name: "geojsonl", format: feature.NewlineDelimited, extensions: []string{".geojsonl", ".ndjson", ".jsonl"}},
	{name: "geojsonseq", format: feature.TextSequence, extensions: []string{".geojsonseq", ".geojsons"}},
	{name: "gpkg", open: newDatabaseSink, extensions: []string{".gpkg"}},
	{name: "dxf", open: newDrawingSink, extensions: []string{".dxf"}},
}

// destination is where everything goes, settled before any work is done.
type destination struct {
	mapFile  string // "-": stdout
	form     mapFormat
	pictures string // folder; empty: none
	table    string // file; empty: none
}

// within puts everything into the folder of a packet, unless a flag says
// otherwise.
func (f outputFlags) within(packet string) outputFlags {
	if f.Out == "" && packet != "" {
		f.Out = packet + string(filepath.Separator)
	}
	return f
}

// destination settles names and forms; faults are of usage.
func (f outputFlags) destination() (destination, error) {
	if f.Out == "" {
		return destination{}, usagef("--out or --packet must say where the designs go")
	}
	if isFolder(f.Out) {
		return f.folder(), nil
	}
	d := destination{mapFile: f.Out, pictures: f.Pictures, table: f.Table}
	m, known := f.form()
	if !known {
		return d, usagef("--out: %q has no extension that names a form: .geojson, .geojsonl, .geojsonseq, .gpkg or .dxf, each also .gz; or give --format, or a folder ending in /", f.Out)
	}
	d.form = m
	return d, nil
}

// form is the one asked for, or the one that the name of the file asks for.
func (f outputFlags) form() (m mapFormat, known bool) {
	switch {
	case f.Format != nil:
		return *f.Format, true
	case f.Out == standardStream:
		return mapFormats[0], true
	}
	name := strings.ToLower(f.Out)
	if compressed(name) {
		name = name[:len(name)-len(".gz")]
	}
	for _, m := range mapFormats {
		if slices.Contains(m.extensions, filepath.Ext(name)) {
			return m, true
		}
	}
	return mapFormat{}, false
}

// folder puts everything into one folder, unless a flag says otherwise.
func (f outputFlags) folder() destination {
	m := mapFormats[0]
	if f.Format != nil {
		m = *f.Format
	}
	return destination{
		mapFile:  filepath.Join(f.Out, mapName+m.extensions[0]),
		form:     m,
		pictures: orElse(f.Pictures, f.Out),
		table:    orElse(f.Table, filepath.Join(f.Out, tableName)),
	}
}

func orElse(s, other string) string {
	if s != "" {
		return s
	}
	return other
}

// isFolder reports whether a name means a folder: it ends like one, or is one.
func isFolder(name string) bool {
	if strings.HasSuffix(name, "/") || strings.HasSuffix(name, string(filepath.Separator)) {
		return true
	}
	info, err := os.Stat(name)
	return err == nil && info.IsDir()
}

// notOver refuses to write over an input.
func (d destination) notOver(inputs []string) error {
	for _, out := range []string{d.mapFile, d.table} {
		written, err := os.Stat(out)
		if err != nil {
			continue
		}
		for _, in := range inputs {
			if read, err := os.Stat(in); err == nil && os.SameFile(read, written) {
				return usagef("%s is an input and an output", in)
			}
		}
	}
	return nil
}

// target is something being written: kept when it is complete as far as it
// goes, dropped when writing it failed.
type target interface {
	io.Writer
	keep() error
	drop()
}

// open starts a file, or stdout for "-".
func (c *console) open(path string) (target, error) {
	if path == standardStream {
		return stdoutTarget{bufio.NewWriter(c.out)}, nil
	}
	return createFile(path)
}

// stdoutTarget buffers stdout; what is through cannot be taken back.
type stdoutTarget struct{ *bufio.Writer }

func (t stdoutTarget) keep() error { return t.Flush() }
func (t stdoutTarget) drop()       { _ = t.Flush() } // the fault that led here is reported
