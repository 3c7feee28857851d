package sheet

import (
	"lotwright/layout/paper"
)

// Type sizes and line heights, in page units.
const (
	bodySize     = 10.8
	bodyLeading  = 14.0
	titleSize    = 13.0
	titleLeading = 20.0
	blockGap     = 12.0 // between one block and the next
	columnGap    = 22.0
)

// flow sets blocks one below another, in two columns or across the page, on as
// many pages as they need.
//
// A page is cut into bands, one below another, each in columns or across. In a
// band of columns the left one is filled first. A block across the page begins
// below both.
type flow struct {
	settings Settings
	pages    []*paper.Page
	page     *paper.Page // nil before the first block
	content  paper.Box

	across bool    // the band has one column
	top    float64 // of the band
	right  bool    // in the right column
	y      float64 // where the next block begins
	left   float64 // where the left column ends, once in the right one
}

func newFlow(s Settings) *flow { return &flow{settings: s, content: s.content()} }

// newPage turns to a new page.
func (f *flow) newPage() {
	f.page = f.settings.blankPage()
	f.pages = append(f.pages, f.page)
	f.top, f.y, f.right, f.left = f.content.Top+4, f.content.Top+4, false, 0
}

// band begins a new band below all there is, if the one under way is not alike.
func (f *flow) band(across bool) {
	if f.page == nil {
		f.newPage()
	}
	if f.across == across {
		return
	}
	f.across = across
	f.y = max(f.y, f.left)
	if f.y > f.content.Top+4 {
		f.y += blockGap
	}
	f.top, f.right, f.left = f.y, false, 0
}

// column returns the left edge and the width of the column under way.
func (f *flow) column() (left, width float64) {
	if f.across {
		return f.content.Left, f.content.Width()
	}
	width = f.columnWidth()
	if f.right {
		return f.content.Left + width + columnGap, width
	}
	return f.content.Left, width
}

func (f *flow) columnWidth() float64 { return (f.content.Width() - columnGap) / 2 }

// fits reports whether a height goes below what is there.
func (f *flow) fits(height float64) bool { return f.y+height <= f.content.Bottom }

// next turns to the next column or page.
func (f *flow) next() {
	if f.across || f.right {
		f.newPage()
		return
	}
	f.left, f.y, f.right = f.y, f.top, true
}

// need makes room for a height, as far as a page has any. It reports whether it
// had to turn.
func (f *flow) need(height float64) bool {
	turned := false
	for !f.fits(height) {
		fresh := f.y <= f.content.Top+4 // nothing better will come
		if fresh && turned {
			return true
		}
		f.next()
		turned = true
	}
	return turned
}

// gap leaves room before a block that is not the first of its column.
func (f *flow) gap() {
	if f.y > f.top {
		f.y += blockGap
	}
}

// heading writes a title, and keeps it with the height that follows.
func (f *flow) heading(words string, follows float64) {
	f.gap()
	f.need(titleLeading + follows)
	left, width := f.column()
	f.page.Text(paper.Label{At: paper.At(left, f.y+titleSize), Words: paper.Shortened(words, width, titleSize, true), Size: titleSize, Bold: true})
	f.y += titleLeading
}

// paragraph writes wrapped text.
func (f *flow) paragraph(words string) { f.indented(words, 0, bodySize, false) }

const mostLines = 200 // of a paragraph, however long

// wrapped breaks text into lines; bold letters are wider.
func wrapped(words string, width, size float64, bold bool, most int) []string {
	if bold {
		width /= paper.BoldWider
	}
	return paper.Wrapped(words, width, size, most)
}

func (f *flow) indented(words string, indent, size float64, bold bool) {
	_, width := f.column()
	for _, line := range wrapped(words, width-indent, size, bold, mostLines) {
		f.need(bodyLeading)
		left, _ := f.column()
		f.page.Text(paper.Label{At: paper.At(left+indent, f.y+size), Words: line, Size: size, Bold: bold})
		f.y += bodyLeading
	}
}
