package cli

import (
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"lotwright/layout/drawing"
)

// sheetLots is how many lots the contact sheet shows: more could not be told
// apart on one page, and holding them would cost memory.
const sheetLots = 200

// pictureSink draws a plan of each lot as it comes, and a sheet of the first
// [sheetLots] at the end.
type pictureSink struct {
	folder string
	used   map[string]bool // file names, without regard to case
	shown  []drawing.Item
	lots   int
}

func newPictureSink(folder string) *pictureSink {
	return &pictureSink{folder: folder, used: map[string]bool{}}
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

// planFile names the plan of a lot. Lots whose ids differ only in case keep
// apart where file names do not.
func (s *pictureSink) planFile(id string) string {
	name := safeName(id)
	if s.used[strings.ToLower(name)] {
		name = hashedName(id)
	}
	s.used[strings.ToLower(name)] = true
	return filepath.Join(s.folder, planDir, name+".svg")
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
