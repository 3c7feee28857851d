package shapefile

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"testing"

	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/table"
)

// Any bytes are shapes or refused, in no more positions than there are bytes
// for.
func FuzzShapes(f *testing.F) {
	for _, text := range [][]byte{
		shp(1, little(1, 1.0, 1.0)), shp(5, lines(5, square(0, 0, 4), reversed(square(0, 0, 2)))), shp(13, lines(13, square(0, 0, 4))),
		shp(8, little(8, make([]byte, 32), 1, 2.0, 3.0)),
	} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		s := &shapes{name: "f", from: bufio.NewReader(bytes.NewReader(text)), rings: 1000}
		err := s.header()
		positions := 0
		for n := 1; err == nil; n++ {
			var row table.Row
			row, err = s.next(n)
			positions += row.Geometry.Vertices()
		}
		require.LessOrEqual(t, 16*positions, len(text))
		requireRefused(t, err)
	})
}

func requireRefused(t *testing.T, err error) {
	var refusal *importer.Refusal
	if !errors.Is(err, io.EOF) {
		require.ErrorAs(t, err, &refusal)
	}
}

// Any bytes are a table of attributes or refused.
func FuzzAttributes(f *testing.F) {
	f.Add(dbf(0x57, []testColumn{{"LOT", 'C', 8}, {"n", 'N', 3}, {"l", 'L', 1}}, []string{" ", "a", "1", "T"}), "UTF-8")
	f.Add([]byte{}, "1252")
	f.Fuzz(func(t *testing.T, text []byte, page string) {
		a := &attributes{name: "f", from: bufio.NewReader(bytes.NewReader(text))}
		err := a.header()
		enc, _ := encodingFor(page, a.language)
		for n := 1; err == nil && n <= a.rows; n++ {
			var values []any
			var deleted bool
			values, deleted, err = a.next(n, a.columns, enc)
			require.True(t, err != nil || deleted || len(values) == len(a.columns))
		}
		if err != nil {
			requireRefused(t, err)
		}
	})
}

// Any rings make polygons that hold each of them once.
func FuzzRings(f *testing.F) {
	f.Add([]byte{4, 0, 0, 0, 4, 4, 4, 4, 0, 4, 1, 1, 1, 3, 3, 3, 3, 1})
	f.Fuzz(func(t *testing.T, text []byte) {
		var lines [][]importer.Position
		for len(text) > 0 && len(lines) < 20 {
			n := min(int(text[0]%8), (len(text)-1)/2)
			var line []importer.Position
			for k := range n {
				line = append(line, importer.Position{float64(text[1+2*k] % 8), float64(text[2+2*k] % 8)})
			}
			lines, text = append(lines, line), text[1+2*n:]
		}
		rings := 0
		for _, part := range polygonShape(lines).Parts {
			require.NotEmpty(t, part)
			rings += len(part)
		}
		require.Equal(t, len(lines), rings)
	})
}
