// Package shapefile reads zipped shapefiles (ESRI, "Shapefile technical
// description", 1998; the attributes are dBASE III tables) as from a stranger:
// straight out of the archive, record by record, nothing unpacked and no stated
// size believed. What the coordinates are must be said by the .prj part; how
// text is written, by the .cpg part.
package shapefile

import (
	"archive/zip"
	"cmp"
	"io"
	"os"
	"path"
	"slices"
	"strings"

	"lotwright/importer"
	"lotwright/importer/table"
)

// File is an opened archive of shapefiles; not for concurrent use.
type File struct {
	file   *os.File
	limits importer.Limits
	tables []table.Table
	read   int64 // bytes unpacked, of all parts
}

// Open opens the archive and lists its shapefiles. What is wrong with it is an
// *importer.Refusal.
func Open(name string, limits importer.Limits) (*File, error) {
	file, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	f := &File{file: file, limits: limits.OrDefaults()}
	if err := f.open(); err != nil {
		_ = file.Close() // only read
		return nil, err
	}
	return f, nil
}

// Tables lists the shapefiles in the order of their names.
func (f *File) Tables() []table.Table { return f.tables }

// Close closes the archive; rows cannot be read afterwards.
func (f *File) Close() error { return f.file.Close() }

func (f *File) open() error {
	info, err := f.file.Stat()
	if err != nil {
		return err
	}
	if info.Size() > f.limits.Store {
		return importer.Refuse(-1, "body.too_large", "the archive is longer than the limit of %d bytes", f.limits.Store)
	}
	archive, err := zip.NewReader(f.file, info.Size())
	if err != nil {
		return importer.Refuse(-1, "archive.corrupt", "the zip archive is damaged: %v", err)
	}
	groups, err := f.groups(archive.File)
	if err != nil {
		return err
	}
	for _, g := range groups {
		t, err := f.table(g)
		if err != nil {
			return err
		}
		f.tables = append(f.tables, t)
	}
	if len(groups) == 0 {
		return importer.Refuse(-1, "archive.no_shapefile", "the archive holds no shapefile (.shp); send GeoJSON and GeoPackages as they are or gzipped")
	}
	return nil
}

// group is the parts of one shapefile by their endings.
type group struct {
	name  string
	parts map[string]*zip.File
}

// groups puts the parts of each shapefile together and refuses archives that
// hold what no honest one does.
func (f *File) groups(entries []*zip.File) ([]group, error) {
	if len(entries) > f.limits.Tables {
		return nil, importer.Refuse(-1, "body.too_large", "more than %d parts in the archive", f.limits.Tables)
	}
	byName := map[string]group{}
	for _, e := range entries {
		if err := f.check(e); err != nil {
			return nil, err
		}
		base := path.Base(e.Name)
		if strings.HasSuffix(e.Name, "/") || strings.HasPrefix(base, ".") || strings.HasPrefix(e.Name, "__MACOSX/") {
			continue // folders, and what desktops leave beside files
		}
		ending := strings.ToLower(path.Ext(base))
		name := strings.TrimSuffix(e.Name, path.Ext(base))
		key := strings.ToLower(name)
		g, known := byName[key]
		if !known {
			g = group{name: name, parts: map[string]*zip.File{}}
			byName[key] = g
		}
		if g.parts[ending] != nil {
			return nil, importer.Refuse(-1, "archive.duplicate", "the archive holds %.80q twice", e.Name)
		}
		g.parts[ending] = e
	}
	return sound(byName)
}

// sound keeps what has shapes, and asks for the attributes.
func sound(byName map[string]group) (groups []group, err error) {
	for _, g := range byName {
		if g.parts[".shp"] != nil {
			groups = append(groups, g)
		}
	}
	slices.SortFunc(groups, func(a, b group) int { return cmp.Compare(a.name, b.name) })
	for _, g := range groups {
		if g.parts[".dbf"] == nil {
			return nil, importer.Refuse(-1, "shp.incomplete", "%.80q lacks its part .dbf, the attributes", g.name)
		}
	}
	return groups, nil
}

// check refuses names that point elsewhere, archives in archives, and what
// cannot be read.
func (f *File) check(e *zip.File) error {
	const encrypted = 1
	switch elements := strings.Split(e.Name, "/"); {
	case e.Name == "", elements[0] == "", strings.ContainsAny(e.Name, "\\:\x00"), slices.Contains(elements, ".."):
		return importer.Refuse(-1, "archive.path", "the name %.80q in the archive is not one of a file inside it", e.Name)
	case e.Flags&encrypted != 0:
		return importer.Refuse(-1, "archive.encrypted", "%.80q in the archive is encrypted", e.Name)
	}
	switch strings.ToLower(path.Ext(e.Name)) {
	case ".zip", ".gz", ".7z", ".rar", ".tar", ".tgz", ".bz2", ".xz":
		return importer.Refuse(-1, "archive.nested", "%.80q is an archive in the archive; nested archives are not opened", e.Name)
	}
	return f.checkSize(e, e.UncompressedSize64)
}

// Bounds on how much may come out of little: parts of shapefiles shrink to a
// tenth or so, attributes of blanks to a hundredth. A judgement.
const (
	mostRatio   = 200
	ratioBegins = 64 << 20 // bytes
)

func (f *File) checkSize(e *zip.File, size uint64) error {
	limit := uint64(f.limits.Body)
	if size > limit || size > ratioBegins && size/mostRatio > e.CompressedSize64 {
		return importer.Refuse(-1, "body.too_large", "%.80q in the archive unpacks to more than the limit of %d bytes, or of %d times its size", e.Name, limit, mostRatio)
	}
	return nil
}

// part opens a part for reading from the start.
func (f *File) part(e *zip.File) (*part, error) {
	r, err := e.Open()
	if err != nil {
		return nil, damagedPart(e, err)
	}
	return &part{file: f, entry: e, packed: r}, nil
}

func damagedPart(e *zip.File, err error) error {
	return importer.Refuse(-1, "archive.corrupt", "%.80q in the archive is damaged: %v", e.Name, err)
}

// part is a part that is being unpacked, within the limits.
type part struct {
	file   *File
	entry  *zip.File
	packed io.ReadCloser
	read   uint64
}

// Read reads unpacked bytes.
func (p *part) Read(b []byte) (int, error) {
	n, err := p.packed.Read(b)
	p.read += uint64(n)
	p.file.read += int64(n)
	if err != nil && err != io.EOF {
		return n, damagedPart(p.entry, err)
	}
	if p.file.read > p.file.limits.Store {
		return 0, importer.Refuse(-1, "body.too_large", "the archive unpacks to more than the limit of %d bytes", p.file.limits.Store)
	}
	if over := p.file.checkSize(p.entry, p.read); over != nil {
		return 0, over
	}
	return n, err
}

// Close ends the unpacking.
func (p *part) Close() error { return p.packed.Close() }

// short reads a part of a few bytes as a whole; what is longer is cut.
func (f *File) short(e *zip.File) (string, error) {
	const most = 64 << 10
	if e == nil {
		return "", nil
	}
	p, err := f.part(e)
	if err != nil {
		return "", err
	}
	defer p.Close()
	text, err := io.ReadAll(io.LimitReader(p, most))
	return string(text), err
}
