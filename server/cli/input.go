package cli

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"lotwright/importer/assemble"
	"lotwright/layout"
)

// inputFlags say where the lots come from.
type inputFlags struct {
	In          []string    `arg:"" optional:"" name:"IN" help:"GeoJSON (also newline-delimited or as text sequence) or GeoPackage, also gzipped, or zipped shapefiles whose features carry lot and layer; or a GeoPackage or zip with a table a layer. FILE.gpkg:TABLE is one table. - is stdin."`
	Layers      []layerFile `name:"layer" sep:"none" placeholder:"LAYER=FILE" help:"A file or table that is one layer, such as building=roofs.geojson or building=city.gpkg:roofs; joined to the parcels by place. Once a layer." group:"Input:"`
	LotProperty string      `placeholder:"NAME" help:"Property that holds the lot's id. Default: lot." group:"Input:"`
	Lots        []string    `name:"lot" sep:"none" placeholder:"ID" help:"Only this lot; repeat for more." group:"Input:"`
}

// layerFile is a file all of whose features show one layer.
type layerFile struct {
	layer layout.Layer
	path  string
}

// UnmarshalText reads LAYER=FILE.
func (f *layerFile) UnmarshalText(text []byte) error {
	name, path, ok := strings.Cut(string(text), "=")
	if !ok || path == "" {
		return fmt.Errorf("%q is not a layer and a file such as building=roofs.geojson", text)
	}
	if !slices.Contains(layout.InputLayers(), layout.Layer(name)) {
		return fmt.Errorf("%q is not a layer; the layers are %s", name, layerNames())
	}
	f.layer, f.path = layout.Layer(name), path
	return nil
}

func layerNames() string {
	var names []string
	for _, l := range layout.InputLayers() {
		names = append(names, string(l))
	}
	return strings.Join(names, ", ")
}

// files lists every file that is read.
func (f inputFlags) files() []string {
	files := slices.Clone(f.In)
	for _, l := range f.Layers {
		files = append(files, l.path)
	}
	for i, name := range files {
		files[i], _ = splitTable(name)
	}
	return files
}

// inputs turns the flags into what the importer opens; faults are of usage.
func (f inputFlags) inputs(c *console) ([]assemble.Input, error) {
	var inputs []assemble.Input
	for _, path := range f.In {
		inputs = append(inputs, c.input(path))
	}
	seen := map[layout.Layer]bool{}
	for _, l := range f.Layers {
		if seen[l.layer] {
			return nil, usagef("--layer: %s is given twice; one file a layer", l.layer)
		}
		seen[l.layer] = true
		in := c.input(l.path)
		in.Layer = l.layer
		inputs = append(inputs, in)
	}
	if len(inputs) == 0 {
		return nil, usagef("no input: name a file, - for stdin, or --layer parcel=FILE")
	}
	if n := len(slices.DeleteFunc(f.files(), func(p string) bool { return p != standardStream })); n > 1 {
		return nil, usagef("stdin (-) is given %d times", n)
	}
	return inputs, nil
}

func (c *console) input(path string) assemble.Input {
	if path == standardStream {
		return assemble.Input{Name: "stdin", Reader: c.in}
	}
	path, table := splitTable(path)
	return assemble.Input{Name: path, Path: path, Table: table}
}

// tableFiles are the endings of files that hold tables.
var tableFiles = []string{".gpkg", ".gpkg.gz", ".zip"}

// splitTable takes FILE.gpkg:TABLE apart.
func splitTable(name string) (path, table string) {
	for i := range name {
		if name[i] != ':' {
			continue
		}
		before := strings.ToLower(name[:i])
		if slices.ContainsFunc(tableFiles, func(ending string) bool { return strings.HasSuffix(before, ending) }) {
			return name[:i], name[i+1:]
		}
	}
	return name, ""
}

// lotList is the lots of a run, in the order of their ids.
type lotList struct {
	*assemble.Batch       // in order already
	only            []int // indexes of the lots named by --lot; nil: all
}

// open reads the inputs up to the lots.
func (f inputFlags) open(ctx context.Context, c *console) (*lotList, error) {
	inputs, err := f.inputs(c)
	if err != nil {
		return nil, err
	}
	batch, err := assemble.Open(ctx, inputs, assemble.Options{LotProperty: f.LotProperty})
	if err != nil {
		return nil, err
	}
	l := &lotList{Batch: batch}
	if len(f.Lots) > 0 {
		if l.only, err = indexes(batch, f.Lots); err != nil {
			return nil, errors.Join(err, batch.Close())
		}
	}
	return l, nil
}

// indexes finds the lots named, each once and in order.
func indexes(batch *assemble.Batch, ids []string) (found []int, err error) {
	missing := map[string]bool{}
	for _, id := range ids {
		missing[id] = true
	}
	for i := range batch.Len() {
		if id := batch.ID(i); missing[id] {
			delete(missing, id)
			found = append(found, i)
		}
	}
	for _, id := range ids {
		if missing[id] {
			return nil, usagef("--lot: no lot %q in the input", id)
		}
	}
	return found, nil
}

func (l *lotList) len() int {
	if l.only == nil {
		return l.Len()
	}
	return len(l.only)
}

// index is where the i-th lot of the run lies in the batch.
func (l *lotList) index(i int) int {
	if l.only == nil {
		return i
	}
	return l.only[i]
}

func (l *lotList) item(i int) assemble.Item { return l.Lot(l.index(i)) }

// idsFrom lists the ids of the i-th lot of the run and all after it.
func (l *lotList) idsFrom(i int) (ids []string) {
	for ; i < l.len(); i++ {
		ids = append(ids, l.ID(l.index(i)))
	}
	return ids
}
