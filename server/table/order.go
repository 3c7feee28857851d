package table

import (
	"archive/zip"
	"bytes"
	"cmp"
	"io"
	"slices"
)

// contentTypes is the part that names all others; it goes first, as is usual.
const contentTypes = "[Content_Types].xml"

// inOrder copies a ZIP archive with its entries by name: excelize writes its
// sheets in the order of a map. Entries are copied as they are compressed.
func inOrder(out io.Writer, data []byte) error {
	in, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return err
	}
	slices.SortFunc(in.File, func(a, b *zip.File) int {
		if (a.Name == contentTypes) != (b.Name == contentTypes) {
			if a.Name == contentTypes {
				return -1
			}
			return 1
		}
		return cmp.Compare(a.Name, b.Name)
	})
	w := zip.NewWriter(out)
	for _, f := range in.File {
		if err := w.Copy(f); err != nil {
			return err
		}
	}
	return w.Close()
}
