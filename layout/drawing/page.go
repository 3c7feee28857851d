package drawing

import "lotwright/layout/paper"

// page is a page of paper with the words and symbols of plans.
type page struct{ *paper.Page }

func newPage(width, height float64, decimals int) *page {
	return &page{&paper.Page{Width: width, Height: height, Decimals: decimals}}
}
