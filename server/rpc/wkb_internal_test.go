package rpc

import (
	"encoding/binary"
	"encoding/hex"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"

	sf "github.com/peterstace/simplefeatures/geom"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/twpayne/go-geom"
	"github.com/twpayne/go-geom/encoding/ewkb"
	"github.com/twpayne/go-geom/encoding/wkb"

	pb "lotwright/proto/lotwright/v1"
)

func unhex(t testing.TB, text string) []byte {
	t.Helper()
	data, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	require.NoError(t, err)
	return data
}

type (
	coords = [][2]float64
	rings  = [][][2]float64
)

// The bytes are what outside programs wrote for the WKT beside them: GEOS
// 3.11.1 (shapely 1.8.5, wkb.dumps with srid and big_endian) and SpatiaLite
// 5.0.1 (ST_AsBinary and AsEWKB, by ogrinfo of GDAL 3.6.2).
func TestWKBOfOutsidePrograms(t *testing.T) {
	here, next, third := [2]float64{7.5, 47.25}, [2]float64{7.625, 47.25}, [2]float64{7.625, 47.375}
	point := [][][][2]float64{rings{coords{here}}}
	line := [][][][2]float64{rings{coords{here, next, third}}}
	shell := coords{here, {7.75, 47.25}, {7.75, 47.5}, here}
	hole := coords{{7.625, 47.3125}, {7.6875, 47.3125}, {7.6875, 47.375}, {7.625, 47.3125}}
	for _, c := range []struct {
		by, kind string
		parts    [][][][2]float64
		hex      string
	}{
		{"GEOS, POINT (7.5 47.25)", "Point", point,
			"01010000000000000000001E400000000000A04740"},
		{"GEOS, SRID 4326, big end first", "Point", point,
			"0020000001000010E6401E0000000000004047A00000000000"},
		{"GEOS, SRID=4326;POINT Z (7.5 47.25 431.5)", "Point", point,
			"01010000A0E61000000000000000001E400000000000A047400000000000F87A40"},
		{"SpatiaLite ISO, POINT Z (7.5 47.25 431.5)", "Point", point,
			"01E90300000000000000001E400000000000A047400000000000F87A40"},
		{"SpatiaLite ISO, POINT M (7.5 47.25 431.5)", "Point", point,
			"01D10700000000000000001E400000000000A047400000000000F87A40"},
		{"SpatiaLite ISO, POINT ZM (7.5 47.25 431.5 9)", "Point", point,
			"01B90B00000000000000001E400000000000A047400000000000F87A400000000000002240"},
		{"SpatiaLite EWKB, POINT M (7.5 47.25 431.5)", "Point", point,
			"0101000060E61000000000000000001E400000000000A047400000000000F87A40"},
		{"SpatiaLite EWKB, POINT ZM (7.5 47.25 431.5 9)", "Point", point,
			"01010000E0E61000000000000000001E400000000000A047400000000000F87A400000000000002240"},
		{"GEOS, LINESTRING (7.5 47.25, 7.625 47.25, 7.625 47.375)", "LineString", line,
			"000000000200000003401E0000000000004047A00000000000401E8000000000004047A00000000000401E8000000000004047B00000000000"},
		{"SpatiaLite ISO, LINESTRING Z (7.5 47.25 1, 7.625 47.25 2, 7.625 47.375 3)", "LineString", line,
			"01EA030000030000000000000000001E400000000000A04740000000000000F03F0000000000801E400000000000A0474000000000000000400000000000801E400000000000B047400000000000000840"},
		{"GEOS, POLYGON ((7.5 47.25, 7.75 47.25, 7.75 47.5, 7.5 47.25), (7.625 47.3125, 7.6875 47.3125, 7.6875 47.375, 7.625 47.3125))", "Polygon", [][][][2]float64{{shell, hole}},
			"0103000020E610000002000000040000000000000000001E400000000000A047400000000000001F400000000000A047400000000000001F400000000000C047400000000000001E400000000000A04740040000000000000000801E400000000000A847400000000000C01E400000000000A847400000000000C01E400000000000B047400000000000801E400000000000A84740"},
		{"GEOS, MULTIPOINT ((7.5 47.25), (7.625 47.375))", "MultiPoint", [][][][2]float64{{{here}}, {{third}}},
			"0104000020E61000000200000001010000000000000000001E400000000000A0474001010000000000000000801E400000000000B04740"},
		{"SpatiaLite ISO, MULTIPOINT ZM (7.5 47.25 1 2, 7.625 47.375 3 4)", "MultiPoint", [][][][2]float64{{{here}}, {{third}}},
			"01BC0B00000200000001B90B00000000000000001E400000000000A04740000000000000F03F000000000000004001B90B00000000000000801E400000000000B0474000000000000008400000000000001040"},
		{"GEOS, MULTILINESTRING ((7.5 47.25, 7.625 47.25), (7.625 47.375, 7.5 47.375))", "MultiLineString", [][][][2]float64{{{here, next}}, {{third, {7.5, 47.375}}}},
			"0020000005000010E600000002000000000200000002401E0000000000004047A00000000000401E8000000000004047A00000000000000000000200000002401E8000000000004047B00000000000401E0000000000004047B00000000000"},
		{"GEOS, MULTIPOLYGON (((7.5 47.25, 7.75 47.25, 7.75 47.5, 7.5 47.25)), ((7 47, 7.25 47, 7.25 47.125, 7 47)))", "MultiPolygon",
			[][][][2]float64{{shell}, {{{7, 47}, {7.25, 47}, {7.25, 47.125}, {7, 47}}}},
			"010600000002000000010300000001000000040000000000000000001E400000000000A047400000000000001F400000000000A047400000000000001F400000000000C047400000000000001E400000000000A04740010300000001000000040000000000000000001C4000000000008047400000000000001D4000000000008047400000000000001D4000000000009047400000000000001C400000000000804740"},
		{"SpatiaLite ISO, MULTIPOLYGON Z (((7.5 47.25 1, 7.75 47.25 2, 7.75 47.5 3, 7.5 47.25 1)))", "MultiPolygon", [][][][2]float64{{shell}},
			"01EE0300000100000001EB03000001000000040000000000000000001E400000000000A04740000000000000F03F0000000000001F400000000000A0474000000000000000400000000000001F400000000000C0474000000000000008400000000000001E400000000000A04740000000000000F03F"},
	} {
		kind, parts, err := decodeWKB(unhex(t, c.hex))
		require.NoError(t, err, c.by)
		assert.Equal(t, c.kind, kind, c.by)
		assert.Equal(t, c.parts, parts, c.by)
		requireEveryCutRefused(t, unhex(t, c.hex))
	}
}

// requireEveryCutRefused cuts a geometry off at every byte, and appends one.
func requireEveryCutRefused(t *testing.T, whole []byte) {
	t.Helper()
	for n := range whole {
		_, _, err := decodeWKB(whole[:n])
		require.ErrorContains(t, err, "at byte ", "%d of %x", n, whole)
	}
	_, _, err := decodeWKB(append(slices.Clone(whole), 0))
	require.ErrorContains(t, err, "1 bytes are left over")
}

func TestRefusedWKB(t *testing.T) {
	const (
		place    = "0000000000001E40 0000000000A04740"
		point    = "0101000000" + place
		nan, inf = "000000000000F87F", "000000000000F07F"
	)
	for name, c := range map[string]struct{ hex, want string }{
		"nothing":                   {"", "at byte 0: the bytes end before the geometry does"},
		"byte order":                {"02", "byte order 2"},
		"hexadecimal text":          {hex.EncodeToString([]byte("0101000000")), "hexadecimal text"},
		"GeoPackage":                {"4750000100000000" + point, "GeoPackage"},
		"other system":              {"0101000020 787A0000" + place, "got SRID 31352, want 4326"},
		"no system, minus one":      {"0101000020 FFFFFFFF" + place, "got SRID -1"},
		"other system of a member":  {"010400000001000000 0101000020787A0000" + place, "SRID 31352"},
		"any geometry":              {"0100000000", "got a Geometry, want"},
		"collection":                {"010700000001000000" + point, "got a GeometryCollection, want"},
		"empty collection":          {"010700000000000000", "got a GeometryCollection, want"},
		"collection with SRID":      {"0107000020E610000001000000" + point, "got a GeometryCollection, want"},
		"nested collections":        {strings.Repeat("010700000001000000", 100_000), "got a GeometryCollection, want"},
		"arc":                       {"0108000000", "got a CircularString, want"},
		"arc, Z":                    {"01F0030000", "got a CircularString, want"},
		"arc, Z, extended":          {"0108000080", "got a CircularString, want"},
		"compound curve":            {"0109000000", "got a CompoundCurve, want"},
		"curved polygon":            {"010A000000", "got a CurvePolygon, want"},
		"several curves":            {"010B000000", "got a MultiCurve, want"},
		"several surfaces":          {"010C000000", "got a MultiSurface, want"},
		"polyhedron":                {"010F000000", "got a PolyhedralSurface, want"},
		"network of triangles":      {"0110000000", "got a TIN, want"},
		"triangle":                  {"0111000000", "got a Triangle, want"},
		"unknown kind":              {"0112000000", "type code 18"},
		"unknown dimensions":        {"01A10F0000", "type code 4001"},
		"both forms":                {"01E9030080" + place + place, "type code 2147484649"},
		"ISO form with SRID":        {"01E9030020E6100000" + place + place, "type code 536871913"},
		"polygon among points":      {"010400000001000000 010300000000000000", "got a Polygon in a MultiPoint"},
		"arc among lines":           {"010500000001000000 010800000000000000", "got a CircularString in a MultiLineString"},
		"collection among polygons": {"010600000001000000 010700000000000000", "got a GeometryCollection in a MultiPolygon"},
		"multi in multi":            {"010600000001000000 010600000000000000", "got a MultiPolygon in a MultiPolygon"},
		"Z among XY":                {"010400000001000000 0101000080" + place + nan, "other dimensions"},
		"XY among Z":                {"0104000080 01000000" + point, "other dimensions"},
		"ISO Z among extended Z":    {"0104000080 01000000 01E9030000" + place + nan, "other dimensions"},
		"NaN east":                  {"0101000000" + nan + nan[:16], "at byte 5: got a position that is empty or not finite"},
		"NaN north":                 {"0101000000 0000000000001E40" + nan, "not finite"},
		"infinite":                  {"0102000000 02000000" + place + "0000000000001E40" + inf, "at byte 25: got a position that is empty or not finite"},
		"minus infinite":            {"0101000000 000000000000F0FF 0000000000A04740", "not finite"},
		"empty point of a multi":    {"010400000001000000 0101000000" + nan + nan, "empty"},
		"count of positions":        {"0102000000 02000000" + place, "at byte 25: the bytes end before the geometry does"},
		"count of rings":            {"0103000000 02000000 00000000", "at byte 13: the bytes end before the geometry does"},
		"count of members":          {"0106000000 02000000 010300000000000000", "at byte 18: the bytes end before the geometry does"},
		"left over":                 {point + "00 00", "at byte 21: 2 bytes are left over"},
	} {
		t.Run(name, func(t *testing.T) {
			kind, parts, err := decodeWKB(unhex(t, c.hex))
			require.ErrorContains(t, err, c.want)
			assert.Less(t, len(err.Error()), 150)
			assert.Empty(t, kind)
			assert.Nil(t, parts)
		})
	}
}

// What is ignored may be anything.
func TestWKBHeightsAreIgnored(t *testing.T) {
	for _, height := range []string{"000000000000F87F", "000000000000F07F", "0000000000F87A40"} {
		kind, parts, err := decodeWKB(unhex(t, "0101000080 0000000000001E40 0000000000A04740"+height))
		require.NoError(t, err)
		assert.Equal(t, "Point", kind)
		assert.Equal(t, [][][][2]float64{{{{7.5, 47.25}}}}, parts)
	}
}

// Members may have byte orders and a system of their own.
func TestWKBMembersOfTheirOwn(t *testing.T) {
	_, parts, err := decodeWKB(unhex(t, "0104000000 03000000"+
		"0000000001 401E000000000000 4047A00000000000"+
		"0101000020 E6100000 0000000000001E40 0000000000A04740"+
		"0020000001 00000000 401E000000000000 4047A00000000000"))
	require.NoError(t, err)
	one := [][][2]float64{{{7.5, 47.25}}}
	assert.Equal(t, [][][][2]float64{one, one, one}, parts)
}

// A few bytes that announce billions of things must not make room for them:
// not the numbers read, nor what a decoder would make of them.
func TestWKBCountsMakeNoRoom(t *testing.T) {
	const most = "FFFFFFFF"
	for _, text := range []string{
		"0102000000" + most, "0102000080" + most, "01BA0B0000" + most,
		"0103000000" + most, "0103000000 01000000" + most, "0103000000 02000000 00000000" + most,
		"0104000000" + most, "0105000000" + most, "0106000000" + most, "0107000000" + most,
		"0106000000 01000000 0103000000" + most, "0106000000 01000000 0103000000 01000000" + most,
		"0105000000 01000000 0102000000 00000010",
	} {
		data := append(unhex(t, text), make([]byte, 64)...)
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, _, err := decodeWKB(data)
		runtime.ReadMemStats(&after)
		require.Error(t, err, text)
		assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(1<<20), text)
	}
}

// randomShape is a typed geometry together with the same as go-geom holds it.
func randomShape(r *rand.Rand, layout geom.Layout) (*pb.Geometry, geom.T) {
	line := func() (*pb.Positions, []float64) {
		m, flat := &pb.Positions{}, []float64{}
		for range r.IntN(5) {
			p := []float64{r.NormFloat64() * 100, r.NormFloat64() * 50}
			m.Degrees = append(m.Degrees, p...)
			flat = append(flat, append(p, 1e300, math.NaN())[:layout.Stride()]...)
		}
		return m, flat
	}
	polygon := func() (*pb.Polygon, *geom.Polygon) {
		m, flat, ends := &pb.Polygon{}, []float64{}, []int{}
		for range r.IntN(4) {
			ring, f := line()
			flat = append(flat, f...)
			m.Rings, ends = append(m.Rings, ring), append(ends, len(flat))
		}
		return m, geom.NewPolygonFlat(layout, flat, ends)
	}
	switch r.IntN(5) {
	case 0:
		p := []float64{r.NormFloat64(), r.NormFloat64()}
		flat := append(slices.Clone(p), 431.5, 9)[:layout.Stride()]
		return &pb.Geometry{Shape: &pb.Geometry_Point{Point: &pb.Positions{Degrees: p}}}, geom.NewPointFlat(layout, flat)
	case 1:
		m, flat := line()
		return &pb.Geometry{Shape: &pb.Geometry_LineString{LineString: m}}, geom.NewLineStringFlat(layout, flat)
	case 2:
		m, g := polygon()
		return &pb.Geometry{Shape: &pb.Geometry_Polygon{Polygon: m}}, g
	case 3:
		m, g := &pb.MultiLineString{}, geom.NewMultiLineString(layout)
		for range r.IntN(4) {
			one, flat := line()
			m.Lines = append(m.Lines, one)
			_ = g.Push(geom.NewLineStringFlat(layout, flat)) // the layouts agree
		}
		return &pb.Geometry{Shape: &pb.Geometry_MultiLineString{MultiLineString: m}}, g
	}
	m, g := &pb.MultiPolygon{}, geom.NewMultiPolygon(layout)
	for range r.IntN(4) {
		one, p := polygon()
		m.Polygons = append(m.Polygons, one)
		_ = g.Push(p) // the layouts agree
	}
	return &pb.Geometry{Shape: &pb.Geometry_MultiPolygon{MultiPolygon: m}}, g
}

// wkbForms are all the forms that a geometry can take.
func wkbForms(t *testing.T, g geom.T) (forms [][]byte) {
	t.Helper()
	for _, order := range []binary.ByteOrder{binary.LittleEndian, binary.BigEndian} {
		iso, err := wkb.Marshal(g, order)
		require.NoError(t, err)
		extended, err := ewkb.Marshal(g, order)
		require.NoError(t, err)
		located, err := geom.SetSRID(g, 4326)
		require.NoError(t, err)
		withSRID, err := ewkb.Marshal(located, order)
		require.NoError(t, err)
		_, err = geom.SetSRID(g, 0)
		require.NoError(t, err)
		forms = append(forms, iso, extended, withSRID)
	}
	return forms
}

func TestWKBIsTheTypedForm(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	kinds := map[string]int{}
	for range 2000 {
		typed, g := randomShape(r, []geom.Layout{geom.XY, geom.XYZ, geom.XYM, geom.XYZM}[r.IntN(4)])
		var c checker
		wantKind, want := c.geometry("g", typed)
		kinds[wantKind]++
		for _, form := range wkbForms(t, g) {
			kind, parts := c.geometry("g", &pb.Geometry{Shape: &pb.Geometry_Wkb{Wkb: form}})
			require.NoError(t, c.err(), "%v %x", typed, form)
			require.Equal(t, wantKind, kind)
			require.Equal(t, want, parts, "%x", form)
		}
	}
	assert.Len(t, kinds, 5)
}

// What is taken is judged by another decoder, that of simplefeatures 0.59.0, as
// far as it goes: it knows the ISO form, and only finite heights.
func FuzzWKB(f *testing.F) {
	for _, text := range []string{
		"", "01010000000000000000001E400000000000A04740", "0020000001000010E6401E0000000000004047A00000000000",
		"0103000000010000000300000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000000F03F",
		"01EE0300000100000001EB03000001000000040000000000000000001E400000000000A04740000000000000F03F0000000000001F400000000000A0474000000000000000400000000000001F400000000000C0474000000000000008400000000000001E400000000000A04740000000000000F03F",
		"0104000080010000000101000080000000000000000000000000000000000000000000000000", "0106000000FFFFFFFF", "0105000000010000000102000000FFFFFF7F",
		"010700000001000000010700000000000000", "010600000002000000010300000000000000000000000300000000",
	} {
		f.Add(unhex(f, text))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		kind, parts, err := decodeWKB(data)
		if err != nil {
			require.Less(t, len(err.Error()), 150)
			return
		}
		var flat []float64
		for _, part := range parts {
			for _, line := range part {
				for _, p := range line {
					require.True(t, finite(p[0]) && finite(p[1]))
					flat = append(flat, p[0], p[1])
				}
			}
		}
		require.LessOrEqual(t, 8*len(flat), len(data))
		g, err := sf.UnmarshalWKB(data, sf.NoValidate{})
		if err != nil {
			return
		}
		require.Equal(t, kind, g.Type().String())
		s := g.DumpCoordinates()
		require.Equal(t, len(flat), 2*s.Length())
		for i := range s.Length() {
			require.Equal(t, flat[2*i:2*i+2], []float64{s.GetXY(i).X, s.GetXY(i).Y})
		}
	})
}

// A lot's pieces are counted by either form, and before anything is made of the
// typed ones.
func TestMostPieces(t *testing.T) {
	empty := func(n int) []*pb.Positions { return slices.Repeat([]*pb.Positions{{}}, n) }
	polygon := func(n int) *pb.Geometry {
		return &pb.Geometry{Shape: &pb.Geometry_Polygon{Polygon: &pb.Polygon{Rings: empty(n)}}}
	}
	multi := func(n int) *pb.Geometry {
		return &pb.Geometry{Shape: &pb.Geometry_MultiPolygon{MultiPolygon: &pb.MultiPolygon{Polygons: slices.Repeat([]*pb.Polygon{{}}, n)}}}
	}
	lines := func(n int) *pb.Geometry {
		return &pb.Geometry{Shape: &pb.Geometry_MultiLineString{MultiLineString: &pb.MultiLineString{Lines: empty(n)}}}
	}
	binaryOf := func(header, piece string) func(int) *pb.Geometry {
		return func(n int) *pb.Geometry {
			data := binary.LittleEndian.AppendUint32(unhex(t, header), uint32(n))
			return &pb.Geometry{Shape: &pb.Geometry_Wkb{Wkb: append(data, unhex(t, strings.Repeat(piece, n))...)}}
		}
	}
	for name, of := range map[string]func(int) *pb.Geometry{
		"polygon.rings": polygon, "multi_polygon.polygons": multi, "multi_line_string.lines": lines,
		"wkb":   binaryOf("0103000000", "00000000"),
		"wkb ":  binaryOf("0106000000", "010300000000000000"),
		"wkb  ": binaryOf("0105000000", "010200000000000000"),
	} {
		lot := func(n int) *pb.Lot {
			return &pb.Lot{Lot: "A", Features: []*pb.Feature{{Layer: pb.Feature_PARCEL, Geometry: of(n / 2)}, {Layer: pb.Feature_TURF, Geometry: of(n - n/2)}}}
		}
		var c checker
		c.lot("lot", lot(mostPieces-2))
		require.NoError(t, c.err(), "with the two features %s are not too many", name)
		c.lot("lot", lot(mostPieces-2))
		require.NoError(t, c.err(), "each lot has its own")
		c.lot("lot", lot(mostPieces-1))
		require.Len(t, c.violations, 1, name)
		assert.Equal(t, "lot.features[1].geometry."+strings.TrimSpace(name), c.violations[0].field)
	}
	var c checker
	c.lot("lot", &pb.Lot{Lot: "A", Features: make([]*pb.Feature, mostPieces+1)})
	require.Len(t, c.violations, 1)
	assert.Equal(t, "lot.features", c.violations[0].field)
}
