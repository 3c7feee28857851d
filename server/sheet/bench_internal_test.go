package sheet

import (
	"io"
	"runtime"
	"testing"
)

// BenchmarkSheet times the sheet of a lot of 24 heads by itself, and with its PDF.
func BenchmarkSheet(b *testing.B) {
	in := manyHeads(24)
	for name, write := range map[string]bool{"pages": false, "pages+PDF": true} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				s, err := New(in, settings)
				if err == nil && write {
					err = s.WritePDF(io.Discard)
				}
				if err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkBook times the binding of a lot, and tells what a book keeps of it.
func BenchmarkBook(b *testing.B) {
	in := manyHeads(24)
	s, err := New(in, settings)
	if err != nil {
		b.Fatal(err)
	}
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	book := NewBook(settings)
	for b.Loop() {
		if err := book.Add(in, s); err != nil {
			b.Fatal(err)
		}
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	b.ReportMetric(float64(after.HeapAlloc-before.HeapAlloc)/float64(b.N), "B-kept/lot")
	if err := book.Write(io.Discard); err != nil {
		b.Fatal(err)
	}
}
