package shapefile

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

const wgs84 = `GEOGCS["GCS_WGS_1984",DATUM["D_WGS_1984",SPHEROID["WGS_1984",6378137.0,298.257223563]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]]`

// little returns little-endian numbers one after another.
func little(values ...any) []byte {
	var out []byte
	for _, v := range values {
		switch v := v.(type) {
		case int:
			out = binary.LittleEndian.AppendUint32(out, uint32(v))
		case float64:
			out = binary.LittleEndian.AppendUint64(out, math.Float64bits(v))
		case []byte:
			out = append(out, v...)
		}
	}
	return out
}

// shp is a .shp part of one type with the given records.
func shp(kind int, records ...[]byte) []byte {
	var body []byte
	for i, r := range records {
		body = binary.BigEndian.AppendUint32(body, uint32(i+1))
		body = binary.BigEndian.AppendUint32(body, uint32(len(r)/2))
		body = append(body, r...)
	}
	head := binary.BigEndian.AppendUint32(nil, 9994)
	head = append(head, make([]byte, 20)...)
	head = binary.BigEndian.AppendUint32(head, uint32(100+len(body))/2)
	head = append(head, little(1000, kind, make([]byte, 64))...)
	return append(head, body...)
}

// lines is a record of a line or polygon; every position is followed by
// nothing, also in the types with heights, which come after all of them.
func lines(kind int, parts ...[][2]float64) []byte {
	n := 0
	starts, points := []byte(nil), []byte(nil)
	for _, p := range parts {
		starts = append(starts, little(n)...)
		n += len(p)
		for _, q := range p {
			points = append(points, little(q[0], q[1])...)
		}
	}
	return little(kind, make([]byte, 32), len(parts), n, starts, points)
}

// testColumn is a column of a table; cells are padded with blanks.
type testColumn struct {
	name  string
	kind  byte
	width int
}

// dbf is a .dbf part. The first byte of each row is its mark: a blank, or a
// star for a deleted one.
func dbf(language byte, columns []testColumn, rows ...[]string) []byte {
	width := 1
	for _, c := range columns {
		width += c.width
	}
	head := make([]byte, 32)
	head[0], head[29] = 3, language
	binary.LittleEndian.PutUint32(head[4:], uint32(len(rows)))
	binary.LittleEndian.PutUint16(head[8:], uint16(33+32*len(columns)))
	binary.LittleEndian.PutUint16(head[10:], uint16(width))
	for _, c := range columns {
		f := make([]byte, 32)
		copy(f, c.name)
		f[11], f[16] = c.kind, byte(c.width)
		head = append(head, f...)
	}
	head = append(head, 0x0d)
	for _, row := range rows {
		head = append(head, row[0]...)
		for i, c := range columns {
			head = append(head, (row[i+1] + string(bytes.Repeat([]byte(" "), c.width)))[:c.width]...)
		}
	}
	return append(head, 0x1a)
}

// entry is a part of an archive.
type entry struct {
	name string
	text []byte
}

// zipped writes an archive and returns its path.
func zipped(t testing.TB, parts ...entry) string {
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, p := range parts {
		w, err := z.Create(p.name)
		require.NoError(t, err)
		_, err = w.Write(p.text)
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	path := filepath.Join(t.TempDir(), "a.zip")
	require.NoError(t, os.WriteFile(path, out.Bytes(), 0o600))
	return path
}
