package sheet

import (
	"errors"
	"fmt"
	"io"
	"time"

	"lotwright/layout"
	"lotwright/layout/paper"
)

// Size is a size of paper, upright.
type Size int

// The sizes.
const (
	Letter Size = iota // 8.5 × 11 in
	A4                 // 210 × 297 mm
)

const mmPerInch = 25.4

// page returns width and height in page units.
func (s Size) page() (width, height float64) {
	if s == A4 {
		return 210 / mmPerInch * paper.UnitsPerInch, 297 / mmPerInch * paper.UnitsPerInch
	}
	return 8.5 * paper.UnitsPerInch, 11 * paper.UnitsPerInch
}

// Settings say how sheets are made. The zero value makes undated letter sheets in
// feet and inches.
type Settings struct {
	Size  Size
	Units Units
	Date  time.Time // printed, and the date of the PDF; zero: none
	Job   string    // what the lots belong to, printed on every page

	// Record makes record drawings: of what was built, without the order of work.
	Record bool
}

// kind is what a sheet is called.
func (s Settings) kind() string {
	if s.Record {
		return "Record drawing"
	}
	return "Field sheet"
}

// Lot is what one sheet shows.
type Lot struct {
	Lot    *layout.Lot // nil where the input gave no usable outline
	Design *layout.Design
	Tables []Table // parts, cut list, run times and the like, in this order
}

// Sheet is the finished sheet of one lot.
type Sheet struct {
	ID    string // of the lot, as printed
	Pages []*paper.Page

	settings Settings
}

var errNoDesign = errors.New("sheet: no design to draw")

// New makes the sheet of a lot: the plan, then tables and the order of work on as
// many pages as they need. An error means a design that makes no sense.
func New(in Lot, s Settings) (*Sheet, error) {
	if in.Design == nil {
		return nil, errNoDesign
	}
	stakes, err := stakeOut(in.Lot, in.Design, s.Units)
	if err != nil {
		return nil, fmt.Errorf("sheet: lot %q: %w", in.Design.LotID, err)
	}
	out := &Sheet{ID: printableID(in.Design.LotID), settings: s}
	first, unnamed := planPage(in, stakes, s)
	f := newFlow(s)
	f.lotPages(in, stakes, unnamed)
	out.Pages = append([]*paper.Page{first}, f.pages...)
	for i, p := range out.Pages {
		frameNumbered(p, s, "lot "+out.ID, i+1, len(out.Pages))
	}
	return out, nil
}

// lotPages writes all that follows the plan.
func (f *flow) lotPages(in Lot, stakes stakes, unnamed int) {
	f.notes(in, unnamed)
	f.stakeTable(stakes)
	f.table(headTable(in.Design, f.settings.Units))
	f.table(zoneTable(in.Design, f.settings.Units))
	f.table(trenchTable(in.Design, f.settings.Units))
	f.table(pipeTable(in.Design, f.settings.Units))
	if len(in.Design.Heads) > 0 && !f.settings.Record {
		f.orderOfWork(in.Design)
	}
	for _, t := range in.Tables {
		f.table(t)
	}
}

// WriteSVG writes one page, counted from 0, as SVG.
func (s *Sheet) WriteSVG(w io.Writer, page int) error {
	if page < 0 || page >= len(s.Pages) {
		return fmt.Errorf("sheet: lot %q has %d pages, there is none of index %d", s.ID, len(s.Pages), page)
	}
	return s.Pages[page].WriteSVG(w)
}

// WritePDF writes the sheet as PDF. The same sheet gives the same bytes.
func (s *Sheet) WritePDF(w io.Writer) error {
	doc := newDocument(s.settings, s.settings.kind()+", lot "+s.ID)
	for _, p := range s.Pages {
		doc.add(p)
	}
	return doc.write(w)
}
