package table

import (
	"fmt"

	"github.com/xuri/excelize/v2"
)

// mostRows is the most rows a sheet of the format holds.
const mostRows = excelize.TotalRows

// sheet writes rows from the top down and goes on in another sheet when full.
type sheet struct {
	file    *excelize.File
	name    string
	columns []string
	styles  styles
	parts   int
	limit   int
	stream  *excelize.StreamWriter
	next    int // row
}

func newSheet(f *excelize.File, name string, columns []string, st styles) (*sheet, error) {
	s := &sheet{file: f, name: name, columns: columns, styles: st, limit: mostRows}
	return s, s.part()
}

// part begins the sheet, or the next one when it is full.
func (s *sheet) part() error {
	s.parts++
	name := s.name
	if s.parts > 1 {
		if err := s.flush(); err != nil {
			return err
		}
		name = fmt.Sprintf("%s %d", s.name, s.parts)
	}
	if _, err := s.file.NewSheet(name); err != nil {
		return err
	}
	stream, err := s.file.NewStreamWriter(name)
	if err != nil {
		return err
	}
	s.stream, s.next = stream, 1
	if err := stream.SetColWidth(1, 1, 24); err != nil {
		return err
	}
	if err := stream.SetColWidth(2, 13, 16); err != nil {
		return err
	}
	if s.columns == nil {
		return nil
	}
	if err := stream.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	return s.write(s.styles.header(s.columns...))
}

// row writes a row below the last.
func (s *sheet) row(cells ...any) error {
	if s.next > s.limit {
		if err := s.part(); err != nil {
			return err
		}
	}
	return s.write(cells)
}

func (s *sheet) rows(rows [][]any) error {
	for _, r := range rows {
		if err := s.row(r...); err != nil {
			return err
		}
	}
	return nil
}

func (s *sheet) write(cells []any) error {
	at := fmt.Sprintf("A%d", s.next)
	s.next++
	return s.stream.SetRow(at, cells)
}

func (s *sheet) flush() error { return s.stream.Flush() }
