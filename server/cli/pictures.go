package cli

import (
	"fmt"
	"io"
	"path/filepath"

	"lotwright/layout/drawing"
)

// sheetLots is how many lots the contact sheet shows: more could not be told
// apart on one page, and holding them would cost memory.
const sheetLots = 200

// pictureSink draws a plan of each lot as it comes, and a sheet of the first
// [sheetLots] at the end.
type pictureSink struct {
	folder string
	names  *fileNames
	shown  []drawing.Item
	lots   int
}

func newPictureSink(folder string) *pictureSink {
	return &pictureSink{folder: folder, names: newFileNames()}
}

func (s *pictureSink) put(o *outcome) error {
	s.lots++
	if len(s.shown) < sheetLots {
		s.shown = append(s.shown, drawing.Item{Lot: o.item.Lot, Design: o.design})
	}
	return writeFile(s.planFile(o.design.LotID), func(w io.Writer) error {
		return drawing.Plan(w, o.item.Lot, o.design)
	})
}

func (s *pictureSink) planFile(id string) string {
	return filepath.Join(s.folder, planDir, s.names.of(id)+".svg")
}

func (s *pictureSink) keep() error {
	title := plural(s.lots, "lot")
	if len(s.shown) < s.lots {
		title = fmt.Sprintf("%d of %s", len(s.shown), title)
	}
	return writeFile(filepath.Join(s.folder, sheetName), func(w io.Writer) error {
		return drawing.ContactSheet(w, title, s.shown)
	})
}

func (s *pictureSink) drop() {} // plans are whole, each by itself
