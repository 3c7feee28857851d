package geopackage

import (
	"context"
	"encoding/binary"
	"io"
	"os"

	"lotwright/importer"
)

// headerBytes is the length of a database's header, at the start of page 1.
const headerBytes = 100

// strangeRun is the length from which a run of one byte other than 0 in the
// unused middle of a page counts as written by something else than SQLite.
// SQLite leaves zeros there, or pieces of what was once in the page; disks and
// memories that fail leave runs. The length is a judgement.
const strangeRun = 512

// checkPages looks at the size and, page by page, at what SQLite never looks
// at: space that it left unused but something wrote over. Whoever wrote there
// may have written elsewhere too.
func (f *File) checkPages(ctx context.Context, path string) error {
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return err
	}
	if info.Size() > f.limits.Store {
		return importer.Refuse(-1, "body.too_large", "the database is longer than the limit of %d bytes", f.limits.Store)
	}
	size, err := pageSize(file)
	if err != nil {
		return err
	}
	page := make([]byte, size)
	for number := 1; ; number++ {
		if _, err := io.ReadFull(file, page); err != nil {
			return ctx.Err() // a last page cut short is for SQLite to judge
		}
		if wasOverwritten(page, number) {
			return importer.Refuse(-1, "gpkg.corrupt", "the database is damaged: something has written over page %d", number)
		}
		if number%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
	}
}

// pageSize reads the page size (SQLite file format, section 1.3.2), and goes
// back to the start.
func pageSize(file *os.File) (int, error) {
	var head [headerBytes]byte
	if _, err := file.ReadAt(head[:], 0); err != nil {
		return 0, importer.Refuse(-1, "gpkg.corrupt", "the database is damaged: it ends within its header")
	}
	size := int(binary.BigEndian.Uint16(head[16:]))
	if size == 1 {
		size = 1 << 16
	}
	if size < 512 || size&(size-1) != 0 {
		return 0, importer.Refuse(-1, "gpkg.corrupt", "the database is damaged: its page size is %d", size)
	}
	return size, nil
}

// wasOverwritten looks between the cell pointers and the cells of a b-tree page
// (section 1.6). Pages of other kinds begin with the number of another page,
// whose first byte is 0 in any file that is read.
func wasOverwritten(page []byte, number int) bool {
	at := 0
	if number == 1 {
		at = headerBytes
	}
	header := map[byte]int{2: 12, 5: 12, 10: 8, 13: 8}[page[at]]
	if header == 0 {
		return false
	}
	from := at + header + 2*int(binary.BigEndian.Uint16(page[at+3:]))
	to := int(binary.BigEndian.Uint16(page[at+5:]))
	if from >= to || to > len(page) {
		return false
	}
	return longestRun(page[from:to]) >= strangeRun
}

// longestRun is the length of the longest run of one byte other than 0.
func longestRun(p []byte) (longest int) {
	run := 0
	for i, b := range p {
		switch {
		case b == 0:
			run = 0
		case i > 0 && b == p[i-1]:
			run++
		default:
			run = 1
		}
		longest = max(longest, run)
	}
	return longest
}
