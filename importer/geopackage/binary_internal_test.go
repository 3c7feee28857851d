package geopackage

import (
	"encoding/binary"
	"encoding/hex"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/twpayne/go-geom"
	"github.com/twpayne/go-geom/encoding/wkb"

	"lotwright/importer"
)

// packed puts a GeoPackage header with an envelope of the given code before
// well-known binary.
func packed(order binary.AppendByteOrder, envelope int, srs int32, body []byte) []byte {
	flags := byte(envelope << 1)
	if order == binary.AppendByteOrder(binary.LittleEndian) {
		flags |= 1
	}
	out := order.AppendUint32([]byte{'G', 'P', 0, flags}, uint32(srs))
	return append(append(out, make([]byte, envelopeBytes[envelope])...), body...)
}

// Random geometries of every type that is read, with heights and measures and
// in both byte orders, as go-geom (a reader and writer of its own) writes them.
func TestDecodeAgainstGoGeom(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	for range 500 {
		layout := []geom.Layout{geom.XY, geom.XYZ, geom.XYM, geom.XYZM}[r.IntN(4)]
		shape, want := randomShape(r, layout)
		for _, order := range []binary.AppendByteOrder{binary.LittleEndian, binary.BigEndian} {
			body, err := wkb.Marshal(shape, order.(binary.ByteOrder))
			require.NoError(t, err)
			got, unread, err := decode(packed(order, r.IntN(5), 4326, body), 4326)
			require.NoError(t, err)
			assert.Empty(t, unread)
			assert.Equal(t, want, got)
		}
	}
}

func randomShape(r *rand.Rand, layout geom.Layout) (geom.T, importer.Geometry) {
	coords := func(n int) (line []geom.Coord, want []importer.Position) {
		for range n {
			c := make(geom.Coord, layout.Stride())
			for i := range c {
				c[i] = r.NormFloat64()
			}
			line, want = append(line, c), append(want, importer.Position{c[0], c[1]})
		}
		return line, want
	}
	lines := func() (all [][]geom.Coord, want [][]importer.Position) {
		for range 1 + r.IntN(3) {
			line, w := coords(2 + r.IntN(5))
			all, want = append(all, line), append(want, w)
		}
		return all, want
	}
	switch r.IntN(6) {
	case 0:
		line, want := coords(1)
		return geom.NewPoint(layout).MustSetCoords(line[0]), importer.Geometry{Type: importer.Point, Parts: [][][]importer.Position{{want}}}
	case 1:
		line, want := coords(4)
		return geom.NewLineString(layout).MustSetCoords(line), importer.Geometry{Type: importer.LineString, Parts: [][][]importer.Position{{want}}}
	case 2:
		rings, want := lines()
		return geom.NewPolygon(layout).MustSetCoords(rings), importer.Geometry{Type: importer.Polygon, Parts: [][][]importer.Position{want}}
	case 3:
		line, want := coords(3)
		g := importer.Geometry{Type: importer.MultiPoint}
		for _, p := range want {
			g.Parts = append(g.Parts, [][]importer.Position{{p}})
		}
		return geom.NewMultiPoint(layout).MustSetCoords(line), g
	case 4:
		all, want := lines()
		g := importer.Geometry{Type: importer.MultiLineString}
		for _, l := range want {
			g.Parts = append(g.Parts, [][]importer.Position{l})
		}
		return geom.NewMultiLineString(layout).MustSetCoords(all), g
	}
	a, wantA := lines()
	b, wantB := lines()
	return geom.NewMultiPolygon(layout).MustSetCoords([][][]geom.Coord{a, b}),
		importer.Geometry{Type: importer.MultiPolygon, Parts: [][][]importer.Position{wantA, wantB}}
}

// little returns little-endian numbers one after another: bytes, uint32 and
// float64.
func little(values ...any) []byte {
	var out []byte
	for _, v := range values {
		switch v := v.(type) {
		case int:
			out = append(out, byte(v))
		case uint32:
			out = binary.LittleEndian.AppendUint32(out, v)
		case float64:
			out = binary.LittleEndian.AppendUint64(out, math.Float64bits(v))
		}
	}
	return out
}

func TestDecodeRefuses(t *testing.T) {
	point := little(1, uint32(1), 1.0, 2.0)
	for name, c := range map[string]struct {
		blob   []byte
		reason string
	}{
		"nothing":        {nil, "does not begin"},
		"other magic":    {append([]byte("XP"), packed(binary.LittleEndian, 0, 1, point)[2:]...), "does not begin"},
		"version 2":      {[]byte{'G', 'P', 1, 1, 1, 0, 0, 0}, "does not begin"},
		"envelope 5":     {[]byte{'G', 'P', 0, 5<<1 | 1, 1, 0, 0, 0}, "envelope"},
		"short envelope": {packed(binary.LittleEndian, 4, 1, nil)[:30], "envelope"},
		"other system":   {packed(binary.LittleEndian, 0, 2, point), "srs_id 2"},
		"no type":        {packed(binary.LittleEndian, 0, 1, nil), "byte order"},
		"order 2":        {packed(binary.LittleEndian, 0, 1, little(2, uint32(1))), "byte order"},
		"type 99":        {packed(binary.LittleEndian, 0, 1, little(1, uint32(99))), "type 99"},
		"five numbers":   {packed(binary.LittleEndian, 0, 1, little(1, uint32(3001|1<<31))), "not known"},
		"short point":    {packed(binary.LittleEndian, 0, 1, point[:20]), "ends early"},
		"left over":      {packed(binary.LittleEndian, 0, 1, append(point, 0)), "left over"},
		"no count":       {packed(binary.LittleEndian, 0, 1, little(1, uint32(2))), "missing"},
		"2^31 positions": {packed(binary.LittleEndian, 0, 1, little(1, uint32(2), uint32(1<<31-1), 1.0, 2.0)), "do not fit"},
		"2^32 rings":     {packed(binary.LittleEndian, 0, 1, little(1, uint32(3), uint32(1<<32-1))), "do not fit"},
		"2^32 parts":     {packed(binary.LittleEndian, 0, 1, little(1, uint32(6), uint32(1<<32-1))), "do not fit"},
		"line in points": {packed(binary.LittleEndian, 0, 1, append(little(1, uint32(4), uint32(1)), little(1, uint32(2), uint32(1), 1.0, 2.0)...)), "something else"},
	} {
		_, _, err := decode(c.blob, 1)
		assert.ErrorContains(t, err, c.reason, name)
	}
}

// What is sound but cannot be drawn here is named, so that the lot alone is
// refused.
func TestDecodeNamesWhatIsNotRead(t *testing.T) {
	for code, name := range map[uint32]string{8: "CircularString", 10: "CurvePolygon", 1010: "CurvePolygon", 3012: "MultiSurface", 16: "TIN"} {
		g, unread, err := decode(packed(binary.LittleEndian, 0, 1, little(1, code, uint32(7))), 1)
		require.NoError(t, err)
		assert.Equal(t, name, unread)
		assert.Equal(t, importer.NoGeometry, g.Type)
	}
	blob := packed(binary.LittleEndian, 0, 1, nil)
	blob[3] |= 1 << 5
	_, unread, err := decode(blob, 1)
	require.NoError(t, err)
	assert.NotEmpty(t, unread)
}

func TestDecodeEmpty(t *testing.T) {
	flagged := packed(binary.LittleEndian, 0, 1, little(1, uint32(3), uint32(0)))
	flagged[3] |= 1 << 4
	nan := math.NaN()
	for _, blob := range [][]byte{flagged, packed(binary.LittleEndian, 0, 1, little(1, uint32(1), nan, nan))} {
		g, unread, err := decode(blob, 1)
		require.NoError(t, err)
		assert.Equal(t, importer.Geometry{}, g)
		assert.Empty(t, unread)
	}
}

// Any bytes give a geometry, a name or a reason, and never more positions than
// there are bytes for.
func FuzzDecode(f *testing.F) {
	for _, seed := range []string{
		"47500001e6100000010300000001000000050000000000000000003ec0000000000000444000000000000000000000000000000000",
		"47500001e6100000010700000001000000010700000000000000",
	} {
		blob, err := hex.DecodeString(seed)
		require.NoError(f, err)
		f.Add(blob)
	}
	r := rand.New(rand.NewPCG(13, 14))
	for range 10 {
		shape, _ := randomShape(r, geom.XYZ)
		body, err := wkb.Marshal(shape, binary.LittleEndian)
		require.NoError(f, err)
		f.Add(packed(binary.LittleEndian, 1, 4326, body))
	}
	f.Fuzz(func(t *testing.T, blob []byte) {
		g, unread, err := decode(blob, 4326)
		require.LessOrEqual(t, 16*g.Vertices(), len(blob))
		require.False(t, err == nil && unread != "" && g.Type != importer.NoGeometry)
	})
}

func TestLongestRun(t *testing.T) {
	assert.Zero(t, longestRun(make([]byte, 1000)))
	assert.Equal(t, 3, longestRun([]byte{0, 1, 1, 2, 2, 2, 0, 0, 0, 0, 2}))
}
