package assemble_test

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/assemble"
)

// BenchmarkLot assembles the surveyed lots one after the other, from the file.
func BenchmarkLot(b *testing.B) {
	batch, err := assemble.Open(context.Background(), []assemble.Input{{Path: lotsA}}, assemble.Options{})
	require.NoError(b, err)
	defer batch.Close()
	i := 0
	for b.Loop() {
		if batch.Lot(i%batch.Len()).Lot == nil {
			b.Fatal(batch.ID(i % batch.Len()))
		}
		i++
	}
}

// BenchmarkImport opens subdivisions of invented lots and assembles every lot.
// live-MiB is what is held once the batch is open; it holds an index of the
// features and nothing of their coordinates.
func BenchmarkImport(b *testing.B) {
	for _, n := range []int{1_000, 10_000, 100_000} {
		b.Run(fmt.Sprintf("lots=%d", n), func(b *testing.B) {
			path := filepath.Join(b.TempDir(), "subdivision.geojson")
			size := writeSubdivision(b, path, n)
			b.SetBytes(size)
			for b.Loop() {
				importAll(b, path, n)
			}
		})
	}
}

func importAll(b *testing.B, path string, n int) {
	before := liveMiB()
	batch, err := assemble.Open(context.Background(), []assemble.Input{{Path: path}}, assemble.Options{Limits: importer.Limits{Body: 1 << 40}})
	require.NoError(b, err)
	defer batch.Close()
	require.Equal(b, n, batch.Len())
	require.Empty(b, batch.Findings())
	b.ReportMetric(liveMiB()-before, "live-MiB-open")
	for i := range n {
		if batch.Lot(i).Lot == nil {
			b.Fatal(batch.ID(i))
		}
	}
	b.ReportMetric(liveMiB()-before, "live-MiB-end")
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	b.ReportMetric(float64(m.Sys)/(1<<20), "sys-MiB")
}

func liveMiB() float64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc) / (1 << 20)
}

// turnedTown turns a geometry by 20° about the first lot's corner, so that the
// bounds of neighbours overlap as they do in a real town.
func turnedTown(x importer.Feature) importer.Feature {
	const sin, cos = 0.3420201433256687, 0.9396926207859084
	for p := range x.Geometry.Parts[0][0] {
		at := &x.Geometry.Parts[0][0][p]
		east, north := (at[0]+30)*85_394, (at[1]-40)*111_035
		*at = metre(cos*east-sin*north, sin*east+cos*north)
	}
	return x
}

// writeSubdivision writes n lots of five features each, in adjoining rows, and
// returns the size of the file.
func writeSubdivision(b *testing.B, path string, n int) int64 {
	f, err := os.Create(path)
	require.NoError(b, err)
	defer f.Close()
	w := bufio.NewWriter(f)
	fmt.Fprint(w, `{"type":"FeatureCollection","features":[`)
	for i := range n {
		x, y := float64(i%300)*30, float64(i/300)*40
		for k, feature := range []importer.Feature{
			area("parcel", closed(x, y, x+30, y, x+30, y+40, x, y+40)),
			area("building", closed(x+8, y+12, x+22, y+12, x+22, y+20, x+16, y+20, x+16, y+24, x+8, y+24)),
			area("hardscape", box(x+18, y, x+22, y+12)),
			line("wall", x, y+39, x+30, y+39),
			point("source", x+8, y+14),
		} {
			if i+k > 0 {
				fmt.Fprint(w, ",\n")
			}
			_, err := w.Write(written(fmt.Sprintf(`{"lot":"lot %06d","layer":%q}`, i, feature.Layer), turnedTown(feature)))
			require.NoError(b, err)
		}
	}
	fmt.Fprint(w, `]}`)
	require.NoError(b, w.Flush())
	info, err := f.Stat()
	require.NoError(b, err)
	return info.Size()
}
